package wording

import (
	"strings"

	"golang.org/x/text/unicode/norm"
)

// The rules here are our own, for English spelling; where a word has two
// pronunciations the shorter one is meant, as Flesch counted. The words that no
// rule gets right stand in irregular. The tests hold the whole against the CMU
// pronouncing dictionary.

// syllables counts the syllables of one word in letters.
func syllables(word string) int {
	word = plainLetters(word)
	if n := irregular(word); n > 0 {
		return n
	}
	if base, plural := strings.CutSuffix(word, "s"); plural && !hisses(base) && irregular(base) > 0 {
		return irregular(base)
	}
	if base, ok := strings.CutSuffix(word, "ically"); ok && hasVowel(base) {
		return syllables(base) + 2 // basically: three, not four
	}
	for _, suffix := range []string{"ly", "less", "ful", "ment", "ments", "ness"} {
		if base, ok := strings.CutSuffix(word, suffix); ok && len(base) > 1 && hasVowel(base) {
			return syllables(base) + 1
		}
	}
	if first, rest := compound(word); rest != "" {
		return syllables(first) + syllables(rest)
	}
	return max(1, sounds(voiced(word)))
}

// plainLetters drops marks and everything that is not a letter from a to z. An
// é is heard, and an ï stands apart.
func plainLetters(word string) string {
	word = strings.NewReplacer("é", "ay", "ï", "yi").Replace(strings.ToLower(norm.NFC.String(word)))
	return strings.Map(func(r rune) rune {
		if r < 'a' || r > 'z' {
			return -1
		}
		return r
	}, norm.NFD.String(word))
}

func vowel(c byte) bool { return strings.IndexByte("aeiouy", c) >= 0 }

func hasVowel(s string) bool { return strings.ContainsAny(s, "aeiouy") }

// hisses reports whether an s after the word makes a syllable of its own.
func hisses(word string) bool {
	for _, end := range []string{"s", "x", "z", "ce", "ge", "se", "ze", "ch", "sh"} {
		if strings.HasSuffix(word, end) {
			return true
		}
	}
	return false
}

// compound splits a word after a first half that ends in a silent e, or is
// itself irregular.
func compound(word string) (first, rest string) {
	for _, half := range []string{
		"awe", "base", "blade", "brake", "bridge", "care", "core", "edge", "else", "every", "face", "fire", "fore", "frame", "game", "gate", "gauge",
		"grave", "guide", "home", "hope", "horse", "house", "lace", "life", "like", "line", "live", "love", "make", "more", "name", "noise", "nose", "note",
		"phone", "pipe", "plane", "plate", "rope", "safe", "scale", "share", "side", "smoke", "some", "space", "spoke", "stage", "stake", "state", "stone",
		"store", "there", "time", "trade", "tube", "use", "ware", "wave", "where", "white", "whole", "wide", "wine", "wire",
	} {
		if tail, ok := strings.CutPrefix(word, half); ok && len(tail) > 1 && !sounded(tail, 0) && hasVowel(tail[1:]) {
			return half, tail
		}
	}
	return word, ""
}

// voiced takes a silent ending off.
func voiced(word string) string {
	for _, silent := range []string{"ue", "ues"} {
		// technique, leagues
		if stem, ok := strings.CutSuffix(word, silent); ok && (strings.HasSuffix(stem, "q") || strings.HasSuffix(stem, "g")) {
			return stem
		}
	}
	for _, ending := range []string{"e", "es", "ed"} {
		stem, ok := strings.CutSuffix(word, ending)
		if ok && !endsOpen(stem, ending) && carries(stem, ending) && !heard(stem, ending) {
			return stem
		}
	}
	return word
}

// carries reports whether a stem can do without the e of its ending: it has a
// vowel of its own and ends in a consonant, or in the y of played.
func carries(stem, ending string) bool {
	if !hasVowel(stem) {
		return false
	}
	if ending == "ed" && strings.HasSuffix(stem, "y") {
		return true
	}
	return !vowel(stem[len(stem)-1])
}

// heard reports whether the ending makes a syllable after this last letter:
// painted, pieces.
func heard(stem, ending string) bool {
	switch ending {
	case "ed":
		return strings.HasSuffix(stem, "t") || strings.HasSuffix(stem, "d")
	case "es":
		return hisses(stem) || hisses(stem+"e")
	}
	return false
}

