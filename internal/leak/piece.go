package leak

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// piece is a run of letters, or of digits, of a folded text.
type piece struct {
	text       string // in lower case
	start, end int    // bytes of the folded text
	joined     bool   // it follows the piece before without anything between
	capital    bool   // it begins with a capital letter
	digits     bool
	ofS        bool // the s of a possessive
	spoken     int  // how many number words it was made from; 0 if none
}

// pieces cuts a text where letters end, where digits end, and where a small
// letter is followed by a capital.
func pieces(text string) []piece {
	var all []piece
	for i := 0; i < len(text); {
		r, n := utf8.DecodeRuneInString(text[i:])
		if !unicode.IsLetter(r) && !unicode.IsDigit(r) {
			i += n
			continue
		}
		p := piece{start: i, digits: unicode.IsDigit(r), capital: unicode.IsUpper(r)}
		for last := r; i < len(text); last = r {
			r, n = utf8.DecodeRuneInString(text[i:])
			if p.digits && !unicode.IsDigit(r) || !p.digits && (!unicode.IsLetter(r) || unicode.IsLower(last) && unicode.IsUpper(r)) {
				break
			}
			i += n
		}
		p.end = i
		p.text = strings.ToLower(text[p.start:i])
		p.joined = len(all) > 0 && all[len(all)-1].end == p.start
		p.ofS = p.text == "s" && len(all) > 0 && p.start == all[len(all)-1].end+1 && text[p.start-1] == '\''
		all = append(all, p)
	}
	return all
}

// similar folds the characters that are taken for one another in identifiers,
// on worn plates and in bad scans.
func similar(s string) string {
	return strings.Map(func(r rune) rune {
		switch r {
		case 'o':
			return '0'
		case 'i', 'l':
			return '1'
		case 's':
			return '5'
		case 'b':
			return '8'
		case 'z':
			return '2'
		case 'g':
			return '6'
		}
		return r
	}, s)
}

// squeezed is a name without spacing and marks.
func squeezed(s string) string {
	var b strings.Builder
	for _, p := range piecesOf(s) {
		b.WriteString(p.text)
	}
	return b.String()
}

// piecesOf reads a private value, or anything else, as a text is read.
func piecesOf(s string) []piece { return pieces(fold(s)[0].text) }
