package leak

import (
	"regexp"
	"strconv"
	"strings"
)

// A measurement can be said in more ways than package measure reads. A text
// that speaks of any is written out again in the ways that it does read, and
// both are looked through.

const (
	lengthUnits = `(?:mm|mms|rnm|mill?imet(?:re|er|r|rau)s?n?|cm|centimet(?:re|er)s?|µm|um|microns?|micromet(?:re|er)s?|thou|thous|mils?|in|inch|inches|"|″|”)`
	gaugeUnits  = `(?:swg|awg|gauge|gage|ga|g)`
)

// otherPercents is "per cent" beside figures in the tongues of the neighbours.
const otherPercents = `(?i)([0-9])\s?(?:prozent(?:e|en)?|pour[\s-]*cents?|y[\s-]*cant|por[ -]?cien(?:to)?|por[ -]?cento|per[ -]?cento|percento|procente?|prosent(?:tia)?|v\.?\s?h\.?|ar[ -]?gant|faoin[ -]?gc[ée]ad|sa[ -]?cheud)(?:$|\b)`

// restatement writes one way of saying a measurement as another.
type restatement struct {
	find *regexp.Regexp
	with string
}

var lengthRestatements = []restatement{
	{regexp.MustCompile(`([0-9])\s+\.\s*([0-9])|([0-9])\.\s+([0-9]+\s*` + lengthUnits + `\b)`), "$1$3.$2$4"},
	{regexp.MustCompile(`\b([0-9]\.[0-9]) ([0-9]\s*` + lengthUnits + `\b)`), "$1$2"},
	{regexp.MustCompile(`\b([0-9]{1,3}) ([0-9]{3}\s*(?:µm|um|microns?|micromet(?:re|er)s?)\b)`), "$1$2"},
	{regexp.MustCompile(`\b[lI|]([.,][0-9]+\s*` + lengthUnits + `\b)`), "1$1"},
	{regexp.MustCompile(`\b[oO]([.,][0-9]+\s*` + lengthUnits + `\b)`), "0$1"},
	{regexp.MustCompile(`([0-9][.,][0-9]*)[oO]([0-9]*\s*` + lengthUnits + `\b)`), "${1}0$2"},
	{regexp.MustCompile(`([0-9][.,][0-9]*)[lI|]([0-9]*\s*` + lengthUnits + `\b)`), "${1}1$2"},
	{regexp.MustCompile(`(?i)(?:e-0?3|\s?[×x*·]\s?10\^?-3)\s?(?:m|metres?|meters?)\b`), " mm"},
	{regexp.MustCompile(`(?i)/1,?000(?:ths?)?\b`), "/1000"},
	{regexp.MustCompile(`(?i)\bone[ -]thousandths?\b`), "thousandths"},
	{regexp.MustCompile(`(?i)\bthousandths? of a met(?:re|er)\b`), "mm"},
	{regexp.MustCompile(`(?i)\bthousandths?(?: of an inch)?\b`), "thou"},
	{regexp.MustCompile(`(?i)\bof an? (millimet(?:re|er)|mm|inch|in\b|centimet(?:re|er)|cm)`), "$1"},
	{regexp.MustCompile(`(?i)([0-9])\s?(?:mms|m\.m\.?|rnm)(?:\b|$|[\s,;])`), "$1 mm "},
	{regexp.MustCompile(`(?i)\b(?:gge|gag)\b`), "gauge"},
	{regexp.MustCompile(`(?i)\b(?:o )?(?:mil[l]?imetr|filimetr)(?:au)?\b|\bmillimetern\b`), "mm"},
	// Inches in the languages that cards come in: French, German, Welsh, Dutch (from memory).
	{regexp.MustCompile(`(?i)([0-9])\s?(?:o )?(?:pouces?|po|zoll|modfedd(?:i)?|fodfedd(?:i)?|duim)\b`), "$1 in"},
	{regexp.MustCompile(`(?i)[\[(]\s?(swg|awg|gauge|mm|in|inch|thou|microns?)\s?[\])]`), "$1"},
	{regexp.MustCompile(`(?i)\b(?:in|on|of|by|to|from) (?:the )?(?:imperial |british )?(?:standard )?(?:wire gauge|swg\b|s\.\s?w\.\s?g\b\.?)`), "swg"},
	{regexp.MustCompile(`(?i)\b(?:imperial|british|english)(?: standard)?(?: wire)? gauge\b`), "swg"},
	{regexp.MustCompile(`(?i)\b(?:s\.\s?w\.\s?g\.?|swg)\s?(?:[:=]|is\b|was\b|of\b|size\b|number\b|no\b\.?)?\s?([0-9]{1,2}\b)`), "swg $1"},
	{regexp.MustCompile(`(?i)\b(gauge|gage)\s?(?:[:=]|(?:is|was|of|were|being|came to|came out at|at)\b)\s?(?:number |no\.? |about |only )?([0-9]{1,2}\b|[a-z]+)`), "gauge $2"},
	{regexp.MustCompile("(^|[^\\pL\\pN])[*_`~]{1,3}([\\pL\\pN])"), "$1$2"},
	{regexp.MustCompile("([\\pL\\pN])[*_`~]{1,3}([^\\pL\\pN]|$)"), "$1$2"},
}

