package leak

import (
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// shortIdentifier is the length under which an identifier counts only beside a
// word that introduces one.
const shortIdentifier = 4

// What introduces an identifier, by kind. The last row is for all kinds.
var (
	introducesDrawing  = []string{"drawing", "drawings", "drg", "drgs", "dwg", "dwgs", "plan", "plans", "blueprint", "blueprints"}
	introducesSerial   = []string{"serial", "serials", "ser", "sn"}
	introducesNumber   = []string{"pn", "partno", "partnumber"}
	introducesReport   = []string{"report", "reports", "rpt"}
	introducesApproval = []string{"mod", "mods", "modification", "modifications", "approval", "approvals", "concession"}
	introducesAny      = []string{"number", "numbers", "no", "nos", "num", "nr", "frame", "batch", "ident", "identifier", "plate", "stamped", "marked", "stencilled", "engraved", "etched", "numbered"}
	introducesAll      = slices.Concat(introducesDrawing, introducesSerial, introducesNumber, introducesReport, introducesApproval, introducesAny)
)

// firmKeys are a name with and without the form of the company, and without the
// s at its end: "Hexworth Castings Ltd", "Hexworth Casting".
func firmKeys(v Value, c class) []key {
	ps := withAnd(v.Value)
	short := ps
	for len(short) > 1 && (isLegalForm(short[len(short)-1].text) || short[len(short)-1].text == "and") {
		short = short[:len(short)-1]
	}
	if len(short) > 1 && short[0].text == "the" {
		short = short[1:]
	}
	if len(short) == 0 {
		return nil
	}
	keys := oneFirm(v, c, short)
	// "Garrowby Bearings" for "Garrowby Bearings & Sons"
	if n := len(short); n > 3 && short[n-2].text == "and" && isFamily(short[n-1].text) {
		keys = append(keys, oneFirm(v, c, short[:n-2])...)
	}
	return keys
}

// shortFirm is the first word of a firm's name, if that is no everyday word and
// more of the name follows.
func shortFirm(v Value) (key, bool) {
	const shortest = 5 // letters
	ps := withAnd(v.Value)
	for len(ps) > 1 && (isLegalForm(ps[len(ps)-1].text) || ps[len(ps)-1].text == "and") {
		ps = ps[:len(ps)-1]
	}
	if len(ps) > 1 && ps[0].text == "the" {
		ps = ps[1:]
	}
	if len(ps) < 2 || ps[0].digits || ps[1].joined || len(ps[0].text) < shortest || howCommon(ps[0].text) != rare || isTradeWord(ps[0].text) {
		return key{}, false
	}
	return newKey(v.Kind, v.Where, firmShort, ps[:1]), true
}

func isFamily(s string) bool {
	switch s {
	case "son", "sons", "daughter", "daughters", "bros", "brothers", "partners", "family", "associates":
		return true
	}
	return false
}

// oneFirm are the forms of a name without its company's form: with and without
// the s at its end, and with each "and" as it may be written; "&" is not read in a
// text.
func oneFirm(v Value, c class, short []piece) []key {
	k := newKey(v.Kind, v.Where, c, short)
	keys := []key{k}
	last := short[len(short)-1].text
	if stem, ok := strings.CutSuffix(k.exact, "s"); ok && len(short) > 1 && len(last) > 4 && !strings.HasSuffix(stem, "s") {
		k.exact, k.similar = stem, similar(stem)
		keys = append(keys, k)
	}
	const most = 3 // ands
	var ands []int
	for i, p := range short {
		if p.text == "and" {
			ands = append(ands, i)
		}
	}
	if len(ands) > most || len(ands) == len(short) {
		return keys
	}
	forms := [][]piece{nil}
	for _, p := range short {
		ways := []string{p.text}
		if p.text == "and" {
			ways = []string{"and", "", "n"}
			if len(ands) == 1 { // in the tongues of the neighbours
				ways = append(ways, "et", "und", "a", "y", "og", "och", "en")
			}
		}
		var longer [][]piece
		for _, f := range forms {
			for _, way := range ways {
				if p.text = way; way == "" {
					longer = append(longer, f)
				} else {
					longer = append(longer, append(slices.Clip(f), p))
				}
			}
		}
		forms = longer
	}
	for _, f := range forms[1:] {
		keys = append(keys, newKey(v.Kind, v.Where, c, f))
	}
	return keys
}

// withAnd reads a company's name in small letters, so that "GmbH" is one piece.
func withAnd(name string) []piece {
	return piecesOf(strings.ToLower(strings.ReplaceAll(name, "&", " and ")))
}

func isLegalForm(s string) bool {
	switch s {
	case "ltd", "limited", "plc", "llp", "llc", "lp", "inc", "incorporated", "corp", "corporation", "co", "company", "cic", "cio", "gmbh", "mbh", "ag", "kg", "ohg", "ug", "ev",
		"bv", "nv", "sa", "sarl", "sas", "srl", "spa", "oy", "oyj", "ab", "aps", "as", "asa", "pty", "pte", "kft", "sro", "zoo", "holdings", "group",
		"uk", "gb", "usa", "eu", "europe", "international", "intl":
		return true
	}
	return false
}

// identifierKeys are the forms of an identifier: with and without the words
// before it that say what it is and the sheet or issue after it, with and
// without leading zeros, and its number by itself beside such a word.
func identifierKeys(v Value, ps []piece, introducers []string) []key {
	var keys []key
	add := func(ps []piece, beside []string) {
		k := newKey(v.Kind, v.Where, identifier, ps)
		if len([]rune(k.exact)) < shortIdentifier && beside == nil {
			beside = introducesAll
		}
		k.beside = beside
		keys = append(keys, k)
	}
	forms := [][]piece{ps}
	if core := withoutLabel(ps); len(core) < len(ps) {
		forms = append(forms, core)
	}
	for _, form := range forms {
		if base := withoutSheet(form); len(base) < len(form) && len(base) > 0 {
			forms = append(forms, base)
		}
	}
	for _, form := range slices.Clone(forms) {
		if bare := withoutZeros(form); bare != nil {
			forms = append(forms, bare)
		}
	}
	for _, form := range forms {
		add(form, nil)
		// "drawing 2217" for D-2217, "mod 31" for MOD-031, "report 88-4455"
		if beside := besideBare(form, introducers); beside != nil {
			add(form[1:], beside)
		}
	}
	return keys
}

// besideBare are the words beside which the figures of an identifier count
// without the letters before them; nil if they never do.
func besideBare(form []piece, introducers []string) []string {
	if len(form) < 2 || introducers == nil || form[0].digits || slices.ContainsFunc(form[1:], func(p piece) bool { return !p.digits }) {
		return nil
	}
	figures := 0
	for _, p := range form[1:] {
		figures += len(p.text)
	}
	switch {
	case figures >= shortIdentifier:
		return slices.Concat(introducers, introducesAny)
	case len(form) == 2:
		return introducers
	}
	return nil
}

// withoutLabel drops words such as "S/N", "drawing" and "No." that a value may
// begin with.
func withoutLabel(ps []piece) []piece {
	for len(ps) > 1 {
		switch {
		case len(ps) > 2 && (ps[0].text == "s" || ps[0].text == "p") && ps[1].text == "n" && !ps[1].joined:
			ps = ps[2:]
		case slices.Contains(introducesAll, ps[0].text) && ps[0].text != "mod", ps[0].text == "part", ps[0].text == "ref":
			ps = ps[1:]
		default:
			return ps
		}
	}
	return ps
}

func withoutSheet(ps []piece) []piece {
	for i := 1; i < len(ps); i++ {
		switch ps[i].text {
		case "sheet", "sheets", "sht", "sh", "issue", "iss", "rev", "revision", "page":
			return ps[:i]
		}
	}
	return ps
}

// withoutZeros drops leading zeros; nil if there are none.
func withoutZeros(ps []piece) []piece {
	var out []piece
	for i, p := range ps {
		bare := strings.TrimLeft(p.text, "0")
		if p.digits && bare != p.text && bare != "" {
			if out == nil {
				out = slices.Clone(ps)
			}
			out[i].text = bare
		}
	}
	return out
}

func (m match) identifierCounts() bool {
	if next, follows := m.next(); follows && isLapse(next.text) && !m.ps[m.j].joined && m.ps[m.j].digits && len(m.ps[m.j].text) < 3 {
		return false // "the Ministry of Defence (MOD) 31 years ago"
	}
	introduced := m.introduced()
	if m.key.beside != nil || introduced {
		return introduced
	}
	if m.touchesDate() || m.endsSentence(m.j) && m.j > m.i {
		return false
	}
	if !m.key.letters {
		return m.numberCounts()
	}
	written := m.written()
	letters, digits := strings.ContainsFunc(written, unicode.IsLetter), strings.ContainsFunc(written, unicode.IsDigit)
	if m.key.digits {
		// "8100" is not B100, and "boss" is not B055.
		return letters && digits && !m.byChance()
	}
	return written == m.key.exact && !(m.key.ordinary && !m.ps[m.i].capital)
}

// byChance: "in 1943" is not IN-1943, and "a 2217" not A2217, unless it is
// written as one or with its capital.
func (m match) byChance() bool {
	first, second := m.ps[m.i], m.ps[min(m.i+1, m.j)]
	return !first.digits && first.text == m.text[first.start:first.end] && howCommon(first.text) == link && second.digits &&
		strings.TrimSpace(m.text[first.end:second.start]) == ""
}

// touchesDate: figures that are a part of a longer number, a date or a time.
func (m match) touchesDate() bool {
	tied := func(j int) bool {
		if j <= 0 || j >= len(m.ps) || !m.ps[j].digits || !m.ps[j-1].digits {
			return false
		}
		gap := m.gap(j)
		return len(gap) == 1 && strings.Contains("-/.:,·", gap)
	}
	return !m.key.letters && (tied(m.i) || tied(m.j+1))
}

// numberCounts: figures alone are an identifier unless they are a sum, a count,
// a measure or a year.
func (m match) numberCounts() bool {
	first, last := m.ps[m.i], m.ps[m.j]
	if first.spoken > 0 {
		return first.spoken >= len(m.key.exact)-1 // said figure by figure
	}
	written := m.text[first.start:last.end]
	if !strings.ContainsAny(written, "0123456789") || strings.ContainsAny(written, ",:") {
		return false
	}
	if m.i < m.j && strings.ContainsAny(written, "./") && len(m.key.exact) < 6 {
		return false
	}
	before := strings.TrimRight(m.text[:first.start], " ")
	for _, sign := range [...]string{"£", "€", "$", "¥", "GBP", "EUR", "USD"} {
		if strings.HasSuffix(before, sign) {
			return false
		}
	}
	next, follows := m.next()
	after := m.text[last.end:]
	if strings.HasPrefix(after, "%") || strings.HasPrefix(after, " %") || strings.HasPrefix(after, "°") || follows && isCounted(next.text) && !m.goesOnIn(next) {
		return false
	}
	return !m.isYear(written)
}

// goesOnIn: "2217 in the end" counts no inches, nor does "563-6160 of the list"
// count anything.
func (m match) goesOnIn(next piece) bool {
	written := m.text[m.ps[m.i].start:m.ps[m.j].end]
	hyphened := m.i < m.j && strings.ContainsAny(written, "-/–‑−")
	if strings.ContainsFunc(written, unicode.IsLetter) || next.text != "in" && !(hyphened && len(next.text) <= 3) {
		return false
	}
	rest := strings.TrimLeft(m.text[next.end:], " ")
	r, _ := utf8.DecodeRuneInString(rest)
	return len(rest) < len(m.text)-next.end && unicode.IsLetter(r)
}

// isCounted: a number before this word counts or measures something.
func isCounted(s string) bool {
	switch s {
	case "is", "was", "has", "its", "this", "does", "as", "us", "ours", "theirs", "his", "hers", "always", "perhaps", "needs", "shows", "goes", "comes", "fits", "belongs", "came":
		return false
	case "mm", "cm", "m", "km", "in", "inch", "ft", "foot", "feet", "kg", "g", "lb", "rpm", "hp", "people", "men", "women", "children", "swg", "awg", "gauge", "percent", "per", "hundred", "thousand", "million", "am", "pm", "metre", "mile", "gallon", "litre", "pound", "euro", "dollar", "more", "of":
		return true
	}
	return len(s) > 2 && strings.HasSuffix(s, "s") && !strings.HasSuffix(s, "ss")
}

// isLapse: a small number before this word says how long, or how many came.
func isLapse(s string) bool {
	switch s {
	case "years", "months", "weeks", "days", "hours", "minutes", "people", "visitors", "times":
		return true
	}
	return false
}

// isYear: four figures that say when.
func (m match) isYear(written string) bool {
	if len(written) != 4 || written < "1700" || written > "2199" {
		return false
	}
	if m.i == 0 {
		return false
	}
	switch m.ps[m.i-1].text {
	case "in", "since", "until", "till", "by", "from", "to", "before", "after", "during", "of", "about", "around", "circa", "c", "and", "late", "early", "mid", "year", "built", "between",
		"spring", "summer", "autumn", "winter", "january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november", "december",
		"jan", "feb", "mar", "apr", "jun", "jul", "aug", "sep", "sept", "oct", "nov", "dec":
		return true
	}
	return false
}

// introduced reports whether a word that introduces an identifier stands before
// the match, with no more than small words between, or right after it.
func (m match) introduced() bool {
	words := m.key.beside
	if words == nil {
		words = introducesAll
	}
	const furthest = 5
	at := m.i
	for k := m.i - 1; k >= 0 && k >= m.i-furthest; k-- {
		if m.endsSentence(at) || m.parted(at) {
			break
		}
		t := m.ps[k].text
		if t == "n" && k > 0 && (m.ps[k-1].text == "s" || m.ps[k-1].text == "p") {
			t = m.ps[k-1].text + t
		}
		if slices.Contains(words, t) && !m.otherNumber(k, t) {
			return true
		}
		if !isFiller(t) {
			break
		}
		at = k
	}
	if before := strings.TrimRight(m.text[:m.ps[m.i].start], " "); strings.HasSuffix(before, "#") && slices.Contains(words, "number") {
		return true
	}
	for k := m.j + 1; k < min(m.j+5, len(m.ps)) && strings.TrimSpace(m.gap(k)) == ""; k++ {
		switch t := m.ps[k].text; t {
		case "mod", "drawing", "serial", "modification":
			return slices.Contains(words, t)
		case "is", "was", "its", "the", "our", "as":
		default:
			return false
		}
	}
	return false
}

// isFiller: what may stand between "serial" and its number.
func isFiller(s string) bool {
	switch s {
	case "number", "numbers", "no", "nos", "num", "nr", "is", "was", "are", "were", "reads", "read", "marked", "stamped", "stencilled", "the", "a", "its", "it", "of", "called", "plate", "says", "being",
		"as", "under", "see", "on", "s", "n", "had", "that", "has", "to", "port", "starboard", "numbered", "ref", "reference", "sheet", "bears", "bore", "carries", "carried", "reading":
		return true
	}
	return false
}

// otherNumber: the number of a page, a house or a bus is nobody's secret, "no
// 14 inch bolts" has no number, and "number 2 engine" says which engine.
func (m match) otherNumber(k int, word string) bool {
	switch word {
	case "no", "nos", "number", "numbers", "num", "nr", "plate", "marked", "stamped":
	case "drawing", "drawings", "plan", "plans", "report", "reports", "batch":
		if k+1 < m.i && m.ps[k+1].text == "of" {
			return true // "a drawing of 22 boats"
		}
		next, follows := m.next()
		return follows && !next.capital && next.text != "of" && isCounted(next.text) // "drawing 22 visitors a day"
	case "frame":
		return len(m.key.exact) < 2
	default:
		return false
	}
	if len(m.key.exact) < 2 {
		return k == 0 || m.ps[k-1].text != "part" && !slices.Contains(introducesAll, m.ps[k-1].text)
	}
	for back := k - 1; back >= max(0, k-4); back-- {
		switch m.ps[back].text {
		case "page", "house", "stop", "room", "bus", "visitor", "member", "flat", "door", "gate", "platform", "phone", "telephone", "week", "issue", "question", "chapter", "channel", "ticket", "raffle", "table",
			"lived", "live", "lives", "living", "address", "edition", "figure", "photo", "picture", "hangar", "berth", "mooring", "route", "train", "lot", "card", "age", "seat", "locker", "top", "street", "lane", "road", "postcard", "registration", "race":
			return true
		}
	}
	next, follows := m.next()
	counted := follows && !next.capital && next.text != "of" && isCounted(next.text)
	if counted {
		return true // "no 14 inch bolts"
	}
	if word == "no" && m.text[m.ps[k].start:m.ps[k].end] == "no" && !strings.Contains(m.gap(k+1), ".") {
		return follows && !next.capital
	}
	for ahead := m.j + 1; ahead <= min(m.j+3, len(m.ps)-1); ahead++ {
		switch m.ps[ahead].text {
		case "street", "road", "lane", "quay", "close", "avenue", "terrace", "row", "hill", "way", "crescent", "drive", "square", "bus", "bar", "engine", "cottages":
			return true
		}
	}
	return false
}
