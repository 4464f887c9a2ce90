package leak

import (
	"regexp"
	"strings"
)

var (
	// listMark is the number or letter of a line in a list.
	listMark = regexp.MustCompile(`(?m)^[ \t>]*(?:[0-9]{1,2}|[a-z]|[ivx]{1,4})[.)][ \t]`)
	// signInWord is a sign that stands for a letter: "P@rt", "22|7".
	signInWord = regexp.MustCompile(`[\pL\pN][|!$@][\pL\pN]`)
)

var signsAsLetters = strings.NewReplacer("|", "l", "!", "i", "$", "s", "@", "a")

// otherForms are further ways to read the names in a text: without the marks of a
// list, with signs for letters, with figures for letters. They are few as a rule.
func otherForms(text string, ps []piece) [][]piece {
	var all [][]piece
	if strings.ContainsAny(text, ".)") && strings.Contains(text, "\n") {
		if marks := listMark.FindAllStringIndex(text, -1); len(marks) > 1 {
			all = append(all, withoutMarks(ps, marks))
		}
	}
	if strings.ContainsAny(text, "|!$@") && signInWord.MatchString(text) {
		all = append(all, pieces(signsAsLetters.Replace(text)))
	}
	if words := figuresAsLetters(text, ps); words != nil {
		all = append(all, words)
	}
	return all
}

func withoutMarks(ps []piece, marks [][]int) []piece {
	var out []piece
	for _, p := range ps {
		for len(marks) > 0 && marks[0][1] <= p.start {
			marks = marks[1:]
		}
		if len(marks) == 0 || p.start < marks[0][0] {
			out = append(out, p)
		}
	}
	return out
}

var figureLetters = strings.NewReplacer("0", "o", "1", "i", "3", "e", "4", "a", "5", "s", "6", "g", "7", "t", "8", "b", "9", "g")

// figuresAsLetters reads "P3nh4ll1ck" as one word; nil if the text has no such.
func figuresAsLetters(text string, ps []piece) []piece {
	const leastLetters = 3
	var out []piece
	for i := 0; i < len(ps); i++ {
		j, letters, turns := i, 0, 0
		for ; j < len(ps) && (j == i || ps[j].joined); j++ {
			switch {
			case !ps[j].digits:
				letters += len(ps[j].text)
			case len(ps[j].text) == 1 && j > i && j+1 < len(ps) && ps[j+1].joined:
				turns++
			}
		}
		if turns > 0 && letters >= leastLetters {
			if out == nil {
				out = append(out, ps[:i]...)
			}
			word := ps[i]
			word.end, word.digits = ps[j-1].end, false
			word.text = figureLetters.Replace(strings.ToLower(text[word.start:word.end]))
			out = append(out, word)
		} else if out != nil {
			out = append(out, ps[i:j]...)
		}
		i = j - 1
	}
	return out
}
