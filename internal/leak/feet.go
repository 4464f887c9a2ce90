package leak

import (
	"regexp"
	"slices"
	"strconv"
	"strings"

	"example.org/opencowl/internal/measure"
)

// feetInches are feet with inches after them: "7 ft 8.5 in", `7' 8½"`, "5 foot 3".
var feetInches = regexp.MustCompile(`(?i)\b([0-9]{1,3})[\s-]?(?:ft\b\.?|feet\b|foot\b|'|′)[\s,-]{0,2}(?:and )?([0-9]{1,2})(\.[0-9]+)?(?:[\s-]?(?:and (?:a )?)?(½|¼|¾|half|quarter|three quarters|([0-9]{1,2})/([0-9]{1,2})))?([\s-]?(?:inch(?:es)?\b|ins?\b|"|″|”|'')|\b)`)

// feetIn finds lengths in feet and inches, with figures or number words.
func feetIn(p plain) []measure.Found {
	if !strings.ContainsAny(p.text, "'′") && !p.has("ft", "feet", "foot") {
		return nil
	}
	all := []plain{p.itself()}
	if whole, _ := rowsInFigures(p); whole != nil {
		all = append(all, p.itself().with(whole))
	}
	var found []measure.Found
	for _, q := range all {
		for _, m := range feetInches.FindAllStringSubmatchIndex(q.text, -1) {
			f, ok := feetAndInches(q.text, m)
			if !ok {
				continue
			}
			f.Start, f.End = q.source(m[0], m[1])
			f.Written = p.text[f.Start:f.End]
			found = append(found, f)
		}
	}
	return found
}

func feetAndInches(text string, m []int) (measure.Found, bool) {
	feet, err := strconv.Atoi(group(text, m, 1))
	inches, err2 := strconv.Atoi(group(text, m, 2))
	if err != nil || err2 != nil || inches > 11 || group(text, m, 7) == "" && (strings.Contains(text[m[0]:m[1]], "and") || strings.Contains(text[m[0]:m[1]], ",")) {
		return measure.Found{}, false
	}
	length := measure.Length(12*feet+inches) * measure.Inch
	tolerance := measure.Inch / 2
	if part := strings.TrimPrefix(group(text, m, 3), "."); part != "" {
		if len(part) > 4 {
			return measure.Found{}, false
		}
		n, _ := strconv.Atoi(part) // figures, by the pattern
		step := measure.Inch
		for range len(part) {
			step /= 10
		}
		length, tolerance = length+measure.Length(n)*step, step/2
	}
	quarters := 0
	switch strings.ToLower(group(text, m, 4)) {
	case "":
	case "¼", "quarter":
		quarters = 1
	case "½", "half":
		quarters = 2
	case "¾", "three quarters":
		quarters = 3
	default:
		n, _ := strconv.Atoi(group(text, m, 5))
		of, _ := strconv.Atoi(group(text, m, 6))
		if of == 0 {
			return measure.Found{}, false
		}
		length, tolerance = length+measure.Length(n)*measure.Inch/measure.Length(of), measure.Inch/measure.Length(8*of)
	}
	if quarters > 0 {
		length, tolerance = length+measure.Length(quarters)*measure.Inch/4, measure.Inch/16
	}
	return measure.Found{Length: length, Tolerance: tolerance}, true
}

// withoutParts drops the measurements that are parts of others.
func withoutParts(all, whole []measure.Found) []measure.Found {
	return slices.DeleteFunc(all, func(f measure.Found) bool {
		return slices.ContainsFunc(whole, func(w measure.Found) bool { return w.Start <= f.Start && f.End <= w.End })
	})
}
