package leak

import (
	"slices"
	"strings"
	"unicode/utf8"
)

// nameWords cuts a person's name into its words, titles and letters after it
// left out; "Penhallick, Gus" is turned round.
func nameWords(name string) []string {
	if last, first, ok := strings.Cut(name, ","); ok {
		name = first + " " + last
	}
	words := strings.Fields(name)
	for len(words) > 1 && isTitle(strings.ToLower(strings.Trim(words[0], "."))) {
		words = words[1:]
	}
	return words
}

const shortestSurname = 4 // letters; a shorter one counts only in a full name

// personKeys are the forms in which a person may be named: in full, without
// middle names, with initials, surname first, and by the surname.
func personKeys(v Value, c credited) []key {
	keys := namedKeys(v, c)
	if written := spelledOut.Replace(v.Value); written != v.Value {
		keys = append(keys, namedKeys(Value{v.Kind, written, v.Where}, c)...)
	}
	return keys
}

// spelledOut writes letters with two dots and the like as two letters.
var spelledOut = strings.NewReplacer("ä", "ae", "ö", "oe", "ü", "ue", "Ä", "Ae", "Ö", "Oe", "Ü", "Ue", "å", "aa", "Å", "Aa", "ø", "oe", "Ø", "Oe")

func namedKeys(v Value, c credited) []key {
	words := nameWords(v.Value)
	if len(words) == 0 || c.tells(v.Value) {
		return nil
	}
	full := func(words ...string) key {
		k := newKey(v.Kind, v.Where, fullName, piecesOf(strings.Join(words, " ")))
		k.initials = slices.ContainsFunc(words, func(w string) bool { return utf8.RuneCountInString(w) == 1 })
		return k
	}
	last := words[len(words)-1]
	if len(words) == 1 {
		return []key{newKey(v.Kind, v.Where, surname, piecesOf(last))}
	}
	given := words[:len(words)-1]
	if particles := slices.IndexFunc(given, isParticle); particles > 0 {
		last, given = strings.Join(words[particles:], " "), words[:particles]
	}
	initials := make([]string, len(given))
	for i, g := range given {
		initials[i] = string([]rune(g)[:1])
	}
	keys := []key{full(append(slices.Clone(given), last)...), full(append([]string{last}, given...)...)}
	if len(given) > 1 {
		keys = append(keys, full(given[0], last), full(last, given[0]), full(append(slices.Clone(initials), last)...), full(append([]string{last}, initials...)...),
			full(append([]string{given[0]}, append(slices.Clone(initials[1:]), last)...)...))
	}
	keys = append(keys, full(initials[0], last), full(last, initials[0]))
	if s := newKey(v.Kind, v.Where, surname, piecesOf(last)); len([]rune(s.exact)) >= shortestSurname && !c.surnames[squeezed(last)] {
		keys = append(keys, s)
	}
	return keys
}

// isParticle: what belongs to the surname after it.
func isParticle(s string) bool {
	switch strings.ToLower(s) {
	case "van", "von", "de", "der", "den", "del", "della", "di", "da", "du", "la", "le", "ten", "ter", "zu", "zur", "st", "st.", "ap", "mac", "mc", "o'":
		return true
	}
	return false
}
