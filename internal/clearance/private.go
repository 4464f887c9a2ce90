package clearance

import (
	"fmt"
	"html"
	"regexp"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"

	"example.org/opencowl/internal/measure"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/wording"
	"example.org/opencowl/internal/worklog"
	"example.org/opencowl/internal/workspace"
)

// private is what must not be told, in a form in which public words can be
// searched for it quickly.
type private struct {
	names   map[string]named // by squeezed form
	longest int              // runes in the longest squeezed name
	runs    map[string]bool  // runs of words from private notes
	run     int              // words in a run
	costs   map[string]bool  // sums of money, as plainSum writes them
}

type named struct {
	kind string
	// short: an identifier so short that it counts only beside a word such as "drawing".
	short bool
}

// word is one run of letters and digits of a text, folded.
type word struct {
	text  string
	start int // byte offset in the text
}

// words cuts a text into runs of letters and digits: compatibility forms and
// case folded, invisible characters dropped, so that spacing, punctuation,
// hyphens, emphasis and line ends make no difference.
func words(text string) []word {
	var all []word
	var b strings.Builder
	start := -1
	flush := func() {
		if b.Len() > 0 {
			all = append(all, word{b.String(), start})
			b.Reset()
		}
		start = -1
	}
	for i, r := range text {
		switch {
		case unicode.Is(unicode.Cf, r), unicode.Is(unicode.Mn, r):
			continue // soft hyphen, zero-width space, combining accent
		case unicode.IsLetter(r), unicode.IsDigit(r):
			if start < 0 {
				start = i
			}
			for _, f := range norm.NFKD.String(string(r)) {
				if !unicode.Is(unicode.Mn, f) {
					b.WriteRune(unicode.ToLower(f))
				}
			}
		case r == '\'' || r == '’':
			continue // keep "frame's" one word
		default:
			flush()
		}
	}
	flush()
	return all
}

// squeeze is the form under which a name is kept: its words run together. In a
// name with digits, letters that are taken for digits become digits.
func squeeze(ws []word) string {
	var b strings.Builder
	for _, w := range ws {
		b.WriteString(w.text)
	}
	return likeDigits(b.String())
}

var digitLike = strings.NewReplacer("o", "0", "i", "1", "l", "1")

func likeDigits(s string) string {
	if strings.ContainsAny(s, "0123456789") {
		return digitLike.Replace(s)
	}
	return s
}

func gatherPrivate(log *worklog.Log, s workspace.Settings) *private {
	p := &private{names: map[string]named{}, runs: map[string]bool{}, run: s.Clearing.RunOfWords, costs: map[string]bool{}}
	for _, i := range log.Identifiers() {
		switch i.Kind {
		case "location": // "frame 14, port" is where visitors stand
		case "cost":
			p.costs[plainSum(i.Value)] = true
		case "person":
			if !s.MayCredit(i.Value) {
				p.person(i.Value)
			}
		default:
			p.name(i.Value, i.Kind)
		}
	}
	for _, t := range s.Clearing.PrivateTerms {
		p.name(t, "private term")
	}
	for _, person := range s.People {
		if !s.MayCredit(person.Name) {
			p.person(person.Name)
		}
	}
	for _, n := range log.Notes() {
		p.note(n.Value)
	}
	return p
}

// shortName is the length under which an identifier counts only beside a word
// that introduces one.
const shortName = 4

func (p *private) name(value, kind string) {
	key := squeeze(words(value))
	if key == "" {
		return
	}
	n := []rune(key)
	p.names[key] = named{kind: kind, short: len(n) < shortName}
	p.longest = max(p.longest, len(n))
}

// person keeps a full name, and a surname of four letters or more.
func (p *private) person(name string) {
	p.name(name, "person who is not credited")
	if parts := strings.Fields(name); len(parts) > 1 && len([]rune(parts[len(parts)-1])) >= 4 {
		p.name(parts[len(parts)-1], "person who is not credited")
	}
}

