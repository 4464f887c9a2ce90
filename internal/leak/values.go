package leak

import (
	"regexp"
	"slices"
	"strings"
	"unicode"

	"example.org/opencowl/internal/measure"
)

// keep puts a private value where it will be sought.
func (b *builder) keep(given Value) {
	v := newPrivateValue(given, b.sense(given.Kind))
	as := v.sense.roleOf(v)
	if len(b.credited.all) > 0 && (as == aReading || as == aCost) && b.credited.all[squeezed(given.Value)] {
		return
	}
	for _, one := range apart(v.Value.Value, as) {
		b.keepName(v, Value{v.Kind, one, v.Where}, as)
	}
	const fewestWords = 6 // of a value that is a sentence
	prose := !v.sense.known() && len(strings.Fields(v.Value.Value)) >= fewestWords
	if prose {
		b.notes = append(b.notes, Note{v.Value.Value, v.Where})
	}
	switch {
	case as == aReading && (v.sense.of == "" || len(v.readings()) > 0):
		b.addReadings(v, v.readingsOrFigures())
	case as != aCost && (!v.sense.known() || v.isReading()) && !endsInOneLetter(v.plain.pieces):
		b.addReadings(v, v.readings())
	}
	if as == aReading || as != aContact && as != aPerson && as != aFirm && as != aCost && !v.sense.identifier && v.isQuantity() && !endsInOneLetter(v.plain.pieces) {
		b.addQuantities(v)
	}
	switch {
	case as == aCost:
		b.costs = append(b.costs, v.costs()...)
	case as != aReading && len(v.sums()) > 0 && (!v.sense.known() || v.isMoney()):
		b.costs = append(b.costs, v.costs()...)
	}
}

// sense reads a kind once.
func (b *builder) sense(kind string) kindSense {
	s, ok := b.senses[kind]
	if !ok {
		s = senseOf(kind)
		b.senses[kind] = s
	}
	return s
}

// keepName adds the forms of a value by which it may be named.
func (b *builder) keepName(v *privateValue, one Value, as role) {
	told := b.credited.tells(one.Value)
	switch as {
	case aPerson:
		b.keys = append(b.keys, personKeys(one, b.credited)...)
		if !told && (!v.sense.person || v.sense.term) { // the name of something else, perhaps
			b.keys = append(b.keys, nameKeys(one, aTerm)...)
		}
	case aContact:
		if b.credited.tellsAll(v.plain) {
			return
		}
		b.keys = append(b.keys, contactKeys(one)...)
		b.addresses = append(b.addresses, addressesOf(one)...)
	case aFirm, aTerm:
		if !told {
			b.keys = append(b.keys, nameKeys(one, as)...)
		}
		if k, ok := shortFirm(one); as == aFirm && !told && ok && !b.credited.words[k.exact] {
			b.keys = append(b.keys, k)
		}
	case anIdentifier:
		if told {
			return
		}
		b.keys = append(b.keys, identifierKeys(one, piecesOf(one.Value), v.sense.beside)...)
		if !v.plain.digits && strings.Contains(one.Value, " ") {
			b.keys = append(b.keys, nameKeys(one, aTerm)...)
		}
	case aCost:
		if figure, decimal := v.isFigure(); v.sense.identifier && figure && !decimal { // an invoice, by its sum or by its number
			b.keys = append(b.keys, identifierKeys(one, piecesOf(one.Value), v.sense.beside)...)
		}
	}
}

func (b *builder) addReadings(v *privateValue, all []valueReading) {
	for _, r := range all {
		b.readings = append(b.readings, Reading{Kind: v.Kind, Length: r.length, Share: r.share, IsShare: r.isShare, Where: v.Where})
	}
}

// known reports whether a kind says anything at all.
func (s kindSense) known() bool {
	return s.contact || s.reading || s.cost || s.firm || s.person || s.term || s.named || s.identifier
}

// endsInOneLetter: "3 m" may be the name of a thing as well as a length.
func endsInOneLetter(ps []piece) bool {
	n := len(ps)
	return n > 1 && len(ps[n-1].text) == 1 && !ps[n-1].digits && ps[n-2].digits
}

