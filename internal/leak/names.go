package leak

import (
	"slices"
	"sort"
	"strings"
	"unicode"
	"unicode/utf8"
)

// class tells by what rules a key counts.
type class int8

const (
	identifier class = iota
	fullName         // of a person
	surname
	firm
	firmShort // the one distinctive word of a firm's name
	term
)

// key is one form of a private value.
type key struct {
	similar   string // squeezed, look-alikes folded: what is searched for
	exact     string // squeezed
	kind      string
	where     string
	class     class
	words     int // runs of letters and digits with something between them
	firstWord int // bytes of the first piece
	content   int // words of it that say something
	// beside: an identifier that counts only beside one of these words.
	beside   []string
	ordinary bool // made of everyday words alone
	initials bool // a surname with initials for the other names
	letters  bool // has letters
	digits   bool // has digits
}

func newKey(kind, where string, c class, ps []piece) key {
	k := key{kind: kind, where: where, class: c, ordinary: true}
	var exact strings.Builder
	for _, p := range ps {
		exact.WriteString(p.text)
		if !p.joined {
			k.words++
		}
		if p.digits {
			k.digits = true
		} else {
			k.letters = true
		}
		if !p.joined && howCommon(p.text) != link {
			k.content++
		}
		k.ordinary = k.ordinary && (p.digits || isEveryday(p.text))
	}
	if len(ps) > 0 {
		k.firstWord = len(ps[0].text)
	}
	k.exact = exact.String()
	k.similar = similar(k.exact)
	return k
}

// nameTable holds keys in order, so that a text is followed through it letter
// by letter.
type nameTable []key

func newNameTable(keys []key) nameTable {
	t := nameTable(slices.DeleteFunc(keys, func(k key) bool { return k.similar == "" }))
	slices.SortStableFunc(t, func(a, b key) int { return strings.Compare(a.similar, b.similar) })
	return slices.CompactFunc(t, func(a, b key) bool {
		return a.exact == b.exact && a.kind == b.kind && a.class == b.class && slices.Equal(a.beside, b.beside)
	})
}

var mergedLetters = strings.NewReplacer("rn", "m", "vv", "w")

// mergedKeys are the names (not the identifiers) with rn as m and vv as w, as
// they run together in print (UTS 39 has both pairs).
func mergedKeys(keys []key) []key {
	var merged []key
	for _, k := range keys {
		if k.class != identifier {
			k.exact = mergedLetters.Replace(k.exact)
			k.similar = similar(k.exact)
			merged = append(merged, k)
		}
	}
	return merged
}

func mergedPieces(ps []piece) []piece {
	var out []piece
	for i, p := range ps {
		if (strings.Contains(p.text, "rn") || strings.Contains(p.text, "vv")) && !isEveryday(p.text) { // "western" is itself
			if out == nil {
				out = slices.Clone(ps)
			}
			out[i].text = mergedLetters.Replace(p.text)
		}
	}
	return out
}

// namesIn finds names and identifiers, each place once.
func (x *Index) namesIn(p plain) []Finding {
	var found []Finding
	look := func(t nameTable, ps []piece) {
		if ps != nil {
			found = append(found, search{t, p.text, ps}.all()...)
		}
	}
	look(x.names, p.pieces)
	look(x.names, p.spoken)
	for _, ps := range p.others {
		look(x.names, ps)
	}
	look(x.names, foreignPieces(p, x.names))
	if len(x.merged) > 0 {
		look(x.merged, mergedPieces(p.pieces))
	}
	found = slices.DeleteFunc(found, func(f Finding) bool { return x.allowed(p.text[f.Start:f.End]) })
	return x.credited.without(p, found)
}

// search looks for keys in one text.
type search struct {
	keys nameTable
	text string
	ps   []piece
}

func (s search) all() []Finding {
	var found []Finding
	for i := 0; i < len(s.ps); i++ {
		k, last := s.at(i)
		if k == nil {
			continue
		}
		f := Finding{Code: CodeName, Kind: k.kind, Where: k.where, Start: s.ps[i].start, End: s.ps[last].end}
		f.Shown = hint(s.text[f.Start:f.End])
		found = append(found, f)
		i = last
	}
	return found
}

