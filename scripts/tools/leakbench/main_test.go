package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// bring measures a file of cases.
func bring(t *testing.T, text string, more ...string) (stdout, stderr string, err error) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "cases.jsonl")
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	var out, said bytes.Buffer
	err = run(append([]string{file}, more...), &out, &said)
	return out.String(), said.String(), err
}

func TestCasesAreReadAsPeopleWriteThem(t *testing.T) {
	const sentence = "Drilled out sixty rivets on the port side before the lower flange came away clean."
	for name, c := range map[string]struct{ line, want string }{
		"in full":                {`{"id": "a", "text": "Serial FX-9921.", "private": [{"kind": "serial", "value": "FX-9921"}], "notes": [], "credited": [], "leak": true}`, "a\tfound\tprivate-name\n"},
		"two codes":              {`{"id": "a", "text": "Serial FX-9921 was 1.38 mm.", "private": [{"kind": "serial", "value": "FX-9921"}, {"kind": "reading", "value": "1.38 mm"}]}`, "a\tfound\tprivate-name,private-number\n"},
		"credited":               {`{"id": "a", "text": "Thank you, Rose Marsh.", "private": [{"kind": "person", "value": "Rose Marsh"}], "credited": "Rose Marsh"}`, "a\tclean\t\n"},
		"notes in a list":        {`{"id": "a", "text": "` + sentence + `", "notes": [null, "` + sentence + `"]}`, "a\tfound\tcopied-sentence\n"},
		"notes as one text":      {`{"id": "a", "text": "` + sentence + `", "notes": "` + sentence + `"}`, "a\tfound\tcopied-sentence\n"},
		"keys unknown":           {`{"why": {"notes": [1, {"text": 2}]}, "id": "a", "text": "Nothing.", "private": [{"kind": "serial", "value": "FX-9921", "where": []}]}`, "a\tclean\t\n"},
		"keys missing":           {`{"text": "Nothing."}`, "1\tclean\t\n"},
		"no key":                 {`{}`, "1\tclean\t\n"},
		"nulls":                  {`{"id": null, "text": null, "private": [null, {"kind": null, "value": null}, {"kind": null, "value": "Hollow Sheds"}], "notes": null, "credited": null, "leak": null}`, "1\tclean\t\n"},
		"one private value":      {`{"id": 7, "text": "Serial FX-9921.", "private": {"kind": "serial", "value": "FX-9921"}}`, "7\tfound\tprivate-name\n"},
		"another kind of name":   {`{"id": "a", "text": "From the Hollow Sheds.", "private": [{"kind": "nickname", "value": "Hollow Sheds"}]}`, "a\tfound\tprivate-name\n"},
		"another kind of length": {`{"id": "a", "text": "It was 0.77 millimetres.", "private": [{"kind": "thinnest", "value": "0.77 mm"}]}`, "a\tfound\tprivate-number\n"},
		"another kind of share":  {`{"id": "a", "text": "A good 37 per cent of it.", "private": [{"kind": "eaten", "value": "37%"}]}`, "a\tfound\tprivate-number\n"},
		"another kind of sum":    {`{"id": "a", "text": "It came to £412.50.", "private": [{"kind": "bill", "value": "GBP 412.50"}]}`, "a\tfound\tprivate-number\n"},
		"a mark, CRLF and blank": {"\ufeff\r\n{\"text\": \"Nothing.\"}\r\n \t\r\n\r\n", "2\tclean\t\n"},
		"an id with a tab":       {`{"id": "a\tb\nc", "text": "Nothing."}`, `a\tb\nc` + "\tclean\t\n"},
		"a key twice":            {`{"id": "a", "text": "Serial FX-9921.", "text": "Nothing.", "private": ["FX-9921"]}`, "a\tclean\t\n"},
	} {
		got, said, err := bring(t, c.line)
		if err != nil || got != c.want {
			t.Errorf("%s: got %q, %v (%s), want %q", name, got, err, said, c.want)
		}
	}
}

func TestLinesMayBeLong(t *testing.T) {
	long := `{"id": "a", "text": "` + strings.Repeat("Salt water. ", 900_000) + `Serial FX-9921.", "private": [{"kind": "serial", "value": "FX-9921"}]}` + "\n" +
		`{"id": "b", "text": "Nothing.", "notes": "` + strings.Repeat("Some long note. ", 700_000) + `", "private": [{"kind": "odd", "value": "` + strings.Repeat("X12 ", 2_600_000) + `"}]}`
	got, _, err := bring(t, long)
	if want := "a\tfound\tprivate-name\nb\tclean\t\n"; err != nil || got != want {
		t.Errorf("got %q, %v, want %q", got, err, want)
	}
}

