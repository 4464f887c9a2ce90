package leak

// Word is a run of letters or of digits in a text, folded and in lower case,
// with where it stands in the text, in bytes.
type Word struct {
	Text       string
	Start, End int
}

// Words cuts a text into words as a reader sees it, so that the same sentence is
// the same words whatever markup, line breaks or look-alike letters it is in.
// What stands in tags and in targets of links is not among them.
func Words(text string) []Word {
	p := fold(text)[0]
	var words []Word
	for _, piece := range pieces(p.text) {
		from, to := p.source(piece.start, piece.end)
		words = append(words, Word{piece.text, from, to})
	}
	return words
}