var shareRestatements = []restatement{
	{regexp.MustCompile(otherPercents), "$1 %"},
	{regexp.MustCompile(`(?i)\bpercentage points?\b|\bp\.\s?c\.|\b(?:parts? )?(?:in|per|out of) (?:a |one |every |each )?(?:hundred|100)(?: parts?)?\b|\bhundredths\b`), "%"},
	{regexp.MustCompile(`(?i)\b0?\.([0-9]{2})( of (?:the|its|their) (?:thickness|metal|original|section|wall|sheet|plate|material))`), "$1 %$2"},
	{regexp.MustCompile(`(?i)\b(a|an|one) (?:full|good|whole|clear|bare|mere|solid|fair|cool|round|whopping|neat|sound) (half|third|quarter|fourth|fifth|sixth|seventh|eighth|ninth|tenth|twelfth)\b`), "$1 $2"},
	{regexp.MustCompile(`(?i)\b(?:one|a|1) (?:parts? )?(?:in|out of|of) (?:every )?(?:four|4) parts?\b|\bone part in (?:every )?(?:four|4)\b`), "a quarter"},
	{regexp.MustCompile(`(?i)\b(?:one|a|1) (?:parts? )?(?:in|out of|of) (?:every )?(?:three|3) parts?\b|\bone part in (?:every )?(?:three|3)\b`), "a third"},
	{regexp.MustCompile(`(?i)\b(?:one|a|1) (?:parts? )?(?:in|out of|of) (?:every )?(?:five|5) parts?\b|\bone part in (?:every )?(?:five|5)\b`), "a fifth"},
	{regexp.MustCompile(`(?i)\b(?:one|a|1) (?:parts? )?(?:in|out of|of) (?:every )?(?:six|6) parts?\b|\bone part in (?:every )?(?:six|6)\b`), "a sixth"},
	{regexp.MustCompile(`(?i)\bdown (a|an|one|two|three|half)\b`), "lost $1"},
	{regexp.MustCompile(`(?i)(half|thirds?|quarters?|fourths?|fifths?|sixths?|sevenths?|eighths?|ninths?|tenths?|twelfths?) (?:was|were|is|are|has|have|had)(?: been)?(?: now| already| then| simply)? (left|gone|lost|missing|eaten|remaining|away|thinner)\b`), "$1 $2"},
}

// itself is a text whose places are those in itself.
func (p plain) itself() plain {
	q := plain{text: p.text, from: make([]int32, len(p.text)), to: make([]int32, len(p.text)), pieces: p.pieces}
	for i := range q.from {
		q.from[i], q.to[i] = int32(i), int32(i+1)
	}
	return q
}

