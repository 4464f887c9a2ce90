package wording

// Report says how easy a text is to read.
type Report struct {
	Sentences, Words, Syllables int
	FleschEase                  float64  // higher is easier; may pass 100 or fall below 0
	Grade                       float64  // Flesch-Kincaid: years of school in the United States; may be negative
	Hardest                     []string // at most three sentences, the hardest first
}
