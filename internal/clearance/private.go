package clearance

import (
	"fmt"
	"strings"

	"example.org/opencowl/internal/leak"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/wording"
	"example.org/opencowl/internal/worklog"
	"example.org/opencowl/internal/workspace"
)

// privateIndex gathers what must not be told, in a form in which public words can
// be searched for it quickly.
func (d *Desk) privateIndex() *leak.Index {
	s := d.ws.Settings
	p := leak.Private{RunOfWords: s.Clearing.RunOfWords, Allowed: d.isPublicValue, Credited: d.publicValues()}
	for _, i := range d.log.Identifiers() {
		if i.Kind == "location" || i.Kind == "person" && s.MayCredit(i.Value) {
			continue // "frame 14, port" is where visitors stand
		}
		p.Values = append(p.Values, leak.Value{Kind: i.Kind, Value: i.Value, Where: i.Place.String()})
	}
	for _, term := range s.Clearing.PrivateTerms {
		p.Values = append(p.Values, leak.Value{Kind: "term", Value: term, Where: workspace.SettingsFile})
	}
	for _, person := range s.People {
		if s.MayCredit(person.Name) {
			p.Credited = append(p.Credited, person.Name)
		} else {
			p.Values = append(p.Values, leak.Value{Kind: "person", Value: person.Name, Where: workspace.SettingsFile})
		}
	}
	for _, n := range d.log.Notes() {
		p.Notes = append(p.Notes, leak.Note{Text: n.Value, Where: n.Place.String()})
	}
	for _, part := range d.log.Parts() {
		p.Readings = append(p.Readings, d.readings(part)...)
	}
	return leak.NewIndex(p)
}

// readings are the private measurements of a part, with the share it has lost.
func (d *Desk) readings(part *worklog.Part) []leak.Reading {
	var all []leak.Reading
	for _, r := range d.log.Readings(part.ID) {
		all = append(all, leak.Reading{Part: part.ID, Kind: strings.ReplaceAll(r.Kind, "_", " "), Length: r.Length, Where: r.Place.String()})
	}
	if loss, measured := d.log.Loss(part.ID, d.today); measured {
		all = append(all, leak.Reading{Part: part.ID, Kind: "loss", Share: loss.Percent(), IsShare: true, Where: part.File})
	}
	return all
}

// publicValues are the workshop's own addresses and lines, which may be told
// anywhere.
func (d *Desk) publicValues() []string {
	w := d.ws.Settings
	return append([]string{w.Workshop.PostalAddress, w.Post.From, w.Post.Returns, w.Workshop.Site, w.PublicURL}, w.LegalLines...)
}

func (d *Desk) isPublicValue(s string) bool {
	return strings.Contains(strings.Join(d.publicValues(), "\n"), s)
}

// checkTexts runs the checks that hold for every public text: names of things,
// copied sentences, numbers that are not released, and words that are for the
// engineer to say. A story's numbers are held
// against the parts it is about; elsewhere any part counts.
func (d *Desk) checkTexts(u *Unit, texts []wording.Text) []Finding {
	findings := d.checkAssertions(u, texts)
	for _, t := range texts {
		// A released fact is honoured where it stands: the rest is looked through.
		value, err := wording.Expand(t.Value, func(f wording.FactRef) (string, error) { return strings.Repeat(" ", len(f.Raw)), nil })
		if err != nil {
			continue // reported where facts are filled in
		}
		var leaks []leak.Finding
		if s := u.about(); s != nil {
			leaks = d.private.FindAbout(value, s.Parts)
		} else {
			leaks = d.private.Find(value)
		}
		for _, l := range leaks {
			message, remedy := tellLeak(l)
			findings = append(findings, Finding{reading.Problem{Place: t.At(l.Start), Code: l.Code, Value: l.Shown,
				Message: t.Field + ": " + message, Remedy: remedy}, u.ID})
		}
	}
	return findings
}

// tellLeak says what a leak is and what to do, without telling the private value.
func tellLeak(l leak.Finding) (message, remedy string) {
	switch l.Code {
	case leak.CodeCopied:
		return fmt.Sprintf("%q is copied from private notes", l.Shown), "say it in words of your own"
	case leak.CodeCall:
		return fmt.Sprintf("%q is private (%s)", l.Shown, l.Kind), "take it out, or put it in workshop.yaml if it is the workshop's own"
	case leak.CodeNumber:
		return fmt.Sprintf("%q equals a private %s", l.Shown, l.Kind), "release it as {fact:PART.FIELD|FORM}, or take it out"
	}
	kind := l.Kind
	if kind == "person" {
		kind = "person who is not credited"
	}
	return fmt.Sprintf("%q is private (%s)", l.Shown, kind), "take it out, or say what it is rather than its name"
}

// hint shows enough of a private value for its owner to know it, and no more.
func hint(s string) string {
	r := []rune(s)
	if len(r) <= 4 {
		return string(r[:1]) + "..."
	}
	return string(r[:3]) + "..."
}