// restated writes a text out again; nil if nothing in it was to be changed. Its
// places are those of the text that it was first made from.
func restated(q plain, as []restatement) *plain {
	changed := false
	for _, r := range as {
		var spans []span
		for _, m := range r.find.FindAllStringSubmatchIndex(q.text, -1) {
			with := string(r.find.ExpandString(nil, r.with, q.text, m))
			spans = append(spans, span{m[0], m[1], with})
		}
		if len(spans) > 0 {
			q, changed = q.with(spans), true
		}
	}
	if !changed {
		return nil
	}
	return &q
}

// with puts other text in some places.
func (p plain) with(places []span) plain {
	var out plain
	var b strings.Builder
	at := 0
	for _, s := range places {
		b.WriteString(p.text[at:s.from])
		out.from, out.to = append(out.from, p.from[at:s.from]...), append(out.to, p.to[at:s.from]...)
		b.WriteString(s.plainly)
		for range len(s.plainly) {
			out.from, out.to = append(out.from, p.from[s.from]), append(out.to, p.to[s.to-1])
		}
		at = s.to
	}
	b.WriteString(p.text[at:])
	out.text = b.String()
	out.from, out.to = append(out.from, p.from[at:]...), append(out.to, p.to[at:]...)
	return out
}

// inFigures writes the number words before units as figures: "one thousand six
// hundred and thirty microns", "one decimal six three mm". Places are in near, a
// part of p.
func inFigures(p, near plain) []span {
	offset := int(near.from[0])
	var all []span
	for i := 0; i < len(near.pieces); i++ {
		figure, next := sayDecimal(near.pieces, i)
		if next == i || next >= len(near.pieces) || !isMeasureWord(near.pieces[next].text) {
			continue
		}
		all = append(all, span{near.pieces[i].start - offset, near.pieces[next-1].end - offset, figure})
		i = next - 1
	}
	return all
}

// nearMeasures are the parts of a text that speak of measures.
func nearMeasures(p plain) []plain {
	const reach = 8 // words on either side
	var all []plain
	for i := 0; i < len(p.pieces); i++ {
		if !p.isMeasure(i) {
			continue
		}
		first, last := max(0, i-reach), i
		for k := i; k < len(p.pieces) && k <= last+reach; k++ {
			if p.isMeasure(k) {
				last = k
			}
		}
		end := min(len(p.pieces), last+reach+1)
		all = append(all, p.part(first, end))
		i = last + 1
	}
	return all
}

// part is the text of some pieces, with the marks round them.
func (p plain) part(first, end int) plain {
	from, to := 0, len(p.text)
	if first > 0 {
		from = p.pieces[first-1].end
	}
	if end < len(p.pieces) {
		to = p.pieces[end].start
	}
	q := plain{text: p.text[from:to], from: make([]int32, to-from), to: make([]int32, to-from), pieces: p.pieces[first:end]}
	for i := range q.from {
		q.from[i], q.to[i] = int32(from+i), int32(from+i+1)
	}
	return q
}

// sayDecimal reads a number in words with its decimals.
func sayDecimal(ps []piece, i int) (figure string, next int) {
	figure, next = sayDigits(ps, i)
	if next >= len(ps) {
		return figure, next
	}
	switch ps[next].text {
	case "point", "decimal", "dot", "comma":
		if part, end := sayDecimals(ps, next+1); end > next+1 {
			if figure == "" {
				figure = "0"
			}
			return figure + "." + part, end
		}
	}
	return figure, next
}

// sayDecimals reads what follows a decimal point: "six three", "sixty-three".
func sayDecimals(ps []piece, i int) (figures string, next int) {
	for next = i; next < len(ps) && !ps[next].digits; next++ {
		t := ps[next].text
		switch {
		case isZero(t) || t == "o":
			figures += "0"
		case tensOf(t) > 0:
			n := tensOf(t)
			if next+1 < len(ps) && unitOf(ps[next+1].text) > 0 && unitOf(ps[next+1].text) < 10 {
				next++
				n += unitOf(ps[next].text)
			}
			figures += strconv.Itoa(n)
		case unitOf(t) > 0:
			figures += strconv.Itoa(unitOf(t))
		default:
			return figures, next
		}
	}
	return figures, next
}

