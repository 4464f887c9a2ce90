package wording

import (
	"slices"
	"strings"
	"testing"
)

func TestEveryCautionHasItsWords(t *testing.T) {
	want := strings.Fields("sharp-edge lead-paint chromate-primer asbestos cadmium luminous-paint swarf pressure trip head-height fumes noise " +
		"explosive beryllium propeller stored-energy magnesium fuel battery")
	if got := CautionKeys(); !slices.Equal(got, want) {
		t.Errorf("got  %v\nwant %v", got, want)
	}
	for _, key := range want {
		c, ok := Caution(key)
		if !ok || c.Key != key || c.Label == "" || !strings.HasSuffix(c.Advice, ".") {
			t.Errorf("%s: %+v", key, c)
		}
		// A card has room for little more than this, and it is read at arm's length.
		if n := len(strings.Fields(c.Advice)); n > 30 || len(c.Label) > 24 {
			t.Errorf("%s: %d words of advice under a label of %d letters", key, n, len(c.Label))
		}
		for _, claim := range []string{"is safe", "harmless", "airworthy"} {
			if strings.Contains(c.Advice, claim) {
				t.Errorf("%s: the advice says %q, which is not ours to say", key, claim)
			}
		}
		if Hazardous(key) && !strings.Contains(strings.ToLower(c.Advice), "do not touch") {
			t.Errorf("%s: the advice lets people touch it: %s", key, c.Advice)
		}
	}
	if c, ok := Caution("sharp-edges"); ok {
		t.Errorf("an unknown caution gave %+v", c)
	}
}

func TestHazards(t *testing.T) {
	var hazards []string
	for _, key := range CautionKeys() {
		if Hazardous(key) {
			hazards = append(hazards, key)
		}
	}
	want := []string{"lead-paint", "chromate-primer", "asbestos", "cadmium", "luminous-paint", "explosive", "beryllium"}
	if !slices.Equal(hazards, want) || Hazardous("sharp-edge") {
		t.Errorf("got %v, want %v", hazards, want)
	}
}
