package wording

import (
	"slices"
	"strings"
	"testing"
)

func TestTheCautions(t *testing.T) {
	want := strings.Fields("sharp-edge lead-paint chromate-primer asbestos cadmium luminous-paint swarf pressure trip head-height fumes noise " +
		"explosive beryllium propeller stored-energy magnesium fuel battery")
	if got := CautionKeys(); !slices.Equal(got, want) {
		t.Errorf("got  %v\nwant %v", got, want)
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
