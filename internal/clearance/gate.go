package clearance

import (
	"fmt"
	"maps"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"sync"

	"example.org/opencowl/internal/leak"
	"example.org/opencowl/internal/outgoing"
	"example.org/opencowl/internal/reading"
)

// Gate is the last look at what is about to leave. It reads the finished bytes
// of the files as a stranger would, cuts them into segments and holds each
// against the private record once more: names of things, copied sentences,
// contacts and numbers. A finding, or a file that cannot be read, is a Leak and
// stops the whole run.
//
// A segment's words come from a unit when they stand in its text; a released fact
// or an accepted finding of that unit is honoured there and nowhere else. Where
// they come from no unit, they are the template's: its numbers are its own.
//
// Own are values that may be told in these files alone: in a member's letter,
// that member's name and address.
func (d *Desk) Gate(files map[string][]byte, own ...string) error {
	d.gate.once.Do(func() { d.gate.sources = d.sources() })
	names := slices.Sorted(maps.Keys(files))
	found := make([][]reading.Problem, len(names))
	var wait sync.WaitGroup
	turns := make(chan struct{}, runtime.GOMAXPROCS(0))
	for i, name := range names {
		turns <- struct{}{}
		wait.Go(func() {
			found[i] = d.gateFile(name, files[name], own)
			<-turns
		})
	}
	wait.Wait()
	findings := slices.Concat(found...)
	if len(findings) == 0 {
		return nil
	}
	reading.Sort(findings)
	return &Leak{findings}
}

// Leak is the error of the last gate: something private was about to leave.
type Leak struct{ Findings []reading.Problem }

func (l *Leak) Error() string {
	lines := []string{"the last gate stopped this; nothing was written or sent:"}
	for _, f := range l.Findings {
		lines = append(lines, f.Error())
	}
	return strings.Join(lines, "\n")
}

// lastGate is what the gate keeps between files.
type lastGate struct {
	once    sync.Once
	sources *sources
	mu      sync.Mutex
	clean   map[string]bool // segments in which nothing was found
}

// mostClean bounds what is remembered; the segments that come again and again
// are the first to be met.
const mostClean = 100_000

func (g *lastGate) isClean(segment string) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.clean[segment]
}

func (g *lastGate) remember(segment string) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.clean == nil {
		g.clean = map[string]bool{}
	}
	if len(g.clean) < mostClean {
		g.clean[segment] = true
	}
}

// gateFile looks through one file.
func (d *Desk) gateFile(name string, data []byte, own []string) []reading.Problem {
	segments, err := outgoing.Read(name, data)
	if err != nil {
		return []reading.Problem{{Place: reading.Place{File: name}, Code: "unreadable", Message: err.Error(),
			Remedy: "it must not leave unread; make it again, or replace it by one that Opencowl made"}}
	}
	var findings []reading.Problem
	for _, s := range segments {
		if d.gate.isClean(s.Text) {
			continue
		}
		leaks := d.private.Find(drawn.ReplaceAllStringFunc(s.Text, blank))
		if len(leaks) == 0 {
			d.gate.remember(s.Text)
			continue
		}
		for _, l := range leaks {
			if isOwn(s.Text, l, own) {
				continue
			}
			from, honoured := d.gate.sources.honours(d, s.Text, l)
			if honoured {
				continue
			}
			message, _ := tellLeak(l)
			findings = append(findings, reading.Problem{Place: reading.Place{File: name}, Code: l.Code, Value: l.Shown,
				Message: fmt.Sprintf("%s: %s; the words come from %s", s.Where, message, from), Remedy: "take it out there, and decide again on words that you change"})
		}
	}
	return findings
}

// drawn are digests and identifiers that were drawn or computed: Message-ID,
// boundary, Content-ID, a picture's name. They say nothing to a reader, and among so
// many of them one looks by chance like a number that is private.
var drawn = regexp.MustCompile(`\b[0-9a-f]{20,128}\b`)

// blank takes such a one out and leaves every place as it is. Figures alone stay:
// they may be somebody's number.
func blank(s string) string {
	if !strings.ContainsAny(s, "abcdef") || !strings.ContainsAny(s, "0123456789") {
		return s
	}
	return strings.Repeat(" ", len(s))
}

// isOwn reports whether a finding lies inside a value that this file may tell.
func isOwn(text string, l leak.Finding, own []string) bool {
	return slices.ContainsFunc(own, func(value string) bool {
		for at := 0; value != ""; {
			i := strings.Index(text[at:], value)
			if i < 0 {
				break
			}
			if at += i; at <= l.Start && l.End <= at+len(value) {
				return true
			}
			at += len(value)
		}
		return false
	})
}
