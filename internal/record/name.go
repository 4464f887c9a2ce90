package record

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"example.org/opencowl/internal/worklog"
)

// namer gives new entries their files. The names of one day's entries settle
// their order, so entries of a part come to sort as their rows stand.
type namer struct {
	taken map[string]bool
	days  map[string][]dayEntry // by date: those of this list
}

type dayEntry struct {
	id    string
	parts []string
}

func (b *Book) newNames(m *Map) *namer {
	n := &namer{taken: map[string]bool{}, days: map[string][]dayEntry{}}
	for _, e := range b.log.AllEntries() {
		n.taken[strings.ToLower(e.ID)] = true
		if e.Origin.List == m.List {
			n.days[e.Date.String()] = append(n.days[e.Date.String()], dayEntry{e.ID, e.Parts})
		}
	}
	return n
}

// longest is the most letters of a name that are spent on the part.
const longest = 46

// name returns the file of a new entry: log/2031/2031-01-14-floor-stiffener-inspected.md.
func (n *namer) name(d *draft) string {
	date, part, step := d.first("date"), d.first("part"), d.first("step")
	if len(part) > longest {
		part = strings.Trim(part[:longest], "-")
	}
	id := date + "-" + part + "-" + step
	if last := n.lastOn(date, d.values["part"]); last != "" && id+".md" <= last+".md" {
		id = after(last, step)
	}
	for k, stem := 2, id; n.taken[id]; k++ {
		id = fmt.Sprintf("%s-%d", stem, k)
	}
	n.taken[id] = true
	n.days[date] = append(n.days[date], dayEntry{id, d.values["part"]})
	return "log/" + date[:4] + "/" + id + ".md"
}

// lastOn returns the entry that now sorts last of those on a day about any of
// the parts.
func (n *namer) lastOn(date string, parts []string) string {
	last := ""
	for _, e := range n.days[date] {
		about := slices.ContainsFunc(e.parts, func(p string) bool { return slices.Contains(parts, p) })
		if about && e.id+".md" > last+".md" {
			last = e.id
		}
	}
	return last
}

var ending = regexp.MustCompile(`^(.*?)(?:-then-(\d\d))?-(` + strings.Join(worklog.Steps(), "|") + `)(?:-\d+)?$`)

// after returns a name that sorts after another: removed, then-02-cleaned,
// then-03-fitted. No step's name comes after "then" in the alphabet.
func after(last, step string) string {
	m := ending.FindStringSubmatch(last)
	if m == nil {
		return last + "-" + step // renamed by hand: its order is for a person to settle
	}
	count := 2
	if m[2] != "" {
		fmt.Sscanf(m[2], "%d", &count)
		count++
	}
	return fmt.Sprintf("%s-then-%02d-%s", m[1], count, step)
}