// at follows the text from a piece on and returns the longest key that counts,
// and its last piece.
func (s search) at(i int) (best *key, last int) {
	lo, hi, depth := 0, len(s.keys), 0
	skipped := false
	for j := i; j < len(s.ps) && lo < hi; j++ {
		if j > i && s.parted(j) {
			break
		}
		// Where the whole of a key has been read, an s may be left over.
		p := s.ps[j]
		for n, c := range []byte(similar(p.text)) {
			if rest := p.text[n:]; n > 0 && (rest == "s" || rest == "es") {
				if k := s.counts(lo, hi, depth, i, j, n); k != nil {
					best, last = k, j
				}
			}
			l, h := s.narrow(lo, hi, depth, c)
			if l == h && n == 0 && j > i && (p.ofS || !skipped && s.isInitial(j)) {
				skipped = skipped || !p.ofS
				break // "Hexworth's Castings", "Ann M. Lee"
			}
			lo, hi, depth = l, h, depth+1
			if lo == hi {
				break
			}
		}
		if lo < hi {
			if k := s.counts(lo, hi, depth, i, j, len(p.text)); k != nil {
				best, last = k, j
			}
		}
	}
	return best, last
}

// narrow keeps the keys that have c at a depth. All in lo..hi agree before it.
func (s search) narrow(lo, hi, depth int, c byte) (int, int) {
	byteAt := func(k int) int {
		if t := s.keys[k].similar; depth < len(t) {
			return int(t[depth])
		}
		return -1
	}
	from := lo + sort.Search(hi-lo, func(k int) bool { return byteAt(lo+k) >= int(c) })
	to := from + sort.Search(hi-from, func(k int) bool { return byteAt(from+k) > int(c) })
	return from, to
}

func (s search) isInitial(j int) bool {
	return utf8.RuneCountInString(s.ps[j].text) == 1 && s.ps[j].capital
}

// gap is what stands before a piece.
func (s search) gap(j int) string {
	if j == 0 {
		return s.text[:s.ps[0].start]
	}
	return s.text[s.ps[j-1].end:max(s.ps[j-1].end, s.ps[j].start)]
}

const widestGap = 16 // bytes of marks and space inside a name

// parted reports whether a piece cannot belong to what stands before it: a
// paragraph ends between them, or more than marks and spacing is there.
func (s search) parted(j int) bool {
	gap := s.gap(j)
	lines := strings.Count(gap, "\n")
	if len(gap) > widestGap {
		return strings.TrimSpace(gap) != "" || lines > 1
	}
	return lines > 1 && strings.TrimSpace(gap) == "" && !s.isLine(j)
}

// isLine reports whether a piece has a line to itself, as in a list that is set
// with empty lines between.
func (s search) isLine(j int) bool {
	rest, _, _ := strings.Cut(s.text[s.ps[j].end:], "\n")
	return strings.TrimRight(rest, " .,;\r") == "" && len(s.ps[j].text) < widestGap
}

// endsSentence reports whether a sentence ends before a piece. A point after an
// initial or a short form ends none.
func (s search) endsSentence(j int) bool {
	if j == 0 {
		return true
	}
	gap := s.gap(j)
	at := strings.IndexAny(gap, ".!?")
	if at < 0 || !strings.ContainsAny(gap[at:], " \n\t") || !s.ps[j].capital {
		return false
	}
	return gap[at] != '.' || len(s.ps[j-1].text) > 1 && !isShortForm(s.ps[j-1].text)
}

func isShortForm(s string) bool {
	switch s {
	case "st", "co", "no", "nos", "ser", "drg", "dwg", "mod", "ref", "rpt", "fig", "inc", "ltd":
		return true
	}
	return isTitle(s)
}

// opensSentence reports whether the capital of a piece may be there because a
// sentence, a line or a quotation begins.
func (s search) opensSentence(j int) bool {
	before := strings.TrimRight(s.text[:s.ps[j].start], " \t*_`~'\"“”‘’([")
	if before == "" {
		return true
	}
	r, _ := utf8.DecodeLastRuneInString(before)
	return strings.ContainsRune(".!?:;\n\r>#|•-+", r)
}

// counts returns a key that is exactly depth long and counts where it stands:
// pieces i to j, of which the last is read to n bytes.
func (s search) counts(lo, hi, depth, i, j, n int) *key {
	for k := lo; k < hi && len(s.keys[k].similar) == depth; k++ {
		if m := (match{s, &s.keys[k], i, j, n}); m.counts() {
			return &s.keys[k]
		}
	}
	return nil
}

