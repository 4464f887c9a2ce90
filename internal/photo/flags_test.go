package photo

import (
	"math"
	"strings"
	"testing"

	"example.org/opencowl/internal/worklog"
)

func TestFocusIsTwoFractions(t *testing.T) {
	for s, want := range map[string]worklog.Point{"0.42,0.55": {X: 0.42, Y: 0.55}, " 0 , 1 ": {X: 0, Y: 1}, "0.33333333,.5": {X: 0.3333, Y: 0.5}, "-0,1e-9": {X: 0, Y: 0}} {
		if got, err := ParseFocus(s); err != nil || *got != want {
			t.Errorf("%q: %v, %v; want %v", s, got, err, want)
		}
	}
	for s, says := range map[string]string{"": "not x,y", "0.5": "not x,y", "0.5,0.5,0.5": "not x,y", "1.2,0.5": "1.2 is not from 0 to 1", "50%,0.5": "not a number", "NaN,0": "not a number", "0,+Inf": "not from 0 to 1", "0,-0.1": "not from 0 to 1"} {
		if got, err := ParseFocus(s); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v, %v; want an error that says %q", s, got, err, says)
		}
	}
}

func TestHideIsABoxInFractionsOrPixels(t *testing.T) {
	for s, want := range map[string]worklog.Box{
		"0.1,0.2,0.05,0.04:data plate":      {X: 0.1, Y: 0.2, W: 0.05, H: 0.04, Why: "data plate"},
		"0,0,1,1":                           {W: 1, H: 1},
		"0.1,0.2,0.05,0.04: bin 4: its tag": {X: 0.1, Y: 0.2, W: 0.05, H: 0.04, Why: "bin 4: its tag"},
		// Of a picture of 3000 × 2000; widened to the next ten-thousandth.
		"300px,200px,150px,100px:plate": {X: 0.1, Y: 0.1, W: 0.05, H: 0.05, Why: "plate"},
		"1px,1px,1px,1px":               {X: 0.0003, Y: 0.0005, W: 0.0004, H: 0.0005},
		"2999px,1999px,1px,1px":         {X: 0.9996, Y: 0.9995, W: 0.0004, H: 0.0005},
	} {
		a, err := ParseHide(s)
		if err != nil {
			t.Errorf("%q: %v", s, err)
			continue
		}
		if got, err := a.box(3000, 2000); err != nil || got != want {
			t.Errorf("%q: %+v, %v; want %+v", s, got, err, want)
		}
	}
	for s, says := range map[string]string{"": "not four numbers", "0.1,0.2,0.3:why": "not four numbers", "0.1,0.2,0.05,0:x": "no size", "0.9,0.2,0.2,0.1": "over the picture's edge",
		"12%,0,0.1,0.1": "not a number", "120px,0.1,60px,40px": "mixes pixels and fractions", "1.5px,0px,1px,1px": "not a whole number of pixels", "-1px,0px,1px,1px": "not a whole number of pixels", "120,80,60,40": "120 is not from 0 to 1"} {
		if got, err := ParseHide(s); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %+v, %v; want an error that says %q", s, got, err, says)
		}
	}
	if _, err := area(t, "2999px,0px,2px,1px").box(3000, 2000); err == nil {
		t.Error("a box of pixels over the edge was taken")
	}
}

func TestAPersonIsKeysAndValues(t *testing.T) {
	p := person(t, "who=Ada, at the lathe,consent=given,on=2031-01-14,adult=no,guardian=her aunt, by post")
	if p.Who != "Ada, at the lathe" || p.Consent != "given" || p.On.String() != "2031-01-14" || p.Adult != "no" || p.Guardian != "her aunt, by post" {
		t.Errorf("%+v", p)
	}
	for s, says := range map[string]string{"": "not one of who", "who=": "does not say who", "consent=given": "does not say who", "who=a,consent=givn": `did you mean "given"`, "who=a,adlt=yes": "not one of who",
		"who=a,who=b": "stands twice", "who=a,on=14 January": "is not a date", "who=a,adult=maybe": "adult", "who=a,on=": "on has no value"} {
		if got, err := ParsePerson(s); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %+v, %v; want an error that says %q", s, got, err, says)
		}
	}
}

// FuzzFlags holds that what is taken can be written and read back.
func FuzzFlags(f *testing.F) {
	for _, s := range []string{"0.42,0.55", "0.1,0.2,0.05,0.04:data plate", "120px,80px,60px,40px:x", "who=a,consent=given,on=2031-01-14,adult=no,guardian=b", "NaN,1e400", "who=a,,b", ",,,:"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		e := Edit{Taken: "2031-01-14", By: "tam"}
		var boxes []worklog.Box
		if p, err := ParseFocus(s); err == nil {
			e.Focus = p
		}
		if a, err := ParseHide(s); err == nil {
			b, err := a.box(math.MaxUint16, math.MaxUint16)
			if err != nil {
				return
			}
			e.Hide, boxes = []Area{a}, []worklog.Box{b}
		}
		if p, err := ParsePerson(s); err == nil && p.Consent != "" {
			if p.Consent == "given" && p.On.IsZero() {
				return // the strict reader asks for the day
			}
			e.People = []worklog.Person{p}
		}
		if e.check() != nil {
			return
		}
		text := e.written(boxes)
		tag, problems := worklog.ReadTag("photos/a.jpg.yaml", []byte(text), known)
		want := e.apply(worklog.Tag{Photo: "a.jpg", PhotoFile: "photos/a.jpg", File: "photos/a.jpg.yaml"}, boxes)
		if len(problems) > 0 || !sameTag(*tag, want) {
			t.Errorf("%q was written as\n%s\nand reads as %+v, %v", s, text, tag, problems)
		}
	})
}