var (
	betweenValues = regexp.MustCompile(`\s*[;|\n]\s*|\s+[/•·]\s+`)
	betweenNames  = regexp.MustCompile(`\s+(?:and|&|with|/)\s+|\s*/\s*`)
	comma         = regexp.MustCompile(`\s*,\s*`)
	inBrackets    = regexp.MustCompile(`\s*[\[(<{]([^\])>}]*)[\])>}]\s*`)
	// label is what a value says of itself: "Supplier: Hexworth", "Part no. FO7-2217".
	label = regexp.MustCompile(`^[\pL][\pL /.'-]{0,24}[:=]\s+`)
)

// apart cuts a value that holds several into them, without their labels and
// without what stands in brackets beside a name.
func apart(value string, as role) []string {
	var all []string
	for _, v := range betweenValues.Split(value, -1) {
		v = strings.TrimSpace(label.ReplaceAllString(strings.TrimSpace(v), ""))
		switch as {
		case aPerson:
			all = append(all, people(v)...)
		case anIdentifier:
			all = append(all, identifiersIn(v)...)
		case aFirm, aTerm:
			all = append(all, namesIn(v)...)
		default:
			all = append(all, v)
		}
	}
	return slices.DeleteFunc(all, func(s string) bool { return s == "" })
}

// people cuts "Ines Hallow (engineer), Tam Reddle and Nell Ostwick" into names;
// "Hallow, Ines" is one.
func people(v string) []string {
	v = strings.TrimSpace(inBrackets.ReplaceAllString(v, " "))
	chunks := comma.Split(v, -1)
	surname := strings.Fields(chunks[0])
	if len(chunks) == 2 && len(surname) > 0 && (len(surname) == 1 || isParticle(surname[0])) && len(strings.Fields(chunks[1])) < 3 && startsUpper(chunks[1]) {
		return []string{v} // "Hallow, Ines", "van der Berg, Jan"
	}
	var all []string
	for i, c := range chunks {
		if i > 0 && !startsUpper(c) {
			continue // "Ines Hallow, engineer"
		}
		names := betweenNames.Split(c, -1)
		for k, n := range names {
			if !strings.Contains(n, " ") && k+1 < len(names) && strings.Contains(names[k+1], " ") {
				if words := strings.Fields(names[len(names)-1]); len(words) > 0 {
					n += " " + words[len(words)-1] // "Ines and Tam Hallow"
				}
			}
			all = append(all, n)
		}
	}
	return all
}

func startsUpper(s string) bool { return s != "" && unicode.IsUpper([]rune(s)[0]) }

// identifiersIn cuts "D-2217, D-2218 (was D-1100)" into three; "D-2217, sheet 3"
// is one.
func identifiersIn(v string) []string {
	var all []string
	for _, m := range inBrackets.FindAllStringSubmatch(v, -1) {
		if isCode(m[1]) {
			all = append(all, m[1])
		}
	}
	if len(all) > 0 || !strings.ContainsAny(v, "0123456789") {
		v = strings.TrimSpace(inBrackets.ReplaceAllString(v, " "))
	}
	chunks := comma.Split(v, -1)
	if !slices.ContainsFunc(chunks, func(c string) bool { return !isCode(c) }) {
		return append(all, chunks...)
	}
	return append(all, v)
}

// isCode reports whether a text could be an identifier by itself: long enough,
// with a figure, and no sheet or issue of another.
func isCode(s string) bool {
	ps := piecesOf(s)
	return len(squeezed(s)) >= shortIdentifier && strings.ContainsAny(s, "0123456789") && len(withoutSheet(append([]piece{{}}, ps...))) > 1
}

// namesIn is a name with and without what stands in brackets beside it, and the
// names of a list.
func namesIn(v string) []string {
	all := []string{v}
	if m := inBrackets.FindStringSubmatch(v); m != nil {
		all = []string{strings.TrimSpace(inBrackets.ReplaceAllString(v, " "))}
		if len(strings.Fields(m[1])) > 1 && startsUpper(m[1]) {
			all = append(all, m[1])
		}
	}
	chunks := comma.Split(all[0], -1)
	several := func(c string) bool { return len(strings.Fields(c)) < 2 || isLegalForm(strings.ToLower(c)) }
	if len(chunks) > 1 && !slices.ContainsFunc(chunks, several) {
		all = append(all, chunks...)
	}
	return all
}