// match is a key that has been read in a text.
type match struct {
	search
	key      *key
	i, j     int
	lastRead int // bytes of the last piece; what is left over is an s
}

func (m match) counts() bool {
	if !m.wholeWords() {
		return false
	}
	switch m.key.class {
	case identifier:
		return m.identifierCounts()
	case fullName:
		return m.nameCounts() && m.fullNameCounts()
	case surname:
		return m.nameCounts() && m.surnameCounts()
	case firm:
		return m.nameCounts() && m.firmCounts()
	case firmShort:
		return m.firmShortCounts()
	}
	return m.nameCounts()
}

// firmCounts: a name of everyday words needs its capitals, unless it is long, run
// together, or in a text without any: "Blue water lapped", "The brass works well".
func (m match) firmCounts() bool {
	first, last := m.ps[m.i], m.ps[m.j]
	if m.i < m.j && first.capital && !last.capital && last.text == "works" {
		return false
	}
	return !m.key.ordinary || m.key.content > 2 || m.i == m.j && m.key.content > 1 || m.i < m.j && !m.hasCapitals() ||
		first.capital && (m.i == m.j || last.capital || !m.opensSentence(m.i))
}

// hasCapitals: in a text without any, small letters say nothing.
func (s search) hasCapitals() bool {
	return slices.ContainsFunc(s.ps, func(p piece) bool { return p.capital })
}

// firmShortCounts: the distinctive word of a firm's name by itself, written as a
// name is and where a firm may stand: "Weirside sent it", and not "at the weirside",
// "near Weirside" or "Weirside Lane".
func (m match) firmShortCounts() bool {
	first := m.ps[m.i]
	if m.i != m.j || m.plural() || !first.capital || first.joined {
		return false
	}
	next, plainNext := m.next()
	owns := m.j+1 < len(m.ps) && m.ps[m.j+1].ofS
	if plainNext && (next.capital || isStreet(next.text)) {
		return false
	}
	if m.opensSentence(m.i) {
		return owns || plainNext && (isHumanVerb(next.text) && next.text != "works" && next.text != "and" || isTrading(next.text))
	}
	if m.i == 0 {
		return true
	}
	if m.allCapitals() && m.ps[m.i-1].capital && len(m.ps[m.i-1].text) > 1 && m.text[m.ps[m.i-1].start:m.ps[m.i-1].end] == strings.ToUpper(m.ps[m.i-1].text) {
		return false // a heading
	}
	before := m.ps[m.i-1]
	if m.gap(m.i) != " " {
		return true
	}
	return !isDeterminer(before.text) && !isWhereabouts(before.text) && (!before.capital || m.opensSentence(m.i-1))
}

// isTrading: what a firm does.
func isTrading(s string) bool {
	switch s {
	case "sent", "sends", "made", "makes", "supplied", "supplies", "cast", "delivered", "delivers", "quoted", "charged", "sold", "sells", "promised", "forged", "rolled", "machined", "plated", "posted", "refused", "has", "had", "did", "will", "would", "is", "was", "are", "were", "let":
		return true
	}
	return false
}

// isWhereabouts: behind it stands a place.
func isWhereabouts(s string) bool {
	switch s {
	case "at", "in", "near", "around", "across", "above", "over", "towards", "off", "beside", "along", "outside", "inside", "through", "past", "beyond", "between", "into", "on", "up", "down", "below", "behind", "round":
		return true
	}
	return false
}

// wholeWords: a key begins and ends where a word does. A long key with letters
// may stand inside a run, where letters turn to digits or a capital begins.
func (m match) wholeWords() bool {
	const longEnough = 5
	if !m.ps[m.i].joined && (m.j+1 == len(m.ps) || !m.ps[m.j+1].joined) {
		return true
	}
	if m.key.beside != nil && m.i > 0 && (m.ps[m.i-1].text == "sn" || m.ps[m.i-1].text == "n" || slices.Contains(introducesAll, m.ps[m.i-1].text)) {
		return m.j+1 == len(m.ps) || !m.ps[m.j+1].joined // "No88", "S/N88"
	}
	return m.key.letters && len(m.key.exact) >= longEnough && (m.key.class != identifier || m.key.digits)
}