func (p *private) note(text string) {
	ws := words(text)
	for i := 0; i+p.run <= len(ws); i++ {
		p.runs[runOf(ws[i:i+p.run])] = true
	}
}

func runOf(ws []word) string {
	var b strings.Builder
	for _, w := range ws {
		b.WriteString(w.text)
		b.WriteByte(' ')
	}
	return b.String()
}

// introduces are the words beside which a short identifier counts.
var introduces = map[string]bool{"serial": true, "number": true, "no": true, "drawing": true, "frame": true, "mod": true}

// leak is something private in public words.
type leak struct {
	code, kind string
	at         int // byte offset
	shown      string
}

// names finds private names of things in a text.
func (p *private) namesIn(text string) []leak {
	var leaks []leak
	ws := words(text)
	for i := 0; i < len(ws); i++ {
		joined := ""
		for j := i; j < len(ws) && len([]rune(joined)) < p.longest; j++ {
			joined += ws[j].text
			n, found := p.names[likeDigits(joined)]
			if !found || n.short && (i == 0 || !introduces[ws[i-1].text]) {
				continue
			}
			end := len(text)
			if j+1 < len(ws) {
				end = ws[j+1].start
			}
			leaks = append(leaks, leak{"private-name", n.kind, ws[i].start, hint(strings.TrimSpace(text[ws[i].start:end]))})
			i = j
			break
		}
	}
	return leaks
}

// copied finds the first run of words that also stands in private notes.
func (p *private) copiedIn(text string) []leak {
	ws := words(text)
	for i := 0; i+p.run <= len(ws); i++ {
		if p.runs[runOf(ws[i:i+p.run])] {
			end := min(i+3, len(ws)-1)
			return []leak{{"copied-sentence", "private notes", ws[i].start, strings.TrimSpace(text[ws[i].start:ws[end].start]) + " ..."}}
		}
	}
	return nil
}

// hint shows enough of a private value for its owner to know it, and no more.
func hint(s string) string {
	r := []rune(s)
	if len(r) <= 4 {
		return string(r[:1]) + "..."
	}
	return string(r[:3]) + "..."
}

var (
	emailAddress = regexp.MustCompile(`[\pL\pN._%+'-]+@[\pL\pN-]+(\.[\pL\pN-]+)+`)
	// BS 7666 as published in the Cabinet Office's XML schema, its character
	// class subtractions written out; the space may be missing.
	postcode = regexp.MustCompile(`\b(GIR ?0AA|[A-PR-UWYZ]([0-9][0-9]?|[A-HK-Y][0-9][0-9]?|[0-9][A-HJKSTUW]|[A-HK-Y][0-9][ABEHMNPRVWXY]) ?[0-9][ABD-HJLNP-UW-Z]{2})\b`)
	// A telephone number: + or 0, then nine or more digits with the usual marks between.
	telephone = regexp.MustCompile(`(\+|\b0)[0-9]([ ().-]{0,2}[0-9]){8,13}\b`)
)

// contactsIn finds addresses, postal codes and telephone numbers.
func contactsIn(text string, allowed func(string) bool) []leak {
	var leaks []leak
	for _, c := range []struct {
		what string
		re   *regexp.Regexp
	}{{"email address", emailAddress}, {"postal code", postcode}, {"telephone number", telephone}} {
		for _, m := range c.re.FindAllStringIndex(text, -1) {
			if found := text[m[0]:m[1]]; !allowed(found) {
				leaks = append(leaks, leak{"contact", c.what, m[0], hint(found)})
			}
		}
	}
	return leaks
}