// endsOpen reports whether the l or r before the e makes a syllable: table,
// handled, centres.
func endsOpen(stem, ending string) bool {
	n := len(stem)
	if n < 3 {
		return false
	}
	switch before := stem[n-2]; stem[n-1] {
	case 'l':
		return !vowel(before) && before != 'l' && before != 'r'
	case 'r':
		return strings.IndexByte("tbcg", before) >= 0 && ending != "ed"
	}
	return false
}

// sounds counts runs of vowels, and vowels side by side that are said apart.
func sounds(word string) int {
	count := 0
	for i := 0; i < len(word); i++ {
		if !sounded(word, i) {
			continue
		}
		if i == 0 || !sounded(word, i-1) || apart(word, i) {
			count++
		}
	}
	if strings.HasSuffix(word, "sm") || strings.HasSuffix(word, "sms") || strings.HasSuffix(word, "thm") {
		count++
	}
	return count
}

// sounded reports whether the letter is heard as a vowel. A y that begins a
// word or stands between vowels is a consonant; so is the u of qu and gua.
func sounded(word string, i int) bool {
	if !vowel(word[i]) {
		return false
	}
	followed := i+1 < len(word) && vowel(word[i+1])
	switch word[i] {
	case 'y':
		return !followed || i > 0 && !vowel(word[i-1])
	case 'u':
		return !(followed && i > 0 && (word[i-1] == 'q' || word[i-1] == 'g'))
	}
	return true
}

// apart reports whether the vowel at i is said apart from the one before it.
func apart(word string, i int) bool {
	before := byte(' ')
	if i >= 2 {
		before = word[i-2]
	}
	rest := word[i:]
	soft := strings.IndexByte("ctsgx", before) >= 0 // special, nation, region
	begins := func(starts ...string) bool {
		for _, s := range starts {
			if strings.HasPrefix(rest, s) {
				return true
			}
		}
		return false
	}
	switch word[i-1 : i+1] {
	case "ua", "uo", "ii", "ao", "ya", "ye", "yo":
		return true
	case "ia":
		if soft {
			return begins("at") // initiate
		}
		end := strings.TrimSuffix(rest, "s")
		return !((before == 'l' || before == 'n') && (end == "a" || end == "an")) // Australian
	case "io":
		return rest == "o" || !soft && !((before == 'l' || before == 'n') && begins("on")) // million
	case "iu", "eo":
		return !soft
	case "ie":
		return ieApart(word[:i-1], rest, soft)
	case "ui":
		return begins("ity", "ing") || before == 'r' && begins("in") || before == 'l' && begins("id")
	case "oi", "ei", "yi", "ai":
		return rest == "ing" || rest == "ings"
	case "ue":
		return begins("el", "ent", "ence")
	case "oe":
		return begins("em", "et")
	case "ea":
		return strings.HasPrefix(word, "creat") && !begins("atur") || rest == "a" && i > 3
	case "eu":
		return begins("um")
	}
	return false
}

// ieApart tells easier, client and society from field and patient.
func ieApart(stem, rest string, soft bool) bool {
	switch rest {
	case "er", "ers", "est":
		return hasVowel(stem)
	}
	for _, begin := range []string{"ent", "enc", "et"} {
		if strings.HasPrefix(rest, begin) {
			return !soft || stem == "sc"
		}
	}
	return false
}

// irregular gives the words that the rules get wrong, and 0 for all others.
func irregular(word string) int {
	switch word {
	case "aye", "bye", "eye", "isle", "tired", "hired", "fired", "fuel", "jewel", "prayer", "toward", "dial", "trial":
		return 1
	case "argue", "argued", "average", "business", "cafe", "camera", "carriage", "casual", "chocolate", "crooked", "diamond", "different", "evening", "every", "family",
		"fatigue", "favourite", "frontier", "general", "giant", "hundred", "interest", "jagged", "lawyer", "louis", "marriage", "maybe", "naked", "people", "pierre", "ragged",
		"recipe", "restaurant", "rugged", "sacred", "separate", "several", "soldier", "suffering", "theory", "wednesday", "wicked":
		return 2
	case "area", "element", "idea", "reaction", "theatre", "theater", "vienna":
		return 3
	case "undercarriage":
		return 4
	}
	return 0
}