func TestWhatIsNoCaseIsToldWithItsPlace(t *testing.T) {
	for line, place := range map[string]string{
		`{"id": "é", "text": }`:                  ":2:21: the line is not JSON",
		`[1]`:                                    ":2:1: the line is a list, not an object",
		`null`:                                   ":2:1: the line is null, not an object",
		`"a"`:                                    ":2:1: the line is a text, not an object",
		`{"text": {"a": 1}}`:                     `:2:10: "text" holds an object, not a text`,
		`{"leak": "yes"}`:                        `:2:10: "leak" holds a text, not true or false`,
		`{"private": [{"kind": ["a"]}]}`:         `:2:23: "kind" holds a list, not a text`,
		`{"private": [["a"]]}`:                   `:2:14: "private" holds a list, not a text`,
		`{"notes": [true]}`:                      `:2:12: "notes" holds true or false, not a text`,
		`{"text": "cut`:                          ":2:14: the line is not JSON",
		`{"id": "a"} {"id": "b"}`:                ":2:13: the line is not JSON",
		strings.Repeat(`[`, 20_000):              "exceeded max depth); write one",
		`{"a":` + strings.Repeat(`[`, 20_000):    "exceeded max depth); write one",
		`{"id": "a", "text": "a` + "\x00" + `"}`: ":2:23: the line is not JSON",
	} {
		got, said, err := bring(t, `{"id": "before"}`+"\n"+line+"\n"+`{"id": "after"}`+"\n")
		if err == nil || !strings.Contains(said, place) || !strings.Contains(said, "write one case a line") {
			t.Errorf("%.40s: got %v, %q, want it to say %q", line, err, said, place)
		}
		if want := "before\tclean\t\nafter\tclean\t\n"; got != want {
			t.Errorf("%.40s: got %q, want the other lines: %q", line, got, want)
		}
	}
}

func TestSummaryCountsOnlyWhatIsLabelled(t *testing.T) {
	const serial = `"private": [{"kind": "serial", "value": "FX-9921"}]`
	_, said, err := bring(t, `{"text": "Serial FX-9921.", `+serial+`, "leak": true}
{"text": "Serial FX-9921.", `+serial+`, "leak": false}
{"id": "missed", "text": "Serial of the engine.", `+serial+`, "leak": true}
{"text": "Serial FX-9921.", `+serial+`}
`)
	want := "found 1 of 2 leaks (50.0 %); 1 false alarms in 1 clean texts (100.0 %); 1 cases do not say whether they leak\n"
	if err != nil || !strings.HasSuffix(said, want) || strings.Count(said, "wrong: ") != 2 || !strings.Contains(said, `wrong: missed clean: "Serial of the engine." []`) {
		t.Errorf("got %v, %q, want %q", err, said, want)
	}
}

func TestCurveIsMeasuredOnAFile(t *testing.T) {
	const note = "Drilled out sixty rivets on the port side before the lower flange came away clean."
	const fourthDropped = "Drilled out sixty on the port before the lower came away clean."
	got, _, err := bring(t, `{"text": "`+fourthDropped+`", "notes": "`+note+`", "leak": true}
{"text": "The port side was clean.", "notes": "`+note+`", "leak": false}
{"text": "No notes.", "leak": false}
`, "--curve")
	if err != nil || !strings.HasPrefix(got, "1 cases with notes that leak, and 1 with notes that do not.\n") ||
		!strings.Contains(got, "\n| 0.70 | 100.0 % | 0 |\n") || !strings.Contains(got, "\n| 0.80 | 0.0 % | 0 |\n") {
		t.Errorf("got %q, %v", got, err)
	}
}

func TestWrongUseIsTold(t *testing.T) {
	for _, c := range []struct {
		args []string
		say  string
	}{
		{[]string{"--wide"}, "--wide is no option"},
		{[]string{"a.jsonl", "b.jsonl"}, "give one"},
		{[]string{"no-such-file.jsonl"}, "check the name"},
		{[]string{t.TempDir()}, "cannot be read further"},
	} {
		var out, said bytes.Buffer
		if err := run(c.args, &out, &said); err == nil || !strings.Contains(err.Error(), c.say) || out.Len() > 0 {
			t.Errorf("%q: got %v, %q, want it to say %q", c.args, err, out.String(), c.say)
		}
	}
}
