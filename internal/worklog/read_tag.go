package worklog

import "example.org/opencowl/internal/reading"

// Names are what a tag may name.
type Names struct{ Parts, People []string }

// ReadTag reads the tag that a file of this name would be, with all the checks
// that Read makes of a tag. src is text without a byte order mark.
func ReadTag(file string, src []byte, known Names) (*Tag, []reading.Problem) {
	r := &reader{partIDs: sorted(known.Parts), people: sorted(known.People)}
	tag, problems := r.readTag(file, src)
	reading.Sort(problems)
	return tag, problems
}
