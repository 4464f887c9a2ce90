package main

import (
	"encoding/json"
	"testing"
	"unicode/utf8"
)

func FuzzCase(f *testing.F) {
	for _, s := range []string{
		`{"id": "a", "text": "Serial FX-9921.", "private": [{"kind": "serial", "value": "FX-9921"}], "notes": ["a"], "credited": ["b"], "leak": true}`,
		`{"id": 7, "private": {"kind": null, "value": 1.5}, "notes": "a", "credited": [null], "leak": null, "more": {"text": [{}]}}`,
		`{"private": ["37%", "1.38 mm", "GBP 4"], "text": "\ud800"}`, `[[{"text": 1}]]`, `null`, `{"text": {}}`, "{\"id\": \"a\xff\"} x",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, line []byte) {
		c, wrong := readCase(line)
		if wrong != nil {
			if wrong.at < 0 || wrong.at > len(line) || wrong.message == "" {
				t.Fatalf("%q: a fault without its place: %+v", line, wrong)
			}
			return
		}
		var whole map[string]any
		if err := json.Unmarshal(line, &whole); err != nil {
			t.Fatalf("%q was taken: %v", line, err)
		}
		for _, text := range append(append([]string{c.id, c.text}, c.notes...), c.credited...) {
			// An escape of six bytes stands for three at most; a byte that is no
			// UTF-8 for the three of the replacement character.
			if !utf8.ValidString(text) || len(text) > 3*len(line) {
				t.Fatalf("%q gave %q", line, text)
			}
		}
	})
}
