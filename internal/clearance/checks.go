package clearance

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"unicode"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/picture"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/wording"
	"example.org/opencowl/internal/worklog"
)

// Words on the front of a card over which a reader tires. Smithsonian Guidelines
// for Accessible Exhibition Design, section III: a label has 75 to 100 words.
const (
	labelWords = 75
	labelMost  = 100
)

var (
	// Words that only a licensed engineer may say.
	assertion = regexp.MustCompile(`(?i)\b(airworth\w*|certif\w+|flightworth\w*|safe to (fly|use|board)|safe (again|now|enough)|((is|are|be|been|quite|perfectly|completely|entirely) safe)|fit (to fly|for flight|for service)|` +
		`ready (to fly|for flight|for the air)|(sound|strong|good) enough to fly|cleared (to|for) (fly|flight)|approved (to|for) (fly|flight|service)|release(d)? to service|(as )?good as new|passed for flight)\b`)
	denial   = regexp.MustCompile(`(?i)\b(not|never|no|nobody|nothing|without|instead of|rather than|until|once|when|if|would|will|should|to be|before|yet|waits?|waiting|hope)\b|n['’]t\b`)
	replaced = regexp.MustCompile(`(?i)\b(replaced|a new one|new ones|a replacement)\b`)
	fitted   = regexp.MustCompile(`(?i)\b((is|are|been|now|we) (now |all |been )?(re)?fitted|back in (its|their) place|went back in)\b`)
	usable   = regexp.MustCompile(`(?i)\bserviceable\b`)
	keptOn   = regexp.MustCompile(`(?i)\b(kept|put back|went back|goes back|serves? on)\b`)
	sentence = regexp.MustCompile(`[^.!?\n]+[.!?]*`)
)

// checkStory sets a story's words against the record and asks for what is missing.
func (d *Desk) checkStory(u *Unit, s *wording.Story) []Finding {
	f := &Unit{ID: u.ID}
	for _, id := range s.Parts {
		if _, ok := d.log.Part(id); !ok {
			f.find(s.Doc.At("parts"), "unknown-part", id, fmt.Sprintf("there is no part %q", id), "name a file of parts/ without its .md")
		}
	}
	for i, c := range s.Claims {
		if _, ok := d.log.Part(c.About); c.About != "" && !ok {
			f.find(s.Doc.At(fmt.Sprintf("claims[%d].about", i)), "unknown-part", c.About, fmt.Sprintf("there is no part %q", c.About), "name a file of parts/ without its .md")
		}
	}
	for _, t := range u.Texts {
		d.checkSentences(f, s, t)
	}
	d.checkCredits(f, s.Credits, s.Doc)
	d.checkLabel(f, s.Doc, s.CameOff, s.Failed, s.Replaced)
	d.checkEase(f, u, s)
	return f.Findings
}

// checkLabel counts the words of a front.
func (d *Desk) checkLabel(f *Unit, doc *reading.Doc, texts ...string) {
	front := len(strings.Fields(strings.Join(texts, " ")))
	if front > labelWords {
		more := "fewer than 75 words are easier to read standing up"
		if front > labelMost {
			more = "bring it under 100 words, better 75"
		}
		f.advise(doc.At("came_off"), "long", fmt.Sprint(front), fmt.Sprintf("the front of the card has %d words", front), more)
	}
}

// checkAssertions finds words that judge what is airworthy, certified or safe.
func (d *Desk) checkAssertions(u *Unit, texts []wording.Text) []Finding {
	f := &Unit{ID: u.ID}
	for _, t := range texts {
		for _, m := range d.assertionsIn(u, t) {
			said := t.Value[m[0]:m[1]]
			f.find(t.At(m[0]), "assertion", said, fmt.Sprintf("%s: %q is for the licensed engineer to say, in the record", t.Field, said), "say what was done, and leave the judgement out")
		}
	}
	return f.Findings
}

func (d *Desk) checkSentences(f *Unit, s *wording.Story, t wording.Text) {
	for _, m := range sentence.FindAllStringIndex(t.Value, -1) {
		d.checkSentence(f, s, t, t.Value[m[0]:m[1]], m[0])
	}
}

func (d *Desk) checkSentence(f *Unit, s *wording.Story, t wording.Text, text string, at int) {
	j := d.judgementOf(f)
	if j.denial.MatchString(text) || strings.HasSuffix(t.Field, ".ask") || strings.HasSuffix(t.Field, ".evidence") {
		return
	}
	states := d.states(s)
	if len(states) == 0 {
		return
	}
	all := func(is func(worklog.State) bool) bool {
		return !slices.ContainsFunc(states, func(st worklog.State) bool { return !is(st) })
	}
	if m := said(j.replaced, text); m != "" && all(func(st worklog.State) bool { return st.Pile == "serviceable" }) && !d.hasReplacement(s) {
		f.find(t.At(at), "contradiction", m, fmt.Sprintf("%s: %q, but the record has the part in the serviceable pile and no replacement", t.Field, m), "correct the words, or log the replacement")
	}
	if m := said(j.fitted, text); m != "" && all(func(st worklog.State) bool { return st.Phase != string(cleared.Fitted) }) {
		f.find(t.At(at), "contradiction", m, fmt.Sprintf("%s: %q, but the record has no fitting of the part", t.Field, m), "correct the words, or log the fitting")
	}
	if m := said(j.usable, text); m != "" && all(func(st worklog.State) bool { return st.Pile != "" && st.Pile != "serviceable" }) && !d.hasReplacement(s) {
		f.find(t.At(at), "contradiction", m, fmt.Sprintf("%s: %q, but the record has the part in another pile", t.Field, m), "correct the words; the engineer owns the record")
	}
	if m := said(j.keptOn, text); m != "" && d.overLimit(s) && !d.hasReplacement(s) {
		f.find(t.At(at), "contradiction", m, fmt.Sprintf("%s: %q, but the loss on record is over the engineer's figure for the part", t.Field, m), "correct the words; the engineer owns the record")
	}
}

