package measure

import (
	"math/big"
)

// Found is a measurement in running text.
type Found struct {
	Start, End int // bytes; in "1.3 to 1.4 mm" the first covers "1.3" only
	Length     Length
	Tolerance  Length // what the words leave open, on either side
	Written    string
}

// Covers reports whether a length is one that the words could stand for.
func (f Found) Covers(l Length) bool { return max(l-f.Length, f.Length-l) <= f.Tolerance }

// FoundPercent is a share in running text.
type FoundPercent struct {
	Start, End int // bytes
	Percent    Percent
	Tolerance  Percent
	Written    string
}

// Covers reports whether a share is one that the words could stand for.
func (f FoundPercent) Covers(p Percent) bool { return max(p-f.Percent, f.Percent-p) <= f.Tolerance }

// Find returns the measurements of length in English text, in order: figures,
// simple fractions and number words, with metric and inch units and gauges. It
// errs on the side of finding: where words can be read in two ways ("16 gauge",
// "1,625 mm"), both come back.
//
// The tolerance is half a unit of the last digit written. For a gauge it is
// 0.005 mm, for a fraction an eighth of its step: who says "a sixteenth" might
// have said a thirty-second, but not a thousandth (our own choice, no source).
// Compatibility forms such as full-width digits, and invisible characters, must
// be folded first.
func Find(text string) []Found {
	tokens := tokenise(text)
	var found []Found
	for i := 0; i < len(tokens); {
		hits, next := lengthsAt(tokens, i)
		for _, h := range hits {
			h.Written = text[h.Start:h.End]
			found = append(found, h)
		}
		i = max(next, i+1)
	}
	return found
}

// lengthsAt reads one measurement and says which token comes after it.
func lengthsAt(tokens []token, i int) (hits []Found, next int) {
	if named, next, ok := gaugeBefore(tokens, i); ok {
		for _, u := range named.units {
			if l, ok := u.gauge.size(named.gauge); ok {
				hits = append(hits, Found{Start: tokens[i].start, End: tokens[next-1].end, Length: l, Tolerance: 5 * Micrometre})
			}
		}
		return hits, next
	}
	readings, end := quantitiesAt(tokens, i)
	if end == i {
		return nil, i + 1
	}
	units, next := unitsAt(tokens, end, readings[0])
	last := next
	if units == nil {
		units, last, next = unitsAhead(tokens, end), end, end
	} else if rest, end := halfAfter(tokens, next); rest != nil {
		for k := range readings {
			readings[k] = readings[k].plus(*rest)
		}
		last, next = end, end
	}
	for _, q := range readings {
		for _, u := range units {
			if f, ok := q.in(u); ok {
				f.Start, f.End = tokens[i].start, tokens[last-1].end
				hits = append(hits, f)
			}
		}
	}
	if hits == nil {
		next = end
	}
	return hits, next
}

// measureUnit is a length or a gauge system.
type measureUnit struct {
	length Length
	gauge  Unit
}

// in turns a quantity of a unit into a length.
func (q quantity) in(u measureUnit) (Found, bool) {
	if u.gauge != noUnit {
		l, ok := u.gauge.size(q.gauge)
		return Found{Length: l, Tolerance: 5 * Micrometre}, ok
	}
	if q.value == nil {
		return Found{}, false
	}
	scale := ratio(int64(u.length), 1)
	value, tolerance := new(big.Rat).Mul(q.value, scale), new(big.Rat).Mul(q.tolerance, scale)
	if value.Cmp(ratio(int64(longest), 1)) > 0 {
		return Found{}, false
	}
	return Found{Length: Length(roundInt(value)), Tolerance: Length(roundInt(tolerance))}, true
}

var (
	bothGauges = []measureUnit{{gauge: SWG}, {gauge: AWG}}
	swgOnly    = []measureUnit{{gauge: SWG}}
	awgOnly    = []measureUnit{{gauge: AWG}}
)

