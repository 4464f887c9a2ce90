package leak_test

import (
	"fmt"
	"strings"
	"testing"

	"example.org/opencowl/internal/leak"
	"example.org/opencowl/internal/measure"
)

// season is a workshop with n entries: three identifiers, a person, a sum, two
// readings and a note each. Every tenth note is one that is often written.
func season(n int) leak.Private {
	state := uint64(7)
	next := func(of int) int {
		state = state*6364136223846793005 + 1442695040888963407
		return int(state>>33) % of
	}
	words := strings.Fields("rivet flange port starboard paint pits bare metal drilled filed frame keel strake dope fabric cable pulley bracket hinge pin bolt nut washer found left sent looked cleaned tested the a and of in on with before after under over again twice by hand")
	sentence := func(length int) string {
		var b strings.Builder
		for range length {
			if next(9) == 0 {
				fmt.Fprintf(&b, "w%d ", next(5000))
			} else {
				b.WriteString(words[next(len(words))] + " ")
			}
		}
		return b.String() + ". "
	}
	var p leak.Private
	for i := range n {
		part := fmt.Sprintf("part-%d", i/5)
		p.Values = append(p.Values, leak.Value{Kind: "number", Value: fmt.Sprintf("FO7-%d-%d", 1000+i, i%9)}, leak.Value{Kind: "serial", Value: fmt.Sprintf("KM%d", 10000+7*i)},
			leak.Value{Kind: "drawing", Value: fmt.Sprintf("D-%d sheet %d", 2000+i, i%5)}, leak.Value{Kind: "cost", Value: fmt.Sprintf("GBP %d.%02d", 20+i%900, i%100)},
			leak.Value{Kind: "person", Value: fmt.Sprintf("Gus Penha%ck", 'a'+rune(i%26))})
		p.Readings = append(p.Readings, leak.Reading{Part: part, Kind: "thickness", Length: measure.Length(1+i%4) * measure.Millimetre}, leak.Reading{Part: part, Kind: "least thickness", Length: measure.Length(700+i%300) * measure.Micrometre})
		if i%10 == 0 {
			p.Notes = append(p.Notes, leak.Note{Text: fmt.Sprintf("Cleaned with water and dried before the inspection by hand, entry %d.", i)})
		} else {
			p.Notes = append(p.Notes, leak.Note{Text: sentence(12) + sentence(18)})
		}
	}
	return p
}

// stories of about 250 words each.
func stories(n int) []string {
	p := season(n * 8)
	all := make([]string, n)
	for i := range all {
		var b strings.Builder
		for k := range 8 {
			note := p.Notes[i*8+k].Text
			words := strings.Fields(note)
			for j, w := range words {
				if j%3 != 2 {
					b.WriteString(w + " ")
				}
			}
			b.WriteString("It was seen by all, on a day in spring, and told again in the hangar. ")
		}
		all[i] = b.String()
	}
	return all
}

// BenchmarkFind holds stories against entries, at a tenth of the size and in
// full: the time grows with entries plus stories, not with their product.
func BenchmarkFind(b *testing.B) {
	for _, size := range []struct{ entries, stories int }{{1000, 200}, {4000, 800}, {10_000, 2000}} {
		b.Run(fmt.Sprintf("%dx%d", size.entries, size.stories), func(b *testing.B) {
			p, texts := season(size.entries), stories(size.stories)
			b.ResetTimer()
			for b.Loop() {
				x := leak.NewIndex(p)
				for i, text := range texts {
					x.FindAbout(text, []string{fmt.Sprintf("part-%d", i)})
				}
			}
		})
	}
}
