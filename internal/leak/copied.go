package leak

import (
	"cmp"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// The figures below were chosen on the curve in DEVELOPERS.md.
const (
	// gram is the k of winnowing: with a window of run−gram+1 a run of words is
	// always found, and shorter agreements than gram never looked at.
	gram = 5
	// leastWeight is what a copied run must say: the sum over its words of 1 for
	// an uncommon one, ½ for an everyday one, a tenth for one that only links.
	leastWeight = 1.5
	// leastContent is the same for a copy with words dropped or swapped.
	leastContent = 1.5
	// leastContainment is how much of a stretch of a note, in weighted shingles,
	// a text must hold when words were dropped or swapped.
	leastContainment = 0.25
	// leastShare is how many of the words of that stretch must stand in order.
	leastShare = 0.7
	// commonShingle: one that stands in more sentences than this tells nothing
	// about which of them was copied.
	commonShingle = 100
	// fewestHits is how many shingles a text must share with a sentence to be
	// held against it.
	fewestHits = 5
)

// textWord is a word of a text as it is compared.
type textWord struct {
	text       string
	start, end int
}

// A word that is broken at the end of a line.
var (
	lineHyphen  = regexp.MustCompile(`^-[ \t]*\r?\n[ \t>]*`)
	lineHyphens = regexp.MustCompile(`-[ \t]*\r?\n[ \t>]*`)
)

// wordsOf cuts a folded text into words. Apostrophes are dropped, small numbers
// written in figures; 0.18 is one word.
func wordsOf(text string) []textWord {
	var all []textWord
	for i := 0; i < len(text); {
		r, n := utf8.DecodeRuneInString(text[i:])
		if !unicode.IsLetter(r) && !unicode.IsDigit(r) {
			i += n
			continue
		}
		start := i
		for i < len(text) {
			r, n = utf8.DecodeRuneInString(text[i:])
			inside := r == '\'' && is(unicode.IsLetter, text, i+1) || (r == '.' || r == ',') && isDigit(text[i-1]) && is(unicode.IsDigit, text, i+1)
			if r == '-' && brokenAt(text, i) > 0 {
				i += brokenAt(text, i)
				continue
			}
			if !unicode.IsLetter(r) && !unicode.IsDigit(r) && !inside {
				break
			}
			i += n
		}
		all = append(all, textWord{normalWord(text[start:i]), start, i})
	}
	return all
}

// brokenAt is the length of a line break inside a word; 0 if there is none.
func brokenAt(text string, i int) int {
	n := len(lineHyphen.FindString(text[i:]))
	if n == 0 || !is(unicode.IsLower, text, i+n) {
		return 0
	}
	return n
}

// is reports whether the character at i is of a kind.
func is(kind func(rune) bool, text string, i int) bool {
	r, _ := utf8.DecodeRuneInString(text[i:])
	return kind(r)
}

func isDigit(b byte) bool { return b >= '0' && b <= '9' }

func normalWord(s string) string {
	s = strings.ReplaceAll(strings.ToLower(s), "'", "")
	if strings.Contains(s, "\n") {
		s = lineHyphens.ReplaceAllString(s, "")
	}
	if n := unitOf(s); n > 0 {
		return strconv.Itoa(n)
	}
	if n := tensOf(s); n > 0 {
		return strconv.Itoa(n)
	}
	return s
}

// weight is what a word says about where a text was copied from, in tenths.
func weight(word string) int {
	if len(word) <= 2 && word[0] <= '9' { // a small number
		return 5
	}
	switch howCommon(word) {
	case link:
		return 1
	case familiar:
		return 5
	}
	return 10
}

// copyIndex finds copied notes.
type copyIndex struct {
	run       int
	ids       map[string]uint32 // words of notes; others are 0
	weights   []int             // by word id
	notes     []noteWords
	prints    map[uint64][]place // winnowed fingerprints of notes
	shingles  map[pair][]int32   // sentences that have a pair of words
	sentences []sentence
	stock     map[uint32][][]uint32 // stock phrases by their first word
}

type noteWords struct {
	ids   []uint32
	where string
}

type place struct{ note, at int32 }

// pair is two words that follow each other, or with one between.
type pair struct{ first, second uint32 }

// sentence is a stretch of a note.
type sentence struct {
	ids   []uint32
	where string
}

const (
	longestSentence = 28 // words; a longer sentence is cut into overlapping stretches
	strideLong      = 14
)

func newCopyIndex(notes []Note, run int) *copyIndex {
	c := &copyIndex{run: max(run, 2), ids: map[string]uint32{"": 0}, weights: []int{10}, prints: map[uint64][]place{}, shingles: map[pair][]int32{}, stock: map[uint32][][]uint32{}}
	seen := map[string]bool{}
	known := map[uint64]bool{}
	for _, n := range notes {
		if seen[n.Text] {
			continue // copied from either
		}
		seen[n.Text] = true
		for _, p := range fold(n.Text) {
			c.addNote(p.text, n.Where, known)
		}
	}
	for _, phrase := range stockPhrases {
		ids := c.known(wordsOf(phrase))
		if !slices.Contains(ids, 0) {
			c.stock[ids[0]] = append(c.stock[ids[0]], ids)
		}
	}
	return c
}

func (c *copyIndex) k() int { return min(gram, c.run) }

func (c *copyIndex) addNote(text, where string, known map[uint64]bool) {
	words := wordsOf(text)
	ids := make([]uint32, len(words))
	for i, w := range words {
		id, ok := c.ids[w.text]
		if !ok {
			id = uint32(len(c.weights))
			c.ids[w.text] = id
			c.weights = append(c.weights, weight(w.text))
		}
		ids[i] = id
	}
	if len(ids) < c.run {
		return
	}
	note := int32(len(c.notes))
	c.notes = append(c.notes, noteWords{ids, where})
	for _, f := range Winnow(hashesOf(ids, c.k()), c.run-c.k()+1) {
		c.prints[f.Hash] = append(c.prints[f.Hash], place{note, int32(f.Position)})
	}
	for _, s := range sentencesOf(text, words, c.run) {
		stretch := ids[s.from:s.to]
		if h := hashWords(stretch); !known[h] {
			known[h] = true
			c.addSentence(sentence{stretch, where})
		}
	}
}

func (c *copyIndex) addSentence(s sentence) {
	n := int32(len(c.sentences))
	c.sentences = append(c.sentences, s)
	for p := range c.pairs(s.ids) {
		if list := c.shingles[p]; len(list) == 0 || list[len(list)-1] != n {
			c.shingles[p] = append(list, n)
		}
	}
}

// pairs yields the shingles of a stretch with their places: words that follow
// each other, and words with one between, so that one word dropped or swapped
// leaves a shingle over the gap. Pairs of linking words are left out.
func (c *copyIndex) pairs(ids []uint32) func(func(pair, int) bool) {
	return func(yield func(pair, int) bool) {
		for i := range ids {
			for _, next := range [...]int{i + 1, i + 2} {
				if next >= len(ids) || ids[i] == 0 || ids[next] == 0 || c.weights[ids[i]]+c.weights[ids[next]] < 5 {
					continue
				}
				if !yield(pair{ids[i], ids[next]}, i) {
					return
				}
			}
		}
	}
}

func (c *copyIndex) pairWeight(p pair) int { return c.weights[p.first] + c.weights[p.second] }

type stretch struct{ from, to int }

// sentencesOf cuts the words of a note into sentences. A short one belongs to
// the next. Notes are terse, so the whole note counts as a sentence too. A long
// one is cut into stretches that overlap.
func sentencesOf(text string, words []textWord, shortest int) []stretch {
	all := shortened(nil, 0, len(words))
	from := 0
	for i := range words {
		last := i+1 == len(words)
		if !last && (i+1-from < shortest || !endsHere(text[words[i].end:words[i+1].start])) {
			continue
		}
		if i+1-from < shortest {
			from = max(0, i+1-shortest)
		}
		if i+1-from < len(words) {
			all = shortened(all, from, i+1)
		}
		from = i + 1
	}
	return all
}

func shortened(all []stretch, from, to int) []stretch {
	for to-from > longestSentence {
		all = append(all, stretch{from, from + longestSentence})
		from += strideLong
	}
	return append(all, stretch{from, to})
}

func endsHere(gap string) bool {
	return strings.ContainsAny(gap, ".!?;") && strings.ContainsAny(gap, " \n\t") || strings.Contains(gap, "\n\n")
}

// known are the ids of the words of a text; 0 for words of no note.
func (c *copyIndex) known(words []textWord) []uint32 {
	ids := make([]uint32, len(words))
	for i, w := range words {
		ids[i] = c.ids[w.text]
	}
	return ids
}

// in finds what a text has copied from notes.
func (c *copyIndex) in(p plain) []Finding {
	if len(c.notes) == 0 {
		return nil
	}
	words := wordsOf(p.text)
	ids := c.known(words)
	stock := c.stockWords(ids)
	found := c.runsIn(ids, stock)
	found = append(found, c.patchedIn(ids, stock)...)
	slices.SortStableFunc(found, func(a, b copied) int { return cmp.Or(a.from-b.from, b.to-a.to) })
	var all []Finding
	end := 0
	for _, f := range found {
		if f.from < end {
			continue
		}
		end = f.to
		const shown = 3 // words
		all = append(all, Finding{Code: CodeCopied, Kind: "private notes", Where: f.where, Start: words[f.from].start, End: words[f.to-1].end,
			Shown: p.text[words[f.from].start:words[f.from+shown-1].end] + " ..."})
	}
	return all
}

// stockWords marks the words that belong to stock phrases.
func (c *copyIndex) stockWords(ids []uint32) []bool {
	marked := make([]bool, len(ids))
	for i, id := range ids {
		for _, phrase := range c.stock[id] {
			if len(phrase) <= len(ids)-i && slices.Equal(ids[i:i+len(phrase)], phrase) {
				for k := range phrase {
					marked[i+k] = true
				}
			}
		}
	}
	return marked
}

// copied is a stretch of a text, in words, and where it was copied from.
type copied struct {
	from, to int
	where    string
}

func (c *copyIndex) weigh(ids []uint32, stock []bool, from, to int) float64 {
	tenths := 0
	for i := from; i < to; i++ {
		if !stock[i] {
			tenths += c.weights[ids[i]]
		}
	}
	return float64(tenths) / 10
}

// runsIn finds runs of words that stand in a note as they do in the text.
func (c *copyIndex) runsIn(ids []uint32, stock []bool) []copied {
	var all []copied
	k, done := c.k(), 0
	for _, f := range c.textPrints(ids) {
		if f.Position < done {
			continue
		}
		for _, at := range c.prints[f.Hash] {
			note := c.notes[at.note]
			from, to := extend(ids, note.ids, f.Position, int(at.at))
			if to-from < max(c.run, k) || c.weigh(ids, stock, from, to) < leastWeight {
				continue
			}
			all, done = append(all, copied{from, to, note.where}), to
			break
		}
	}
	return all
}

// textPrints are the fingerprints of a text. Unknown words are told apart by
// nothing, which is why what they select is compared word by word.
func (c *copyIndex) textPrints(ids []uint32) []Fingerprint {
	if len(ids) < c.run {
		return nil
	}
	return Winnow(hashesOf(ids, c.k()), c.run-c.k()+1)
}

// extend grows an agreement at a and b in both directions.
func extend(text, note []uint32, a, b int) (from, to int) {
	from, to = a, a
	for x, y := a-1, b-1; x >= 0 && y >= 0 && text[x] == note[y]; x, y = x-1, y-1 {
		from = x
	}
	for x, y := a, b; x < len(text) && y < len(note) && text[x] == note[y]; x, y = x+1, y+1 {
		to = x + 1
	}
	return from, to
}

// patchedIn finds sentences of notes that are told with words dropped or
// swapped.
func (c *copyIndex) patchedIn(ids []uint32, stock []bool) []copied {
	limits := UsualLimits()
	limits.Run = c.run
	var all []copied
	for n, at := range c.hits(ids, stock) {
		s := c.sentences[n]
		if score := c.closest(ids, stock, s, at); limits.Copied(score) {
			all = append(all, copied{score.first, score.last + 1, s.where})
		}
	}
	slices.SortFunc(all, func(a, b copied) int { return cmp.Or(a.from-b.from, b.to-a.to, strings.Compare(a.where, b.where)) })
	return all
}

// hits are the places in a text where a sentence's shingles stand, by sentence;
// only of sentences with enough of them.
func (c *copyIndex) hits(ids []uint32, stock []bool) map[int32][]int {
	hits := map[int32][]int{}
	for p, at := range c.pairs(ids) {
		if list := c.shingles[p]; !stock[at] && len(list) <= commonShingle {
			for _, s := range list {
				hits[s] = append(hits[s], at)
			}
		}
	}
	maps.DeleteFunc(hits, func(_ int32, at []int) bool { return len(at) < fewestHits })
	return hits
}

// densest is the place from which a stretch of text holds the most hits.
func densest(at []int, reach int) (from, most int) {
	for i, j := 0, 0; i < len(at); i++ {
		for j < len(at) && at[j] <= at[i]+reach {
			j++
		}
		if j-i > most {
			from, most = at[i], j-i
		}
	}
	return from, most
}

// closest holds a sentence against the part of the text where most of its
// shingles stand.
func (c *copyIndex) closest(ids []uint32, stock []bool, s sentence, at []int) Score {
	reach := len(s.ids)*3/2 + 2
	best, most := densest(at, reach)
	if most < max(fewestHits, len(s.ids)/4) {
		return Score{}
	}
	from, to := max(0, best-2), min(len(ids), best+reach+2)
	score := c.score(align(s.ids, ids[from:to]), s.ids, ids[from:to], stock[from:to])
	score.first, score.last = score.first+from, score.last+from
	return score
}

// Score tells how much of a sentence of a note a text holds.
type Score struct {
	Words       int     // that stand in the same order
	Span        int     // of the note or of the text that they reach over, whichever is more
	Longest     int     // of them in a row
	Content     float64 // their weight: 1 for an uncommon word, ½ for an everyday one, a tenth for one that links
	Containment float64 // of the weighted shingles over that span
	Sentence    int     // words of the sentence
	first, last int     // in the text
}

// Limits are what a score must reach to count as copied.
type Limits struct {
	Run         int // words, as in Private
	Content     float64
	Share       float64 // of Words in Span
	Containment float64
}

// UsualLimits are those that an Index uses.
func UsualLimits() Limits { return Limits{usualRun, leastContent, leastShare, leastContainment} }

// Copied reports whether a score counts as copied with words dropped or swapped.
func (l Limits) Copied(s Score) bool {
	content := l.Content
	if s.Words < l.Run {
		content++ // "end to end by hand" is said of many things
	}
	if s.Span == 0 || s.Content < content || s.Containment < l.Containment || float64(s.Words) < l.Share*float64(s.Span) {
		return false
	}
	if s.Words == s.Longest { // one run and nothing beside it: winnowing's
		return s.Words >= l.Run
	}
	// Fewer words than a run count only if they reach over more than one, or are
	// nearly all of what was said.
	return s.Words >= l.Run || s.Words >= l.Run-1 && s.Span > l.Run || s.Words >= l.Run-2 && s.Span >= l.Run-1 && 4*s.Words >= 3*(s.Sentence-1)
}

// Scores holds a text against the sentences of a note one by one, for
// measuring the limits.
func Scores(note, text string) []Score {
	c := newCopyIndex([]Note{{Text: note}}, usualRun)
	ids := c.known(wordsOf(fold(text)[0].text))
	stock := c.stockWords(ids)
	var all []Score
	for n, at := range c.hits(ids, stock) {
		all = append(all, c.closest(ids, stock, c.sentences[n], at))
	}
	return all
}

// agreed is one step of an alignment: a word of a note and the same of a text.
type agreed struct{ note, text int }

// align is the longest common subsequence of a stretch of a note and of a text.
func align(note, text []uint32) []agreed {
	rows, cols := len(note)+1, len(text)+1
	table := make([]int16, rows*cols)
	for i := rows - 2; i >= 0; i-- {
		for j := cols - 2; j >= 0; j-- {
			if note[i] == text[j] {
				table[i*cols+j] = table[(i+1)*cols+j+1] + 1
			} else {
				table[i*cols+j] = max(table[(i+1)*cols+j], table[i*cols+j+1])
			}
		}
	}
	var all []agreed
	for i, j := 0, 0; i < rows-1 && j < cols-1; {
		switch {
		case note[i] == text[j]:
			all = append(all, agreed{i, j})
			i, j = i+1, j+1
		case table[(i+1)*cols+j] >= table[i*cols+j+1]:
			i++
		default:
			j++
		}
	}
	return all
}

// score measures an alignment without the linking words that trail off at its
// ends.
func (c *copyIndex) score(a []agreed, note, text []uint32, stock []bool) Score {
	a = c.trim(a, note)
	if len(a) == 0 {
		return Score{}
	}
	first, last := a[0], a[len(a)-1]
	s := Score{Words: len(a), Span: last.note - first.note + 1, Sentence: len(note), first: first.text, last: last.text}
	if textSpan := last.text - first.text + 1; textSpan > s.Span {
		s.Span = textSpan
	}
	row := 0
	for i, l := range a {
		if i > 0 && l.note == a[i-1].note+1 && l.text == a[i-1].text+1 {
			row++
		} else {
			row = 1
		}
		s.Longest = max(s.Longest, row)
		if !stock[l.text] {
			s.Content += float64(c.weights[note[l.note]]) / 10
		}
	}
	held := map[pair]bool{}
	for p := range c.pairs(text[first.text : last.text+1]) {
		held[p] = true
	}
	both, all := 0, 0
	for p := range c.pairs(note[first.note : last.note+1]) {
		all += c.pairWeight(p)
		if held[p] {
			both += c.pairWeight(p)
		}
	}
	if all > 0 {
		s.Containment = float64(both) / float64(all)
	}
	return s
}

// trim drops single agreements at both ends that may be chance: a linking word
// that stands by itself, any word with more than one other before the next.
func (c *copyIndex) trim(a []agreed, note []uint32) []agreed {
	const linking = 1 // tenths
	chance := func(end, next agreed, word int) bool {
		apart := max(next.note-end.note, end.note-next.note, next.text-end.text, end.text-next.text)
		return apart > 2 || apart > 1 && c.weights[note[word]] == linking
	}
	for len(a) > 1 && chance(a[0], a[1], a[0].note) {
		a = a[1:]
	}
	for n := len(a); n > 1 && chance(a[n-1], a[n-2], a[n-1].note); n = len(a) {
		a = a[:n-1]
	}
	return a
}
