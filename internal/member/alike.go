package member

import (
	"context"
	"fmt"
	"strings"

	"example.org/opencowl/internal/store"
)

// likeness remembers addresses by what they have in common with others that may be
// of the same person.
type likeness map[digest]struct {
	own  digest
	line int
}

// add remembers an address, and says which one before it may be of the same person;
// line is where it stands in a list, 0 for somebody who is here already.
func (l likeness) add(address string, line int) (says string) {
	near, own := digestOf(alike(address)), digestOf(fold(address))
	first, met := l[near]
	if !met {
		first.own, first.line = own, line
		l[near] = first
		return ""
	}
	switch {
	case first.own == own:
		return ""
	case first.line == 0:
		return "is much like the address of somebody who is here, but for dots or a tag; if it is one person, keep one"
	}
	return fmt.Sprintf("is much like the address on line %d, but for dots or a tag; if it is one person, keep one", first.line)
}

// alike is what is left of an address without what many mail servers pass over:
// case, dots before the @, and a tag after a plus sign. The addresses of two people
// may agree in it, so that it never decides anything.
func alike(address string) string {
	local, domain, _ := cutLast(fold(address), "@")
	// A + at the beginning has nothing before it to be a tag of.
	if i := strings.IndexByte(local, '+'); i > 0 {
		local = local[:i]
	}
	return strings.ReplaceAll(local, ".", "") + "@" + domain
}

// Alike returns the addresses of members, sorted, that may be of the same person as
// another one: as advice, since they may as well not be.
func Alike(ctx context.Context, db *store.DB, address string) ([]string, error) {
	kept, err := Normalise(address)
	if err != nil {
		return nil, fmt.Errorf("%q: %w", address, err)
	}
	var found []string
	err = Each(ctx, db, Filter{}, func(m Member) error {
		if alike(m.Address) == alike(kept) && fold(m.Address) != fold(kept) {
			found = append(found, m.Address)
		}
		return nil
	})
	return found, err
}
