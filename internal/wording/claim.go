package wording

import (
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Sayings is how a claim that is not proven begins in some language, so that a
// reader can always tell.
type Sayings struct {
	Likely, Told string // "We think", "The story goes"
	Colon        string // as the language writes one
	English      bool   // the claim may go on in the same sentence
}

// SayAs words a claim by how sure the workshop is. A proven one stays as it is
// written; a likely one begins with "We think", a told one, and any whose
// status is not known, with "The story goes". A claim that begins so already
// is not told twice over. In English the first letter goes to lower case when the
// first word is certainly not a name; in doubt, and in other languages, a colon
// keeps the sentence whole.
func SayAs(status, say string, as Sayings) string {
	if status == Proven || blank(say) {
		return say
	}
	say = strings.TrimSpace(say)
	begins, joint := as.Told, " that "
	if status == Likely {
		begins, joint = as.Likely, " "
	}
	if beginsWith(say, begins) {
		return say
	}
	sentence, flows := say, false
	if as.English {
		sentence, flows = lowerFirst(say)
	}
	if !flows {
		joint = as.Colon + " "
	}
	return begins + joint + sentence
}

// beginsWith compares words without regard to case.
func beginsWith(say, phrase string) bool {
	if len(say) < len(phrase) || !strings.EqualFold(say[:len(phrase)], phrase) {
		return false
	}
	next, _ := utf8.DecodeRuneInString(say[len(phrase):])
	return !unicode.IsLetter(next)
}

// lowerFirst makes a sentence go on after "that": flows is false when its
// first word may be a name.
func lowerFirst(say string) (sentence string, flows bool) {
	first, size := utf8.DecodeRuneInString(say)
	switch {
	case unicode.IsDigit(first), unicode.IsLower(first), strings.HasPrefix(say, "{fact:"):
		return say, true
	case !unicode.IsUpper(first):
		return say, false
	}
	end := strings.IndexFunc(say, func(r rune) bool { return !unicode.IsLetter(r) })
	if end < 0 {
		end = len(say)
	}
	word, rest := say[:end], say[end:]
	switch {
	case word == "I" && !strings.HasPrefix(rest, ".") && !strings.HasPrefix(rest, "-"):
		return say, true
	case strings.HasPrefix(rest, "-"), word == "No" && strings.HasPrefix(rest, "."):
		return say, false // A-frame, No. 2
	case slices.Contains(neverNames(), strings.ToLower(word)) && word[size:] == strings.ToLower(word[size:]):
		return strings.ToLower(word) + rest, true
	}
	return say, false
}

// neverNames are words that begin an English sentence and are no names:
// articles, pronouns, and small words of place, time and number. Will, May and
// Mark are left out with reason.
func neverNames() []string {
	return []string{
		"a", "an", "the", "this", "that", "these", "those",
		"it", "its", "he", "his", "him", "she", "her", "hers", "they", "their", "theirs", "them", "we", "our", "ours", "you", "your", "my", "mine",
		"who", "what", "when", "where", "why", "how", "which", "whoever", "whatever",
		"somebody", "someone", "something", "nobody", "nothing", "everybody", "everyone", "everything", "anybody", "anyone", "anything",
		"some", "most", "many", "few", "several", "all", "both", "each", "every", "any", "no", "none", "neither", "either", "another", "other", "others", "more", "much",
		"one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve", "half",
		"at", "by", "for", "from", "in", "into", "of", "on", "onto", "out", "over", "to", "under", "until", "up", "with", "within", "without", "about", "above", "across", "after",
		"against", "along", "among", "around", "as", "because", "before", "behind", "below", "beneath", "beside", "between", "beyond", "but", "despite", "down", "during", "if",
		"inside", "instead", "like", "near", "off", "once", "outside", "since", "so", "than", "then", "there", "though", "although", "through", "towards", "unless", "unlike", "while",
		"perhaps", "probably", "possibly", "maybe", "originally", "later", "earlier", "only", "even", "almost", "about", "nearly", "not", "now", "here", "still", "just", "never", "always", "often", "sometimes",
	}
}
