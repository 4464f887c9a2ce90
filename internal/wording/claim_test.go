package wording

import (
	"strings"
	"testing"
)

// english is how claims begin in the built-in words.
var english = Sayings{Likely: "We think", Told: "The story goes", Colon: ":", English: true}

func TestAClaimIsWordedByHowSureWeAre(t *testing.T) {
	for _, c := range []struct{ status, say, want string }{
		{Proven, "It is the original strip.", "It is the original strip."},
		{Proven, " As written ", " As written "},
		{Likely, "It is the original strip.", "We think it is the original strip."},
		{Likely, "The strip is original.", "We think the strip is original."},
		{Likely, "A fitter signed it.", "We think a fitter signed it."},
		{Likely, "I flew in it once.", "We think I flew in it once."},
		{Likely, "I. Hallow drew it.", "We think: I. Hallow drew it."},
		{Likely, "Salt water got in.", "We think: Salt water got in."},
		{Likely, "We think it is original.", "We think it is original."},
		{Likely, "we think it is original.", "we think it is original."},
		{Likely, "We thinkers agree.", "We think we thinkers agree."},
		{Likely, "{fact:a.material|words} was used.", "We think {fact:a.material|words} was used."},
		{Likely, "No. 2 engine came later.", "We think: No. 2 engine came later."},
		{Likely, "No engine was fitted.", "We think no engine was fitted."},
		{Likely, "12 of them flew.", "We think 12 of them flew."},
		{Likely, "A-frames held it.", "We think: A-frames held it."},
		{Told, "It was painted overnight.", "The story goes that it was painted overnight."},
		{Told, "Oystercatchers never sank.", "The story goes: Oystercatchers never sank."},
		{Told, "May was its first month.", "The story goes: May was its first month."},
		{Told, "The story goes that it sank.", "The story goes that it sank."},
		{Told, "The Story Goes: it sank.", "The Story Goes: it sank."},
		{Told, "“Nobody saw it,” he said.", "The story goes: “Nobody saw it,” he said."},
		{Told, "They say it sank.", "The story goes that they say it sank."},
		{Told, "IT was loud.", "The story goes: IT was loud."},
		{Told, "Élan was its name.", "The story goes: Élan was its name."},
		{Told, "", ""},
		{"", "It sank.", "The story goes that it sank."},
	} {
		if got := SayAs(c.status, c.say, english); got != c.want {
			t.Errorf("%s %q: got %q, want %q", c.status, c.say, got, c.want)
		}
	}
}

// Another language may not know which words go on after "that".
func TestAClaimInAnotherLanguageStaysWhole(t *testing.T) {
	french := Sayings{Likely: "Nous pensons ceci", Told: "On raconte ceci", Colon: "\u00a0:"}
	for _, c := range []struct{ status, say, want string }{
		{Proven, "Le métal était fin.", "Le métal était fin."},
		{Likely, "Il est d’origine.", "Nous pensons ceci\u00a0: Il est d’origine."},
		{Told, "A cook used it.", "On raconte ceci\u00a0: A cook used it."},
		{Told, "On raconte ceci\u00a0: il a coulé.", "On raconte ceci\u00a0: il a coulé."},
		{"", "Il a coulé.", "On raconte ceci\u00a0: Il a coulé."},
	} {
		if got := SayAs(c.status, c.say, french); got != c.want {
			t.Errorf("%s %q: got %q, want %q", c.status, c.say, got, c.want)
		}
	}
}

func FuzzSayAs(f *testing.F) {
	f.Add(Told, "It sank.")
	f.Add(Likely, "\xff We think")
	f.Fuzz(func(t *testing.T, status, say string) {
		got := SayAs(status, say, english)
		if status == Proven || strings.TrimSpace(say) == "" {
			if got != say {
				t.Errorf("%q: got %q", say, got)
			}
			return
		}
		begins := english.Told
		if status == Likely {
			begins = english.Likely
		}
		if !beginsWith(got, begins) {
			t.Errorf("%s %q: %q does not say how sure we are", status, say, got)
		}
		if again := SayAs(status, got, english); again != got {
			t.Errorf("%s %q: said twice over: %q", status, say, again)
		}
	})
}
