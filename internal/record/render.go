package record

import (
	"crypto/sha256"
	"encoding/hex"
	"regexp"
	"slices"
	"strings"

	"example.org/opencowl/internal/worklog"
)

// render writes an entry as a person would: the keys in their usual order, those
// that are empty left out, quotes only where YAML needs them, notes in the body.
// origin is the line that says where the entry came from, or nothing.
func render(values map[string][]string, origin string) string {
	var b strings.Builder
	line := func(key, value string) {
		if value != "" {
			b.WriteString(key + ": " + value + "\n")
		}
	}
	group := func(name string, keys ...string) {
		head := name + ":\n"
		for _, key := range keys {
			v := values[name+"."+key]
			if len(v) == 0 {
				continue
			}
			b.WriteString(head)
			head = ""
			if key == "causes" {
				line("  "+key, inBrackets(v))
				continue
			}
			line("  "+key, scalar(v[0]))
		}
	}
	one := func(path string) string {
		if v := values[path]; len(v) > 0 {
			return scalar(v[0])
		}
		return ""
	}
	b.WriteString("---\n")
	line("date", one("date"))
	line("by", one("by"))
	if parts := values["part"]; len(parts) > 1 {
		line("parts", inBrackets(parts))
	} else {
		line("part", one("part"))
	}
	line("step", one("step"))
	group("finding", "causes", "least_thickness", "detail")
	line("pile", one("pile"))
	group("replacement", "source", "supplier", "material", "approval", "report", "cost")
	line("next", next(values))
	if origin != "" {
		b.WriteString(origin + "\n")
	}
	b.WriteString("---\n")
	if notes := values["notes"]; len(notes) > 0 {
		b.WriteString(notes[0] + "\n")
	}
	return b.String()
}

func next(values map[string][]string) string {
	var pairs []string
	for _, key := range []string{"step", "due"} {
		if v := values["next."+key]; len(v) > 0 {
			pairs = append(pairs, key+": "+flow(v[0]))
		}
	}
	if len(pairs) == 0 {
		return ""
	}
	return "{" + strings.Join(pairs, ", ") + "}"
}

func inBrackets(values []string) string {
	var items []string
	for _, v := range values {
		items = append(items, flow(v))
	}
	return "[" + strings.Join(items, ", ") + "]"
}

// originLine is the one line in which an entry says where it came from.
func originLine(o worklog.Origin) string {
	return "origin: {list: " + flow(o.List) + ", row: " + flow(o.Row) + ", digest: " + flow(o.Digest) + "}"
}

// plainText is what YAML takes without quotes, whatever stands around it, and
// reads back as text: it begins with a letter, or is a number, date or size.
var (
	plainText = regexp.MustCompile(`^[\pL\d][\pL\pN /()'&;+.%°£€=_-]*$`)
	numeric   = regexp.MustCompile(`^(\d{1,15}(\.\d{1,15})?|\d{4}-\d{2}-\d{2})$`)
	startsNum = regexp.MustCompile(`^\d`)
)

// reserved are words that YAML or its readers take for something other than text.
func reserved(s string) bool {
	return slices.Contains([]string{"null", "true", "false", "yes", "no", "on", "off", "y", "n", "inf", "nan", "infinity"}, strings.ToLower(s))
}

// flow writes a value inside brackets or braces.
func flow(s string) string {
	switch {
	case numeric.MatchString(s):
		return s
	case plainText.MatchString(s) && !reserved(s) && !strings.HasSuffix(s, " ") && (!startsNum.MatchString(s) || strings.Contains(s, " ") || strings.Contains(s, "-")):
		return s
	}
	return quoted(s)
}

// scalar writes a value on a line of its own, where commas and brackets may
// stand bare, and a colon that no space follows.
func scalar(s string) string {
	bare := strings.NewReplacer(",", "", ":", "", "[", "", "]", "", "\"", "").Replace(s)
	if flow(bare) == bare && !strings.Contains(s, ": ") && !strings.HasSuffix(s, ":") && s != "" && bare != "" && s[0] == bare[0] {
		return s
	}
	return flow(s)
}

func quoted(s string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(s) + `"`
}

// digest is a short fingerprint of an entry as it was written.
func digest(text string) string {
	sum := sha256.Sum256([]byte(text))
	return "sha256-" + hex.EncodeToString(sum[:8])
}

// withoutOrigin takes the origin's line out of a file that render wrote. What a
// person changed in the file stays, and so changes the digest.
func withoutOrigin(file string) string {
	file = strings.ReplaceAll(file, "\r\n", "\n")
	var kept []string
	found := false
	for line := range strings.SplitSeq(file, "\n") {
		if !found && strings.HasPrefix(line, "origin: {list: ") {
			found = true
			continue
		}
		kept = append(kept, line)
	}
	return strings.Join(kept, "\n")
}

// valuesOf returns what an entry holds, in the form of a draft.
func valuesOf(e *worklog.Entry) map[string][]string {
	values := map[string][]string{"part": e.Parts}
	one := func(path, value string) {
		if value != "" {
			values[path] = []string{value}
		}
	}
	one("date", e.Date.String())
	one("by", e.By)
	one("step", e.Step)
	if len(e.Finding.Causes) > 0 {
		values["finding.causes"] = e.Finding.Causes
	}
	one("finding.least_thickness", strings.ToLower(e.Finding.LeastThickness.String()))
	one("finding.detail", e.Finding.Detail)
	one("pile", e.Pile)
	one("replacement.source", e.Replacement.Source)
	one("replacement.supplier", e.Replacement.Supplier)
	one("replacement.material", e.Replacement.Material)
	one("replacement.approval", e.Replacement.Approval)
	one("replacement.report", e.Replacement.Report)
	one("replacement.cost", e.Replacement.Cost.Written())
	one("next.step", e.Next.Step)
	one("next.due", e.Next.Due.String())
	one("notes", e.Notes)
	return values
}