// nameKeys are the forms of a firm or a term.
func nameKeys(v Value, as role) []key {
	if as == aTerm {
		return firmKeys(v, term)
	}
	keys := firmKeys(v, firm)
	if written := spelledOut.Replace(v.Value); written != v.Value {
		keys = append(keys, firmKeys(Value{v.Kind, written, v.Where}, firm)...)
	}
	return keys
}

// contactKeys are the forms of an address or a number that its own form does
// not give away: "gus at example", without the first nought, by itself.
func contactKeys(v Value) []key {
	ps := piecesOf(v.Value)
	if name, domain, ok := strings.Cut(v.Value, "@"); ok {
		return []key{newKey(v.Kind, v.Where, term, piecesOf(name+" "+domain))}
	}
	digits := strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' {
			return r
		}
		return -1
	}, fold(v.Value)[0].text)
	keys := identifierKeys(v, ps, nil)
	if len(digits) < shortestNational || len(digits) > longestInternational {
		return keys
	}
	national := strings.TrimLeft(digits, "0")
	if rest, ok := strings.CutPrefix(national, "44"); ok && strings.HasPrefix(strings.TrimSpace(v.Value), "+") {
		national = strings.TrimPrefix(rest, "0")
	}
	// What is dialled within a town has six to eight figures.
	forms := []string{national}
	for local := 6; local <= 8; local++ {
		forms = append(forms, national[max(0, len(national)-local):])
	}
	for _, form := range forms {
		if len(form) >= 6 {
			keys = append(keys, newKey(v.Kind, v.Where, identifier, piecesOf(form)))
		}
	}
	return keys
}

// valueReading is a measurement or a share in a private value.
type valueReading struct {
	length  measure.Length
	share   measure.Percent
	isShare bool
	at      span
}

var (
	plusMinus = regexp.MustCompile(`(?:±|\+/?-)\s*[0-9.,]+\s*%?`)
	arrow     = regexp.MustCompile(`→|->|=>|>|\.\.+|…|;|\||\bdown\b|\bfalling\b|\bthen\b|\bnow\b|\bnew\b`)
)

// readingsOf reads the measurements and shares that a private value has. All
// readings given so are of one part.
func readingsOf(p plain) []valueReading {
	text := plusMinus.ReplaceAllStringFunc(p.text, func(s string) string { return strings.Repeat(" ", len(s)) })
	var all []valueReading
	for _, f := range measure.FindPercents(text) {
		all = append(all, valueReading{share: f.Percent, isShare: true, at: span{from: f.Start, to: f.End}})
	}
	// "1.63 -> 1.38 mm": the first has the unit of the second.
	text = arrow.ReplaceAllStringFunc(text, func(s string) string { return "," + strings.Repeat(" ", len(s)-1) })
	for _, f := range lengthsIn(plain{text: text, pieces: pieces(text)}) {
		all = append(all, valueReading{length: f.Length, at: span{from: f.Start, to: f.End}})
	}
	return all
}

// readingsOrFigures are the readings of a value; where it has none, its figures in
// the unit of its kind, or in millimetres.
func (v *privateValue) readingsOrFigures() []valueReading {
	if all := v.readings(); len(all) > 0 || len(v.quantities()) > 0 {
		return all
	}
	unit := " mm"
	switch {
	case v.sense.unit != "":
		unit = " " + v.sense.unit
	case v.sense.share:
		unit = " %"
	}
	var all []valueReading
	for _, m := range figureAlone.FindAllString(v.plain.text, -1) {
		for _, f := range measure.FindPercents(m + unit) {
			all = append(all, valueReading{share: f.Percent, isShare: true})
		}
		for _, f := range measure.Find(m + unit) {
			all = append(all, valueReading{length: f.Length})
		}
	}
	return all
}

var figureAlone = regexp.MustCompile(`[0-9]+(?:[.,][0-9]+)?`)