// said is what of a text a pattern finds.
func said(pattern *regexp.Regexp, text string) string {
	return strings.TrimFunc(pattern.FindString(text), func(r rune) bool { return !unicode.IsLetter(r) })
}

func (d *Desk) states(s *wording.Story) []worklog.State {
	var states []worklog.State
	for _, id := range s.Parts {
		if _, ok := d.log.Part(id); ok {
			states = append(states, d.log.StateOn(id, d.today))
		}
	}
	return states
}

func (d *Desk) hasReplacement(s *wording.Story) bool {
	return slices.ContainsFunc(s.Parts, func(id string) bool {
		return slices.ContainsFunc(d.log.Entries(id, d.today), func(e *worklog.Entry) bool { return e.Replacement.Source != "" })
	})
}

func (d *Desk) overLimit(s *wording.Story) bool {
	return slices.ContainsFunc(s.Parts, func(id string) bool {
		p, known := d.log.Part(id)
		loss, measured := d.log.Loss(id, d.today)
		return known && measured && p.LossLimit > 0 && loss.Over(p.LossLimit)
	})
}

// checkCredits: a person is credited by name only when they agreed to it.
func (d *Desk) checkCredits(f *Unit, credits []string, doc *reading.Doc) {
	for i, credit := range credits {
		for _, p := range d.ws.Settings.People {
			if p.CreditOK.IsZero() && strings.Contains(credit, p.Name) {
				f.find(doc.At(fmt.Sprintf("credits[%d]", i)), "credit", hint(p.Name), fmt.Sprintf("%q has not agreed to be credited by name", hint(p.Name)), "write credit_ok: and the day they agreed in workshop.yaml, or credit the group")
			}
		}
	}
}

// Plain English for 13 to 15 year-olds is a reading ease of 60 to 70 (Flesch).
const plainEnglish = 60

func (d *Desk) checkEase(f *Unit, u *Unit, s *wording.Story) {
	var all []string
	for _, t := range u.Texts {
		if slices.Contains([]string{"came_off", "failed", "replaced", "body"}, t.Field) {
			all = append(all, t.Value)
		}
	}
	r := wording.Ease(strings.Join(all, "\n\n"))
	if r.Words > 0 && r.FleschEase < plainEnglish {
		hardest := ""
		if len(r.Hardest) > 0 {
			hardest = "; begin with: " + strings.Join(r.Hardest, " / ")
		}
		f.advise(s.Doc.At("title"), "hard-to-read", fmt.Sprintf("%.0f", r.FleschEase), fmt.Sprintf("reading ease is %.0f (grade %.0f); plain English is 60 or more", r.FleschEase, r.Grade), "shorten the hardest sentences"+hardest)
	}
}

// checkTag asks of a photo's tag what publication needs.
func (d *Desk) checkTag(u *Unit, tag *worklog.Tag) []Finding {
	f := &Unit{ID: u.ID}
	if !tag.Publish {
		return nil
	}
	if strings.TrimSpace(tag.Alt) == "" {
		f.find(tag.Doc.At("alt"), "no-alt", "", "the photo has no alt text", "write alt: and what a person who cannot see it should know")
	}
	if tag.Rights == "" {
		f.find(tag.Doc.At("rights"), "no-rights", "", "nobody has said whose the picture is", "write rights: ours, permission or lent")
	}
	for i, p := range tag.People {
		at := tag.Doc.At(fmt.Sprintf("people[%d]", i))
		switch {
		case p.Consent != "given":
			f.find(at, "no-consent", p.Consent, "somebody in the picture has not agreed to be shown", "ask them and write consent: given with the day, hide them, or keep the photo back")
		case p.Adult == "no" && p.Guardian == "":
			f.find(at, "no-guardian", "", "a child is in the picture and no guardian is named", "ask the guardian and write guardian:, or keep the photo back")
		}
	}
	for _, p := range d.ws.Settings.People {
		if strings.Contains(tag.Credit, p.Name) && p.CreditOK.IsZero() && tag.CreditOK.IsZero() {
			f.find(tag.Doc.At("credit"), "credit", hint(p.Name), "the person credited has not agreed to be named", "write credit_ok: and the day they agreed, or credit the group")
		}
	}
	return f.Findings
}

// cardDPI is the least sharpness at which a photo may be printed; 300 is aimed at.
const cardLeastWidth = 900 // px: 150 dpi over the 148 mm of an A5 page's width, nearly

func (d *Desk) checkCopy(u *Unit, tag *worklog.Tag, c picture.CopyInfo) []Finding {
	if c.Use != cleared.Card || c.Width >= cardLeastWidth {
		return nil
	}
	f := &Unit{ID: u.ID}
	f.find(tag.Doc.At("publish"), "too-small", fmt.Sprint(c.Width), fmt.Sprintf("the photo is only %d pixels wide when cropped for a card", c.Width), "use a larger original, or keep the photo back")
	return f.Findings
}