// written is the match as it stands, squeezed.
func (m match) written() string {
	var b strings.Builder
	for k := m.i; k <= m.j; k++ {
		t := m.ps[k].text
		if k == m.j {
			t = t[:m.lastRead]
		}
		b.WriteString(t)
	}
	return b.String()
}

// firstWord is how much is read of the first piece.
func (m match) firstWord() int {
	if m.i == m.j {
		return m.lastRead
	}
	return len(m.ps[m.i].text)
}

// words counts the runs that the match is written in.
func (m match) words() int {
	n := 1
	for k := m.i + 1; k <= m.j; k++ {
		if !m.ps[k].joined && !m.ps[k].ofS {
			n++
		}
	}
	return n
}

// everyday reports whether all of the match is written in everyday words.
func (m match) everyday() bool {
	for _, p := range m.ps[m.i : m.j+1] {
		if p.digits || !isEveryday(p.text) {
			return false
		}
	}
	return true
}

// nameCounts: a name is not put together from everyday words by chance ("pen
// hall" for Penhall), is not an everyday word that looks like it ("hail" for
// Hall), and does not reach over the end of a sentence.
func (m match) nameCounts() bool {
	if m.everyday() && (m.words() > m.key.words || m.written() != m.key.exact || m.words() == m.key.words && m.firstWord() != m.key.firstWord) {
		return false
	}
	for k := m.i + 1; k <= m.j; k++ {
		if m.endsSentence(k) && !m.splitByMark(k) {
			return false
		}
		if m.key.words == 2 && m.key.class != fullName && !m.ps[k-1].capital && !m.ps[k].capital && strings.TrimRight(m.gap(k), " \n") == "," {
			return false // "in winter, move with care"
		}
	}
	return true
}

// splitByMark reports whether the mark before a piece stands inside a name rather
// than at the end of a sentence: with space on both sides ("Gorse . Committee"), or
// after a word of a firm that is no everyday one ("Halverbeck. Springs").
func (m match) splitByMark(k int) bool {
	gap := m.gap(k)
	if strings.HasPrefix(gap, " ") && !strings.ContainsAny(gap, "\n") {
		return true
	}
	return (m.key.class == firm || m.key.class == term) && m.ps[k-1].capital && howCommon(m.ps[k-1].text) == rare
}

// fullNameCounts: a name of everyday words ("Rose Marsh") needs its capitals,
// and initials beside a short surname need theirs.
func (m match) fullNameCounts() bool {
	if m.gluedInitial() {
		return false
	}
	if !m.key.ordinary && len(m.ps[m.i].text) > 1 {
		return true
	}
	for k := m.i; k <= m.j; k++ {
		if !m.ps[k].capital && !m.ps[k].joined {
			return false
		}
	}
	if first := m.ps[m.i]; len(first.text) == 1 && (first.text == "a" || first.text == "i") && m.i < m.j {
		return strings.HasPrefix(m.gap(m.i+1), ".") // "A. Lee", and not "A Lee"
	}
	return true
}

// gluedInitial reports whether an initial and a short or everyday surname run
// together in one word, as they do by chance: "along" is not A. Long, and "reeds"
// not Reed, S. Behind @ and # people write so on purpose.
func (m match) gluedInitial() bool {
	const longEnough = 7 // letters with the initial
	if m.i == m.j && m.lastRead == len(m.ps[m.i].text) && isEveryday(m.ps[m.i].text) {
		return true // "alarm" for Al Arm
	}
	if m.i != m.j || !m.key.initials || !m.key.ordinary && len(m.key.exact) > longEnough {
		return false
	}
	return !strings.HasSuffix(m.text[:m.ps[m.i].start], "@") && !strings.HasSuffix(m.text[:m.ps[m.i].start], "#")
}

// plural reports whether an s is left over behind the match.
func (m match) plural() bool { return m.lastRead < len(m.ps[m.j].text) }

