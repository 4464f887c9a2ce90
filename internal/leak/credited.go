package leak

import (
	"slices"
	"strings"
)

// credited are the names and contacts that may be told, each in the form in which
// all ways to write it agree.
type credited struct {
	all      map[string]bool // squeezed
	surnames map[string]bool
	words    map[string]bool
	contacts map[string]bool
	phones   []string
	names    nameTable // to find them in a text
}

func creditedNames(names []string) credited {
	c := credited{all: map[string]bool{}, surnames: map[string]bool{}, words: map[string]bool{}, contacts: map[string]bool{}}
	var keys []key
	for _, n := range names {
		c.all[squeezed(n)] = true
		forms := firmKeys(Value{Value: n}, term)
		if len(forms) > 0 {
			c.all[forms[0].exact] = true
		}
		keys = append(keys, forms...)
		if names := nameWords(n); len(names) > 1 {
			c.all[squeezed(strings.Join(names, " "))] = true
			c.surnames[squeezed(names[len(names)-1])] = true
		}
		for _, p := range piecesOf(n) {
			c.words[p.text] = true
		}
		c.addContacts(n)
	}
	c.names = newNameTable(keys)
	return c
}

func (c *credited) addContacts(name string) {
	p := readPlain(name)
	for _, s := range emailsIn(p) {
		c.contacts[canonical(KindEmail, s.plainly)] = true
	}
	for _, s := range postcodesIn(p) {
		c.contacts[canonical(KindPostcode, s.plainly)] = true
	}
	for _, s := range telephonesIn(p) {
		phone := canonical(KindTelephone, s.plainly)
		c.contacts[phone] = true
		c.phones = append(c.phones, phone)
	}
}

// tells reports whether a name may be told, with or without the form of the
// company, whichever way round it is written.
func (c credited) tells(name string) bool {
	if len(c.all) == 0 {
		return false
	}
	if c.all[squeezed(name)] || c.all[squeezed(strings.Join(nameWords(name), " "))] {
		return true
	}
	forms := firmKeys(Value{Value: name}, term)
	return len(forms) > 0 && forms[0].words > 1 && c.all[forms[0].exact]
}

// tellsContact reports whether a contact may be told, however it is written.
func (c credited) tellsContact(kind, plainly string) bool {
	if len(c.contacts) == 0 {
		return false
	}
	one := canonical(kind, plainly)
	if c.contacts[one] {
		return true
	}
	const local = 6 // figures that are dialled within a town
	figures := strings.TrimPrefix(one, "+44")
	return kind == KindTelephone && len(figures) >= local && slices.ContainsFunc(c.phones, func(p string) bool { return strings.HasSuffix(p, figures) })
}

// tellsAll reports whether a private value has contacts, and each may be told.
func (c credited) tellsAll(p plain) bool {
	kinds := [...]string{KindEmail, KindPostcode, KindTelephone}
	some := false
	for i, spans := range [...][]span{emailsIn(p), postcodesIn(p), telephonesIn(p)} {
		for _, s := range spans {
			if some = true; !c.tellsContact(kinds[i], s.plainly) {
				return false
			}
		}
	}
	return some
}

// without drops the findings that stand inside a credited name.
func (c credited) without(p plain, found []Finding) []Finding {
	if len(found) == 0 || len(c.names) == 0 {
		return found
	}
	told := search{c.names, p.text, p.pieces}.all()
	return slices.DeleteFunc(found, func(f Finding) bool {
		return slices.ContainsFunc(told, func(t Finding) bool { return t.Start <= f.Start && f.End <= t.End })
	})
}

// canonical is what all the ways to write a contact have in common: a telephone
// number by the rules of ITU-T E.164, taken for British if it begins with a nought
// and for one of North America if it has ten figures and does not; a postal code in
// capitals without space; an address in small letters.
func canonical(kind, s string) string {
	switch kind {
	case KindPostcode:
		return strings.ToUpper(squeezed(s))
	case KindTelephone:
		return canonicalTelephone(s)
	}
	return strings.ToLower(noSpace.Replace(s))
}

func canonicalTelephone(s string) string {
	digits := strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' {
			return r
		}
		return -1
	}, s)
	abroad := strings.Contains(s, "+")
	if rest, ok := strings.CutPrefix(digits, "00"); ok && !abroad {
		digits, abroad = rest, true
	}
	rest, british := strings.CutPrefix(digits, "44")
	switch {
	case abroad && british:
		return "+44" + strings.TrimPrefix(rest, "0") // "+44 (0)1632 …"
	case abroad:
		return "+" + digits
	case strings.HasPrefix(digits, "0"):
		return "+44" + digits[1:]
	case len(digits) == shortestNational:
		return "+1" + digits
	}
	return digits
}