// phrases are the units that take more than one token. The longer come first.
var phrases = []struct {
	words []string
	units []measureUnit
}{
	{[]string{"imperial", "standard", "wire", "gauge"}, swgOnly},
	{[]string{"standard", "wire", "gauge"}, swgOnly},
	{[]string{"american", "wire", "gauge"}, awgOnly},
	{[]string{"wire", "gauge"}, bothGauges},
	{[]string{"sheet", "gauge"}, bothGauges},
	{[]string{"brown", "&", "sharpe"}, awgOnly},
	{[]string{"brown", "and", "sharpe"}, awgOnly},
	{[]string{"s", ".", "w", ".", "g"}, swgOnly},
	{[]string{"a", ".", "w", ".", "g"}, awgOnly},
	{[]string{"b", "&", "s"}, awgOnly},
	{[]string{"'", "'"}, []measureUnit{{length: Inch}}},
	{[]string{"’", "’"}, []measureUnit{{length: Inch}}},
}

// unitsAt reads the unit that follows a quantity.
func unitsAt(tokens []token, i int, q quantity) (units []measureUnit, next int) {
	if q.fraction {
		i = skip(tokens, i, "of")
		i = skip(tokens, i, "a", "an", "one")
	}
	i = skip(tokens, i, hyphens...)
	for _, p := range phrases {
		if follows(tokens, i, p.words) {
			return p.units, i + len(p.words)
		}
	}
	if i >= len(tokens) {
		return nil, i
	}
	word := tokens[i].text
	switch word {
	case "micron", "microns", "micrometre", "micrometres", "micrometer", "micrometers", "µm", "μm", "um":
		return []measureUnit{{length: Micrometre}}, i + 1
	case "mil", "mils": // a thou in American shops, a millimetre in British ones
		return []measureUnit{{length: Thou}, {length: Millimetre}}, i + 1
	case "thous":
		return []measureUnit{{length: Thou}}, i + 1
	case "m", "g", "in":
		if q.words || word == "in" && q.gauge != "" && prepositionIn(tokens, i) {
			return nil, i
		}
	}
	unit, ok := unitNamed(word)
	switch {
	case !ok:
		return nil, i
	case unit == bareGauge:
		return bothGauges, i + 1
	case unit.IsGauge():
		return []measureUnit{{gauge: unit}}, i + 1
	}
	return []measureUnit{{length: unit.length()}}, i + 1
}

// prepositionIn reports whether an "in" after a whole number begins a phrase of
// place or time: "16 in the hangar", "3 in 4".
func prepositionIn(tokens []token, i int) bool {
	if i+1 >= len(tokens) {
		return false
	}
	next := tokens[i+1]
	if next.kind == number {
		return true
	}
	switch next.text {
	case "the", "a", "an", "this", "that", "these", "those", "our", "its", "their", "his", "her", "my", "your",
		"all", "each", "every", "one", "total", "place", "turn", "front", "row", "stock", "store", "stores", "use", "which",
		"january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november", "december":
		return true
	}
	return false
}

// unitsAhead lends a number the unit of the one that it is joined to: the 1.3
// in "1.3 to 1.4 mm", the 2 in "2 x 30 mm".
func unitsAhead(tokens []token, i int) []measureUnit {
	const furthest = 6 // numbers in one row
	for range furthest {
		if i >= len(tokens) || !joins(tokens[i].text) {
			return nil
		}
		readings, end := quantitiesAt(tokens, i+1)
		if end == i+1 {
			return nil
		}
		if units, _ := unitsAt(tokens, end, readings[0]); units != nil {
			return units
		}
		i = end
	}
	return nil
}

func joins(word string) bool {
	switch word {
	case "to", "and", "or", "by", "x", "×", ",", "/", "-", "‐", "‑", "–", "—":
		return true
	}
	return false
}

// halfAfter reads the rest of "an inch and a half" once "inch" has been read.
func halfAfter(tokens []token, i int) (*quantity, int) {
	if i >= len(tokens) || tokens[i].text != "and" {
		return nil, i
	}
	q, end := fractionWords(tokens, i+1)
	if end == i+1 {
		return nil, i
	}
	// "1 mm and half an inch" is two measurements, not one.
	if units, _ := unitsAt(tokens, end, q); units != nil {
		return nil, i
	}
	return &q, end
}

// gaugeNumber is a gauge number that stands after the name of its system.
type gaugeNumber struct {
	gauge string
	units []measureUnit
}

