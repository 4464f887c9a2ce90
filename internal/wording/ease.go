package wording

import (
	"cmp"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Report says how easy a text is to read. Of a text without words all is zero.
type Report struct {
	Sentences, Words, Syllables int
	FleschEase                  float64  // higher is easier; may pass 100 or fall below 0
	Grade                       float64  // Flesch-Kincaid: years of school in the United States; may be negative
	Hardest                     []string // at most three sentences, the hardest first
}

// Ease reports how easy a text is to read.
//
// The counting rules are those of Flesch's test sheet: only running text
// counts, so headings, tables, code and the captions of pictures are left out;
// contractions, hyphenated words, abbreviations, figures and symbols are one
// word each; figures, abbreviations and symbols are one syllable. Ours beyond
// it: a released fact is a figure; "16 SWG" is a figure and an abbreviation; a
// part number such as FO-7 is a figure; words joined to a figure by a hyphen
// add their own syllables; a list item ends a sentence, a colon does not.
func Ease(text string) Report {
	var r Report
	var all []sentence
	for _, block := range runningText(text) {
		for _, s := range sentences(strings.Fields(block)) {
			r.Sentences++
			r.Words += s.words
			r.Syllables += s.syllables
			all = append(all, s)
		}
	}
	if r.Words == 0 {
		return Report{}
	}
	r.FleschEase = FleschEase(r.Sentences, r.Words, r.Syllables)
	r.Grade = Grade(r.Sentences, r.Words, r.Syllables)
	r.Hardest = hardest(all)
	return r
}

// FleschEase is Flesch's reading ease from counts, which must not be zero. It
// is not kept between 0 and 100. Source: the npm package flesch 2.0.1.
func FleschEase(sentences, words, syllables int) float64 {
	return 206.835 - 1.015*ratio(words, sentences) - 84.6*ratio(syllables, words)
}

// Grade is the Flesch-Kincaid grade level from counts, which must not be zero.
// Source: the npm package flesch-kincaid 2.0.1.
func Grade(sentences, words, syllables int) float64 {
	return 0.39*ratio(words, sentences) + 11.8*ratio(syllables, words) - 15.59
}

func ratio(a, b int) float64 { return float64(a) / float64(b) }

// sentence is one sentence with its counts.
type sentence struct {
	text             string
	words, syllables int
}

// hardest picks three sentences by grade. Very short ones come last: a single
// long word has a high grade and is no trouble to read.
func hardest(all []sentence) []string {
	const short = 5 // words
	grade := func(s sentence) float64 { return Grade(1, s.words, s.syllables) }
	all = slices.Clone(all)
	slices.SortStableFunc(all, func(a, b sentence) int {
		if aShort, bShort := a.words < short, b.words < short; aShort != bShort {
			if aShort {
				return 1
			}
			return -1
		}
		return cmp.Compare(grade(b), grade(a))
	})
	var texts []string
	for _, s := range all[:min(3, len(all))] {
		texts = append(texts, s.text)
	}
	return texts
}

// sentences cuts the words of a block.
func sentences(tokens []string) []sentence {
	var all []sentence
	begin := 0
	for i, token := range tokens {
		next := ""
		if i+1 < len(tokens) {
			next = tokens[i+1]
		}
		if next != "" && !endsSentence(token, next) {
			continue
		}
		s := sentence{text: strings.Join(tokens[begin:i+1], " ")}
		for _, t := range tokens[begin : i+1] {
			if n := tokenSyllables(t); n > 0 {
				s.words++
				s.syllables += n
			}
		}
		if s.words > 0 {
			all = append(all, s)
		}
		begin = i + 1
	}
	return all
}

// endsSentence reports whether a sentence ends between two tokens.
func endsSentence(token, next string) bool {
	token = strings.TrimRight(token, `"'”’)]`)
	mark, size := utf8.DecodeLastRuneInString(token)
	if !strings.ContainsRune(".!?…", mark) {
		return false
	}
	first, _ := utf8.DecodeRuneInString(strings.TrimLeft(next, `"'“‘([`))
	if unicode.IsLower(first) {
		return false
	}
	if mark != '.' {
		return true
	}
	word := strings.TrimLeft(token[:len(token)-size], `"'“‘([`)
	switch strings.ToLower(word) {
	case "mr", "mrs", "ms", "dr", "st", "prof", "capt", "lt", "sgt", "col", "rev", "e.g", "i.e", "cf", "vs", "approx", "ca", "c":
		return false
	case "no", "nos", "fig", "figs", "p", "pp", "para":
		return !unicode.IsDigit(first)
	}
	letter, n := utf8.DecodeRuneInString(word)
	return !(n == len(word) && unicode.IsUpper(letter) && letter != 'I') // an initial
}

// tokenSyllables counts the syllables of one word as it stands between spaces;
// 0 means that it is no word.
func tokenSyllables(token string) int {
	if strings.Contains(token, "{fact:") || strings.Contains(token, "://") || strings.Contains(token, "@") {
		return 1
	}
	figure, letters := false, false
	for _, r := range token {
		figure = figure || unicode.IsDigit(r)
		letters = letters || unicode.IsLetter(r)
	}
	if !figure && !letters {
		if strings.ContainsAny(token, "&%£$€+=§°×÷") {
			return 1
		}
		return 0
	}
	total := 0
	if figure {
		total = 1
	}
	for _, part := range strings.FieldsFunc(token, func(r rune) bool { return r == '-' || r == '/' || r == '‐' || r == '‑' }) {
		part = strings.TrimFunc(part, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
		switch {
		case part == "", strings.ContainsFunc(part, unicode.IsDigit):
		case figure && part != strings.ToLower(part):
		case abbreviation(part):
			total++
		default:
			total += contraction(part)
		}
	}
	return max(1, total)
}

// abbreviation reports e.g, SWG and the like.
func abbreviation(word string) bool {
	if strings.Contains(word, ".") {
		return true
	}
	n := utf8.RuneCountInString(word)
	return n >= 2 && n <= 4 && word == strings.ToUpper(word)
}

// contraction counts a word that may hold an apostrophe.
func contraction(word string) int {
	word = strings.ToLower(strings.ReplaceAll(word, "’", "'"))
	base, end, cut := strings.Cut(word, "'")
	if !cut {
		return syllables(word)
	}
	if verb, ok := strings.CutSuffix(base, "n"); ok && end == "t" {
		switch verb {
		case "do", "wo", "ca", "sha", "ai", "are", "were":
			return syllables(verb)
		}
		return syllables(verb) + 1 // did-n't
	}
	closed := base != "" && !vowel(base[len(base)-1])
	switch end {
	case "s":
		if hisses(base) {
			return syllables(base) + 1
		}
		return syllables(base)
	case "", "m", "re":
		return syllables(base)
	case "ll", "ve":
		if closed {
			return syllables(base) + 1 // it'll
		}
		return syllables(base)
	case "d":
		if strings.HasSuffix(base, "t") || strings.HasSuffix(base, "d") {
			return syllables(base) + 1 // it'd
		}
		return syllables(base)
	}
	return syllables(base) + syllables(end) // o'clock
}

var (
	comment  = regexp.MustCompile(`(?s)<!--.*?(-->|$)`)
	tag      = regexp.MustCompile(`</?[A-Za-z][^<>]*>`)
	picture  = regexp.MustCompile(`!\[[^\]]*\](\([^)]*\)|\[[^\]]*\])`)
	link     = regexp.MustCompile(`\[([^\]]*)\](\([^)]*\)|\[[^\]]*\])`)
	heading  = regexp.MustCompile(`^ {0,3}#{1,6}(\s|$)`)
	ruled    = regexp.MustCompile(`^ {0,3}(=+|-+|\*+|_+)(\s*[-*_])*\s*$`)
	linkNote = regexp.MustCompile(`^ {0,3}\[[^\]]+\]:`)
	item     = regexp.MustCompile(`^\s*([-*+]|\d{1,9}[.)])\s+`)
	quoting  = regexp.MustCompile(`^\s*(>\s?)+`)
)

// runningText cuts Markdown into blocks of plain words: paragraphs, list items
// and quotations. Headings, tables, code and pictures are left out.
func runningText(markdown string) []string {
	markdown = comment.ReplaceAllString(strings.ReplaceAll(markdown, "\r\n", "\n"), "")
	markdown = link.ReplaceAllString(picture.ReplaceAllString(markdown, ""), "$1")
	var blocks, lines []string
	flush := func() {
		if len(lines) > 0 {
			blocks = append(blocks, plainWords(strings.Join(lines, " ")))
			lines = nil
		}
	}
	fence := ""
	for line := range strings.SplitSeq(markdown, "\n") {
		trimmed := strings.TrimSpace(line)
		switch {
		case fence != "":
			if strings.HasPrefix(trimmed, fence) {
				fence = ""
			}
		case strings.HasPrefix(trimmed, "```"), strings.HasPrefix(trimmed, "~~~"):
			flush()
			fence = trimmed[:3]
		case trimmed == "", heading.MatchString(line), linkNote.MatchString(line), strings.HasPrefix(trimmed, "|"):
			flush()
		case ruled.MatchString(line):
			if strings.ContainsAny(trimmed[:1], "=-") {
				lines = nil // what stood above the rule is a heading
			}
			flush()
		default:
			line = quoting.ReplaceAllString(line, "")
			if at := item.FindString(line); at != "" {
				flush()
				line = line[len(at):]
			}
			lines = append(lines, line)
		}
	}
	flush()
	return blocks
}

// plainWords takes the marks of emphasis off and sets dashes apart.
func plainWords(s string) string {
	s = tag.ReplaceAllString(s, "")
	s = strings.NewReplacer("*", "", "`", "", "~~", "", "—", " — ", "–", " – ", "\\", "").Replace(s)
	words := strings.Fields(s)
	for i, w := range words {
		if !strings.Contains(w, "{fact:") {
			words[i] = strings.Trim(w, "_")
		}
	}
	return strings.Join(words, " ")
}