func isMeasureWord(s string) bool {
	switch s {
	case "mm", "mms", "millimetre", "millimetres", "millimeter", "millimeters", "milimetr", "milimetrau", "filimetr", "filimetrau", "millimetern", "pouce", "pouces", "po", "zoll", "modfedd", "modfeddi", "fodfedd", "fodfeddi", "duim", "cm", "centimetre", "centimetres", "micron", "microns", "micrometre", "micrometres", "µm", "um", "thou", "thousandths", "thousandth", "mil", "mils",
		"inch", "inches", "gauge", "swg", "awg", "hundredths", "percent", "per", "percentage", "of":
		return true
	}
	return false
}

// isMeasure reports whether a piece is a unit, a gauge or a share.
func (p plain) isMeasure(i int) bool {
	switch s := p.pieces[i].text; s {
	case "of", "per", "hundred":
		return s == "hundred" && i > 0 && !p.pieces[i-1].digits && unitOf(p.pieces[i-1].text) == 0
	case "rnm", "gge", "ga", "g", "half", "third", "thirds", "quarter", "quarters", "fourth", "fourths", "fifth", "fifths", "sixth", "sixths", "seventh", "sevenths", "eighth", "eighths", "ninth", "ninths",
		"tenth", "tenths", "twelfth", "twelfths", "thickness", "in":
		return s != "in" || i > 0 && p.pieces[i-1].digits
	case "prozent", "prozente", "prozenten", "cent", "cents", "cant", "cien", "ciento", "cento", "percento", "procent", "procente", "prosent", "prosenttia", "vh", "gant", "gcéad", "gcead", "cheud":
		return i > 0 && (p.pieces[i-1].digits || i > 1 && p.pieces[i-2].digits)
	case "v":
		return i > 0 && p.pieces[i-1].digits && i+1 < len(p.pieces) && p.pieces[i+1].text == "h"
	case "w":
		return strings.HasPrefix(p.text[p.pieces[i].end:], ".") && i+1 < len(p.pieces) && p.pieces[i+1].text == "g"
	case "m":
		return i > 0 && (p.pieces[i-1].digits || p.pieces[i-1].text == "m")
	case "part", "parts":
		return i+1 < len(p.pieces) && (p.pieces[i+1].text == "in" || p.pieces[i+1].text == "out") || i > 0 && (p.pieces[i-1].text == "four" || p.pieces[i-1].digits || p.pieces[i-1].text == "three")
	default:
		return isMeasureWord(s)
	}
}

// namesUnits reports whether a text may name a unit of length or a gauge: most do
// not, and need not be read for measurements.
func namesUnits(p plain) bool {
	if strings.ContainsAny(p.text, "\"″”′") {
		return true
	}
	for i, piece := range p.pieces {
		numbered := i > 0 && (p.pieces[i-1].digits || saidNumbers()[p.pieces[i-1].text] > 0 || p.pieces[i-1].text == "a" || p.pieces[i-1].text == "an")
		switch piece.text {
		case "in", "m", "g", "s", "um", "x": // "b & s"
			if numbered || piece.text == "s" && !piece.ofS {
				return true
			}
		case "ft", "feet", "foot", "metre", "metres", "meter", "meters", "swg", "awg", "sharpe", "thous", "micrometer", "micrometers", "µm", "m²":
			return true
		default:
			if p.isMeasure(i) {
				return true
			}
			if piece.digits && strings.HasPrefix(strings.TrimLeft(p.text[piece.end:], " "), "'") {
				return true
			}
		}
	}
	return false
}

// namesShares reports whether a text may name a percentage or a fraction.
func namesShares(p plain) bool {
	if strings.ContainsAny(p.text, "%/⁄∕½⅓⅔¼¾⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞⅒") {
		return true
	}
	for i, piece := range p.pieces {
		switch piece.text {
		case "pct", "pc", "cent", "percents", "fifth", "halves", "twentieth", "twentieths", "sixteenth", "sixteenths", "hundredth", "thousandth", "second", "seconds":
			return true
		}
		if p.isMeasure(i) {
			return true
		}
	}
	return false
}