// checkTexts runs the checks that hold for every public text: names of things,
// copied sentences, numbers that are not released.
func (d *Desk) checkTexts(u *Unit, texts []wording.Text) []Finding {
	var findings []Finding
	for _, t := range texts {
		// A released fact is honoured where it stands: the rest is looked through.
		value, err := wording.Expand(t.Value, func(f wording.FactRef) (string, error) { return strings.Repeat(" ", len(f.Raw)), nil })
		if err != nil {
			continue // reported where facts are filled in
		}
		leaks := d.private.namesIn(value)
		if plain := html.UnescapeString(value); plain != value {
			for _, l := range d.private.namesIn(plain) {
				l.at = 0 // written with HTML entities, so its place is not known
				leaks = append(leaks, l)
			}
		}
		leaks = append(leaks, d.private.copiedIn(value)...)
		leaks = append(leaks, contactsIn(value, d.isPublicValue)...)
		for _, l := range leaks {
			findings = append(findings, Finding{reading.Problem{Place: t.At(l.at), Code: l.code, Value: l.shown,
				Message: fmt.Sprintf("%s: %q is private (%s)", t.Field, l.shown, l.kind), Remedy: remedyFor(l)}, u.ID})
		}
		findings = append(findings, d.checkNumbers(u, t, value)...)
	}
	return findings
}

// sum is an amount of money with its currency before it.
var sum = regexp.MustCompile(`([£€$]|\b[A-Z]{3})[ \x{a0}]?[0-9][0-9,]*(\.[0-9]{1,2})?`)

var plainSums = strings.NewReplacer(" ", "", "\u00a0", "", ",", "")

// plainSum writes a sum without spaces, commas and empty pence.
func plainSum(s string) string { return strings.TrimSuffix(plainSums.Replace(s), ".00") }

func remedyFor(l leak) string {
	switch l.code {
	case "copied-sentence":
		return "say it in words of your own"
	case "contact":
		return "take it out, or put it in workshop.yaml if it is the workshop's own"
	}
	return "take it out, or say what it is rather than its name"
}

// isPublicValue: the workshop's own addresses may be told anywhere.
func (d *Desk) isPublicValue(s string) bool {
	w := d.ws.Settings
	public := strings.Join(append([]string{w.Workshop.PostalAddress, w.Post.From, w.Post.Returns, w.Workshop.Site, w.PublicURL}, w.LegalLines...), "\n")
	return strings.Contains(public, s)
}

// checkNumbers finds measurements and sums that equal a private one.
func (d *Desk) checkNumbers(u *Unit, t wording.Text, value string) []Finding {
	var findings []Finding
	add := func(at int, written, what string) {
		findings = append(findings, Finding{reading.Problem{Place: t.At(at), Code: "private-number", Value: written,
			Message: fmt.Sprintf("%s: %q equals a private %s", t.Field, written, what), Remedy: "release it as {fact:PART.FIELD|FORM}, or take it out"}, u.ID})
	}
	for _, m := range sum.FindAllStringIndex(value, -1) {
		if written := value[m[0]:m[1]]; d.private.costs[plainSum(written)] {
			add(m[0], written, "cost")
		}
	}
	found, percents := measure.Find(value), measure.FindPercents(value)
	if len(found)+len(percents) == 0 {
		return findings
	}
	parts := d.log.Parts()
	if u.story != nil {
		// A story is held against the parts it is about; elsewhere any part counts.
		parts = nil
		for _, id := range u.story.Parts {
			if p, ok := d.log.Part(id); ok {
				parts = append(parts, p)
			}
		}
	}
	for _, f := range found {
		for _, p := range parts {
			if reading := sameReading(d.log.Readings(p.ID), f); reading != "" {
				add(f.Start, f.Written, reading)
				break
			}
		}
	}
	for _, f := range percents {
		if u.story == nil && !strings.ContainsAny(f.Written, "0123456789") {
			continue // "half the team" is about no part in particular
		}
		for _, p := range parts {
			if loss, measured := d.log.Loss(p.ID, d.today); measured && f.Covers(loss.Percent()) {
				add(f.Start, f.Written, "loss")
				break
			}
		}
	}
	return findings
}

func sameReading(readings []worklog.Reading, f measure.Found) string {
	for _, r := range readings {
		if f.Covers(r.Length) {
			return strings.ReplaceAll(r.Kind, "_", " ")
		}
	}
	return ""
}
