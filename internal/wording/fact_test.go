package wording

import (
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"

	"example.org/opencowl/internal/reading"
)

func body(text string) Text {
	return Text{Field: "body", Value: text, Place: reading.Place{File: "wording/a.md", Line: 5, Column: 1}}
}

func TestFactsAreFoundWithTheirPlaces(t *testing.T) {
	refs, problems := Facts(body("It was {fact:hull-floor.thickness|mm} thick,\nthat é {fact:hull-floor.date.sent-away|month}. A {{fact:x is not one."))
	if len(problems) > 0 {
		t.Fatalf("problems: %v", problems)
	}
	want := []FactRef{
		{"hull-floor", "thickness", "mm", reading.Place{File: "wording/a.md", Line: 5, Column: 8}, "{fact:hull-floor.thickness|mm}"},
		{"hull-floor", "date.sent-away", "month", reading.Place{File: "wording/a.md", Line: 6, Column: 8}, "{fact:hull-floor.date.sent-away|month}"},
	}
	if !reflect.DeepEqual(refs, want) {
		t.Errorf("got  %+v\nwant %+v", refs, want)
	}
}

func TestEveryFieldHasItsForms(t *testing.T) {
	for _, field := range FactFields() {
		for _, form := range allForms() {
			refs, problems := Facts(body("{fact:p." + field + "|" + form + "}"))
			fits := strings.Contains(" "+map[string]string{
				"thickness": "mm inch gauge", "least_thickness": "mm inch gauge", "loss": "percent",
				"material": "words", "pile": "words", "source": "words", "cost": "money",
			}[field]+" ", " "+form+" ") || strings.HasPrefix(field, "date.") && (form == "day" || form == "month")
			if fits != (len(refs) == 1) || fits != (len(problems) == 0) {
				t.Errorf("%s|%s: got %v %v, want fits %t", field, form, refs, problems, fits)
			}
		}
	}
	if n := len(FactFields()); n != 7+11 {
		t.Errorf("got %d fields, want seven and one for each of eleven steps", n)
	}
}

func TestAMalformedFactHasItsPlaceAndRemedy(t *testing.T) {
	const shape = "; write it as {fact:PART.FIELD|FORM}, such as {fact:floor-stiffener.thickness|mm}"
	for _, c := range []struct{ text, want string }{
		{"x {fact:hull.loss|percent and so on", `5:3: "{fact:hull.loss|percent" has no closing brace` + shape},
		{"x {fact:hull.loss\nand so on}", `5:3: "{fact:hull.loss" has no closing brace` + shape},
		{"{fact:a.loss and {fact:b.loss|percent}", `5:1: "{fact:a.loss" has no closing brace` + shape},
		{"a {Fact:hull.loss|percent}", `5:3: "{Fact:hull.loss|percent}" does not begin with "{fact:"` + shape},
		{"a { fact:hull.loss|percent}", `5:3: "{ fact:hull.loss|percent}" does not begin with "{fact:"` + shape},
		{"a {facts:hull.loss|percent}", `5:3: "{facts:hull.loss|percent}" does not begin with "{fact:"` + shape},
		{"a {hull-floor.loss|percent}", `5:3: "{hull-floor.loss|percent}" does not begin with "{fact:"` + shape},
		{"a {fact:}", `5:9: "{fact:}" does not name a part by its id` + shape},
		{"a {fact:Hull Floor.loss|percent}", `5:9: "{fact:Hull Floor.loss|percent}" does not name a part by its id` + shape},
		{"a {fact: hull.loss|percent}", `5:9: "{fact: hull.loss|percent}" does not name a part by its id` + shape},
		{"a {fact:hull}", `5:13: "{fact:hull}" names no field` + shape},
		{"a {fact:hull.loss}", `5:18: "{fact:hull.loss}" names no form` + shape},
		{"a {fact:hull.thicknes|mm}", `5:14: the fact has no field "thicknes"; the fields are thickness, least_thickness, loss, material, pile, source, cost and date.STEP; did you mean "thickness"?`},
		{"a {fact:hull.serial|words}", `5:14: the fact has no field "serial"; the fields are thickness, least_thickness, loss, material, pile, source, cost and date.STEP; did you mean "material"?`},
		{"a {fact:hull.date.remuved|day}", `5:14: the fact has no field "date.remuved"; the dates are date. and one of removed, inspected, cleaned, sent-away, made, bought, borrowed, tested, painted, fitted, note; did you mean "date.removed"?`},
		{"a {fact:hull.date.xxxxxxxxxxxxxxx|day}", `5:14: the fact has no field "date.xxxxxxxxxxxxxxx"; the dates are date. and one of removed, inspected, cleaned, sent-away, made, bought, borrowed, tested, painted, fitted, note`},
		{"a {fact:hull.loss|mm}", `5:19: loss cannot be told as "mm"; the forms of loss are percent`},
		{"a {fact:hull.thickness|cm}", `5:24: the fact has no form "cm"; the forms of thickness are mm, inch, gauge`},
		{"a {fact:hull.loss|}", `5:19: the fact has no form ""; the forms of loss are percent`},
	} {
		refs, problems := Facts(body(c.text))
		want := "wording/a.md:" + c.want
		if len(problems) == 0 || problems[0].Error() != want {
			t.Errorf("%q\n got %v\nwant %s", c.text, problems, want)
		}
		if len(refs)+len(problems) != strings.Count(c.text, "{") {
			t.Errorf("%q: %d refs and %d problems", c.text, len(refs), len(problems))
		}
		if _, err := Expand(c.text, func(FactRef) (string, error) { return "", nil }); !errors.Is(err, ErrFact) {
			t.Errorf("%q: Expand gave %v, want ErrFact", c.text, err)
		}
	}
}