// gaugeBefore reads "gauge 16", "SWG No. 16".
func gaugeBefore(tokens []token, i int) (g gaugeNumber, next int, ok bool) {
	switch tokens[i].text {
	case "swg":
		g.units = swgOnly
	case "awg":
		g.units = awgOnly
	case "gauge", "gage":
		g.units = bothGauges
	default:
		return g, i, false
	}
	j := skip(tokens, i+1, "no", "number", "#", "size")
	j = skip(tokens, j, ".")
	readings, end := quantitiesAt(tokens, j)
	if end == j || readings[0].gauge == "" {
		return g, i, false
	}
	// In "gauge 1.5 mm" and "SWG 3 mm" the number has a unit of its own.
	if units, _ := unitsAt(tokens, end, readings[0]); units != nil {
		return g, i, false
	}
	g.gauge = readings[0].gauge
	return g, end, true
}

// FindPercents returns the shares in English text, in order: "25%", "25 per
// cent", "twenty-five percent", "a quarter of its thickness". The tolerance is
// as in Find.
func FindPercents(text string) []FoundPercent {
	tokens := tokenise(text)
	var found []FoundPercent
	for i := 0; i < len(tokens); {
		readings, end := quantitiesAt(tokens, i)
		if end == i {
			i++
			continue
		}
		last, scale := end, int64(0)
		if next, ok := percentAt(tokens, end, readings[0]); ok {
			last, scale = next, int64(OnePercent)
		} else if percentAhead(tokens, end) {
			scale = int64(OnePercent)
		} else if readings[0].fraction && isShare(tokens, i, end, readings[0]) {
			scale = 100 * int64(OnePercent)
		}
		for _, q := range readings {
			if q.value == nil || scale == 0 || q.value.Cmp(ratio(1_000_000, 1)) > 0 {
				continue
			}
			by := ratio(scale, 1)
			found = append(found, FoundPercent{
				Start: tokens[i].start, End: tokens[last-1].end, Written: text[tokens[i].start:tokens[last-1].end],
				Percent:   Percent(roundInt(new(big.Rat).Mul(q.value, by))),
				Tolerance: Percent(roundInt(new(big.Rat).Mul(q.tolerance, by))),
			})
		}
		i = last
	}
	return found
}

func percentAt(tokens []token, i int, q quantity) (next int, ok bool) {
	if q.fraction { // half a per cent
		i = skip(tokens, i, "of")
		i = skip(tokens, i, "a", "one")
	}
	i = skip(tokens, i, hyphens...)
	for _, p := range [][]string{{"%"}, {"percent"}, {"per", "cent"}, {"per", "-", "cent"}, {"pct"}, {"pc"}} {
		if follows(tokens, i, p) {
			return i + len(p), true
		}
	}
	return i, false
}

func percentAhead(tokens []token, i int) bool {
	if i >= len(tokens) || !joins(tokens[i].text) {
		return false
	}
	readings, end := quantitiesAt(tokens, i+1)
	if end == i+1 {
		return false
	}
	_, ok := percentAt(tokens, end, readings[0])
	return ok
}

// isShare reports whether a fraction without a unit is a share of something
// lost or left, and not "half an hour" or "a quarter past".
func isShare(tokens []token, start, end int, q quantity) bool {
	if q.value.Cmp(ratio(1, 1)) > 0 {
		return false
	}
	if units, _ := unitsAt(tokens, end, q); units != nil {
		return false
	}
	after := skip(tokens, end, "of")
	if after < len(tokens) {
		switch tokens[after].text {
		case "the", "its", "it", "their", "them", "this", "that", "our", "all":
			return true
		case "gone", "lost", "missing", "left", "thinner", "less", "remained", "remains", "eaten", "away":
			return true
		case "a", "an", "past", "to":
			return false
		}
	}
	if after > end {
		return true // "a third of metal"
	}
	for _, t := range tokens[max(0, start-3):start] {
		switch t.text {
		case "lost", "lose", "loses", "losing", "loss", "gone", "eaten", "ate", "thinner", "thinned", "by", "only", "missing", "wasted":
			return true
		}
	}
	return false
}