// surnameCounts: a surname that is an everyday word needs a capital that only a
// name would have.
func (m match) surnameCounts() bool {
	first := m.ps[m.i]
	titled := m.i > 0 && isTitle(m.ps[m.i-1].text)
	if !m.key.ordinary {
		if !titled && m.commonNoun() {
			return false
		}
		next, follows := m.next()
		return titled || !follows || !next.capital || !isStreet(next.text)
	}
	if !first.capital {
		return false
	}
	if titled {
		return true
	}
	next, plainNext := m.next()
	if plainNext && next.capital || m.allCapitals() {
		return false // "Marsh Lane", a heading
	}
	if m.opensSentence(m.i) {
		return !m.plural() && plainNext && isHumanVerb(next.text) && (next.text != "and" || m.j+2 < len(m.ps) && m.ps[m.j+2].capital) || m.j+1 < len(m.ps) && m.ps[m.j+1].ofS && m.ps[m.j+1].start < first.end+2 && !isEverydayThing(first.text)
	}
	if m.i == 0 {
		return true // "@Bell"
	}
	if before := m.ps[m.i-1]; !m.plural() && isDeterminer(before.text) && m.gap(m.i) == " " {
		return false // "the Bell", but "the Bells"
	}
	if before := m.ps[m.i-1].text; before == "in" || before == "at" || before == "near" {
		return m.j+1 < len(m.ps) && m.ps[m.j+1].ofS // "in Winter"
	}
	if before := m.ps[m.i-1]; before.capital && strings.TrimSpace(m.gap(m.i)) == "" {
		return m.opensSentence(m.i-1) && (howCommon(before.text) == link || isAsking(before.text)) // "Then Marsh", and not "Salt Marsh"
	}
	return true
}

// commonNoun reports whether a short surname is used as a word that the list of
// everyday ones does not have: "the bellows breathe", "a bellow". In a text without
// capitals nothing can be told from them.
func (m match) commonNoun() bool {
	const longEnough = 8 // letters; nobody's word by chance
	if len(m.key.exact) > longEnough || m.i != m.j || m.allCapitals() {
		return false
	}
	if m.ps[m.i].capital {
		return m.plural() && m.opensSentence(m.i)
	}
	return (m.plural() || m.i > 0 && isDeterminer(m.ps[m.i-1].text) && m.gap(m.i) == " " && !(m.j+1 < len(m.ps) && m.ps[m.j+1].ofS)) &&
		m.hasCapitals()
}

// isDeterminer: what stands before a thing and not before one person's name.
func isDeterminer(s string) bool {
	switch s {
	case "a", "an", "the", "this", "that", "these", "those", "our", "its", "their", "his", "her", "my", "your", "every", "each", "some", "any", "no", "another", "one", "two", "three", "four":
		return true
	}
	return false
}

// isStreet: what is named after somebody long gone.
func isStreet(s string) bool {
	switch s {
	case "street", "road", "lane", "avenue", "terrace", "crescent", "close", "drive", "square", "quay", "hill", "row", "cottages", "way", "bridge", "bay", "head", "point", "island":
		return true
	}
	return false
}

// isEverydayThing: at the beginning of a sentence, "Wing's" is nobody's.
func isEverydayThing(s string) bool { return howCommon(s) != rare }

// next is the piece after the match, and whether nothing but a space is between.
func (m match) next() (piece, bool) {
	if m.j+1 >= len(m.ps) {
		return piece{}, false
	}
	return m.ps[m.j+1], m.gap(m.j+1) == " "
}

func (m match) allCapitals() bool {
	written := m.text[m.ps[m.i].start:m.ps[m.j].end]
	return len(written) > 1 && strings.ToUpper(written) == written && strings.ContainsFunc(written, unicode.IsLetter)
}

func isTitle(s string) bool {
	switch s {
	case "mr", "mrs", "ms", "miss", "mx", "dr", "sir", "dame", "captain", "capt", "prof", "professor", "rev", "uncle", "aunt", "auntie", "sergeant", "sgt", "lady", "lord":
		return true
	}
	return false
}

// isAsking: what one does to a person at the beginning of a sentence.
func isAsking(s string) bool {
	switch s {
	case "ask", "tell", "thank", "thanks", "meet", "see", "said", "says", "old", "young":
		return true
	}
	return false
}

// isHumanVerb: what only a person does.
func isHumanVerb(s string) bool {
	switch s {
	case "said", "says", "told", "tells", "thinks", "thought", "knew", "wrote", "writes", "asked", "asks", "drilled", "folded", "filed", "rang", "who", "and", "found", "made",
		"spotted", "noticed", "measured", "signed", "brought", "took", "gave", "worked", "works", "spent", "rebuilt", "fitted", "riveted", "inspected", "welded", "believes", "remembers", "reckons":
		return true
	}
	return false
}
