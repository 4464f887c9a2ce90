package planted

import (
	"fmt"
	"strings"
)

// Copies returns, for each note, texts that were copied from it with every
// fourth word dropped or swapped, at each of the four places to begin.
func Copies(notes []string) (dropped, swapped map[string][]string) {
	dropped, swapped = map[string][]string{}, map[string][]string{}
	others := strings.Fields("something the nearly brass with perhaps old quickly")
	for n, note := range notes {
		words := strings.Fields(note)
		for phase := range 4 {
			var without, with []string
			for i, w := range words {
				if i%4 != phase {
					without, with = append(without, w), append(with, w)
				} else {
					with = append(with, others[(n+i)%len(others)])
				}
			}
			dropped[note] = append(dropped[note], frame(without))
			swapped[note] = append(swapped[note], frame(with))
		}
	}
	return dropped, swapped
}

func frame(words []string) string {
	return "This is how it went. " + strings.Join(words, " ") + " That was the whole of it."
}

// Retold returns, for each note, texts that were written in other words or
// share a run too short to count.
func Retold(notes []string) map[string][]string {
	retold := map[string][]string{}
	for _, note := range notes {
		words := strings.FieldsFunc(note, func(r rune) bool { return !isWord(r) && !strings.ContainsRune("'’.,", r) })
		for from := 0; from+7 <= len(words); from += 3 {
			retold[note] = append(retold[note], fmt.Sprintf("It so happened that %s could be seen by anybody who came past the bench.", strings.Join(words[from:from+7], " ")))
		}
		half := len(words) / 2
		retold[note] = append(retold[note], strings.Join(words[:min(5, half)], " ")+" was the first thing, and the last was "+strings.Join(words[len(words)-min(5, half):], " "))
	}
	return retold
}

// Notes are the private notes that the cases copy from.
func Notes() []string { return append([]string{spar, wires, plain, hinge}, logged...) }