func TestFactsStandInNamedFieldsOnly(t *testing.T) {
	for field, allowed := range map[string]bool{
		"came_off": true, "failed": true, "replaced": true, "claims[3].say": true, "questions[0].answer": true, "talk": true, "body": true,
		"title": false, "claims[3].evidence": false, "questions[0].ask": false, "credits[1]": false, "props[0].what": false, "meaning": false, "subject": false, "preheader": false, "text": false, "ask": false, "": false,
		"opening": true, "ask.text": true, "ask.earlier": true, "ask.url": false,
	} {
		refs, problems := Facts(Text{Field: field, Value: "{fact:hull.loss|percent} and {fact:hull", Place: reading.Place{File: "f", Line: 1}})
		if allowed && (len(refs) != 1 || len(problems) != 1 || problems[0].Code != "bad-fact") {
			t.Errorf("%s: got %v %v, want one ref and one bad fact", field, refs, problems)
		}
		if !allowed && (len(refs) != 0 || len(problems) != 2 || problems[0].Code != "fact-not-here") {
			t.Errorf("%s: got %v %v, want two refusals", field, refs, problems)
		}
	}
	_, problems := Facts(Text{Field: "credits[1]", Value: "{fact:hull.loss|percent}", Place: reading.Place{File: "f.md", Line: 3, Column: 4}})
	want := "f.md:3:4: a fact cannot stand in credits; move it to came_off, failed, replaced, say, answer, talk, the body, an edition's opening or its ask, or write the words out"
	if len(problems) != 1 || problems[0].Error() != want {
		t.Errorf("got %v\nwant %s", problems, want)
	}
}

func TestExpand(t *testing.T) {
	say := func(f FactRef) (string, error) { return "<" + f.Part + " " + f.Field + " " + f.Form + ">", nil }
	for text, want := range map[string]string{
		"": "",
		"It was {fact:a-b.thickness|mm}, {fact:a-b.loss|percent} lost.": "It was <a-b thickness mm>, <a-b loss percent> lost.",
		"Write {{fact:a.loss|percent} so.":                              "Write {fact:a.loss|percent} so.",
		"{{{fact:a.loss|percent}}":                                      "{{fact:a.loss|percent}}",
		"{fact:a.date.fitted|day}{fact:a.cost|money}":                   "<a date.fitted day><a cost money>",
		"a {brace} and {{two}} stay":                                    "a {brace} and {{two}} stay",
	} {
		if got, err := Expand(text, say); err != nil || got != want {
			t.Errorf("%q: got %q, %v; want %q", text, got, err, want)
		}
	}
	// What is filled in is not looked at again.
	again := func(FactRef) (string, error) { return "{fact:a.loss|percent}{{fact:", nil }
	if got, err := Expand("{fact:a.loss|percent}", again); err != nil || got != "{fact:a.loss|percent}{{fact:" {
		t.Errorf("got %q, %v", got, err)
	}
}

func TestExpandKeepsTheErrorOfWhoeverResolves(t *testing.T) {
	gone := errors.New("it has no reading yet")
	got, err := Expand("a {fact:hull.loss|percent} b", func(FactRef) (string, error) { return "9", gone })
	if got != "" || !errors.Is(err, gone) || err.Error() != "fact {fact:hull.loss|percent}: it has no reading yet" {
		t.Errorf("got %q, %v", got, err)
	}
}

func ExampleExpand() {
	text, err := Expand("It had lost {fact:floor-stiffener.loss|percent}.", func(f FactRef) (string, error) {
		return "15 %", nil
	})
	fmt.Println(text, err)
	// Output: It had lost 15 %. <nil>
}

func FuzzFacts(f *testing.F) {
	for _, s := range []string{"{fact:a.loss|percent}", "{{fact:a", "{fact:", "{Fact: a }", "{a.b|c} {fact:a.date.fitted|day}{fact:x\n}", "{{{fact:{{{"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		joined := ""
		for _, p := range pieces(text) {
			if p.offset != len(joined) || p.raw == "" {
				t.Fatalf("%q: piece %+v after %d bytes", text, p, len(joined))
			}
			joined += p.raw
		}
		if joined != text {
			t.Fatalf("%q: the pieces join to %q", text, joined)
		}
		refs, problems := Facts(body(text))
		for _, p := range problems {
			if p.Line < 5 || p.Column < 1 || p.Message == "" || p.Remedy == "" {
				t.Errorf("%q: a problem without place or remedy: %+v", text, p)
			}
		}
		var seen []FactRef
		out, err := Expand(text, func(r FactRef) (string, error) { seen = append(seen, r); return r.Raw, nil })
		if (err == nil) != (len(problems) == 0) {
			t.Fatalf("%q: Expand gave %v, Facts gave %v", text, err, problems)
		}
		if err != nil {
			return
		}
		if len(seen) != len(refs) {
			t.Errorf("%q: Expand met %d facts, Facts found %d", text, len(seen), len(refs))
		}
		if want := strings.ReplaceAll(text, "{{fact:", "{fact:"); out != want {
			t.Errorf("%q: got %q, want %q", text, out, want)
		}
		for _, r := range refs {
			if !strings.Contains(text, r.Raw) || !reading.IsID(r.Part) {
				t.Errorf("%q: ref %+v", text, r)
			}
		}
	})
}
