package site

import (
	"bytes"
	"encoding/json"
	"slices"
	"strings"
	"unicode"

	"example.org/opencowl/internal/cleared"
	"golang.org/x/text/unicode/norm"
)

// searchScript is the file that the search page loads.
const searchScript = "search-index.js"

// searchEntry is one page that search can find.
type searchEntry struct {
	Title string `json:"t"`
	Kind  string `json:"k"`
	Path  string `json:"u"`
	Line  string `json:"l"`
	// Words are the distinct words on the page, folded. They stand apart, so that
	// neighbours in the list say nothing together.
	Words []string `json:"w"`
}

// searchIndex writes a script that sets one variable. A page opened from a
// folder may load a script, while it may not fetch a file.
func searchIndex(b *builder) []byte {
	entries := []searchEntry{}
	for _, s := range b.stories {
		entries = append(entries, searchEntry{plain(s.Title()), plain(s.Area().Name), "story/" + s.ID() + "/index.html", plain(s.CameOff()), folded(storyText(s)...)})
	}
	for _, c := range b.a.Corrections {
		entries = append(entries, searchEntry{plain(c.Title()), "Correction", "story/" + c.Story() + "/index.html#" + correctionID(c), plain(c.Say()), folded(c.Title(), c.Say())})
	}
	for _, w := range b.a.Words {
		entries = append(entries, searchEntry{plain(w.Word()), "Word", "word/" + w.ID() + "/index.html", firstSentence(w.Meaning()), folded(append(w.Also(), w.Word(), w.Meaning())...)})
	}
	for _, e := range b.editions() {
		r := e.Record
		entries = append(entries, searchEntry{plain(r.Subject), "Weekly update", "edition/" + r.Week.String() + "/index.html", plain(r.Preheader), folded(r.Subject, r.Preheader, r.Opening, r.Week.String())})
	}
	for _, p := range b.stops {
		entries = append(entries, searchEntry{plain(p.stop.At()), "Stop", "stop/" + p.stop.ID() + "/index.html", plain(p.tour.Title()), folded(p.stop.At(), p.tour.Title())})
	}
	var out bytes.Buffer
	out.WriteString("var archiveIndex = ")
	enc := json.NewEncoder(&out) // escapes <, > and &, so the file is inert wherever it is put
	if err := enc.Encode(entries); err != nil {
		panic(err) // strings only: it cannot fail
	}
	return append(bytes.TrimSpace(out.Bytes()), ";\n"...)
}

// firstSentence is how Markdown of a line or two begins, without its marks.
func firstSentence(markdown string) string {
	text := oneLine(markdownText(markdown))
	if end := strings.Index(text, ". "); end > 0 {
		return text[:end+1]
	}
	return text
}

// storyText is what a reader sees of a story.
func storyText(s cleared.Story) []string {
	texts := []string{s.Title(), s.Area().Name, s.CameOff(), s.Failed(), s.Replaced(), s.Body()}
	for _, c := range s.Claims() {
		texts = append(texts, c.Say, c.Evidence)
	}
	for _, q := range s.Questions() {
		texts = append(texts, q.Ask, q.Answer)
	}
	for _, p := range s.Photos() {
		texts = append(texts, p.Caption(), p.Alt())
	}
	return append(texts, s.Credits()...)
}

// folded is every distinct word of the texts, in order, lower-case and without
// accents, so that "cafe" finds "café".
func folded(texts ...string) []string {
	words := strings.FieldsFunc(fold(strings.Join(texts, " ")), func(r rune) bool { return !inWord(r) })
	slices.Sort(words)
	return slices.Compact(words)
}

func fold(s string) string {
	return strings.ToLower(strings.Map(func(r rune) rune {
		if unicode.Is(unicode.Mn, r) {
			return -1
		}
		return r
	}, norm.NFD.String(s)))
}
