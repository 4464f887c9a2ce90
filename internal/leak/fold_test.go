package leak

import (
	"slices"
	"testing"
)

func TestLookalikesAreInOrder(t *testing.T) {
	if !slices.IsSortedFunc(lookalikes[:], func(a, b lookalike) int { return int(a.r - b.r) }) {
		t.Error("the table is searched by halves and must be in order; write it again with lookalikes_gen.go")
	}
}

func TestTextIsFoldedToWhatIsRead(t *testing.T) {
	for source, want := range map[string][]string{
		"plain words":                 {"plain words"},
		"a&amp;b &#45; &shy;c&nbsp;d": {"a&b - c d"},
		"ri<b>ve</b>ts<br>and":        {"rivets\nand"},
		"<td>a</td><td>b</td>":        {"\na\nb\n"},
		"ri*ve*ts **and** `nuts`":     {"rivets **and** `nuts`"},
		"3*4 a < b > c":               {"3*4 a < b > c"},
		"[li**n**ks](x%2Dy.html)":     {"links", "x-y.html"},
		`<img alt="a strip">x`:        {"\nx", ` alt="a strip"`},
		"a<!-- hidden -->b":           {"ab", " hidden "},
		"a<!--b":                      {"a\nb"},
		"ＦＯ７ 𝐅𝐎𝟕 ⅣⅤ ﬁ":                {"FO7 FO7 IVV fi"},
		"е\u0301 \u200bа\u00adо":      {"e ao"},
		"٣ 𝟛 ❸ ⓷ ৩":                   {"3 3 3 3 3"},
		"1½ mm, 250 µm, 5″ × 3":       {"1½ mm, 250 µm, 5″ × 3"},
		"\u202ecba\u202cd":            {"cbad", "abc"},
		"50% 100%25":                  {"50% 100%25"},
	} {
		var got []string
		for _, p := range fold(source) {
			got = append(got, p.text)
		}
		if !slices.Equal(got, want) {
			t.Errorf("%q: %q, want %q", source, got, want)
		}
	}
}

func TestNumbersAreReadAloud(t *testing.T) {
	for said, want := range map[string]string{
		"mod thirty-one": "mod 31", "zero three one": "031", "double two one seven": "2217", "twenty-two seventeen": "2217", "two thousand two hundred and seventeen": "2217", "a hundred and five": "105",
		"foxtrot oscar seven dash two": "f o 7 2", "oh one six": "016", "a hotel by the sea": "", "one and two": "1 and 2",
	} {
		var got string
		for i, p := range spokenForm(pieces(said)) {
			if i > 0 {
				got += " "
			}
			got += p.text
		}
		if got != want {
			t.Errorf("%q: %q, want %q", said, got, want)
		}
	}
}
