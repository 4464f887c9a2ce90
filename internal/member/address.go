package member

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/net/idna"
)

// ErrAddress is wrapped by every error of Normalise.
var ErrAddress = errors.New("this is not an address that letters can go to")

// The lengths that SMTP allows, in octets.
const (
	maxLocal = 64  // RFC 5321 4.5.3.1.1
	maxPath  = 254 // RFC 5321 4.5.3.1.3: 256 with the angle brackets
)

// Normalise writes an address in the one spelling that is kept: spaces around
// it gone, the domain in lower case and in ASCII (IDNA), the part before the @
// as it is. An address that plain SMTP cannot carry is an error that says how
// to mend it.
func Normalise(address string) (string, error) {
	address = strings.TrimFunc(address, func(r rune) bool { return unicode.IsSpace(r) || r == '\ufeff' || r == '\u200b' })
	local, domain, ok := cutLast(address, "@")
	switch {
	case address == "":
		return "", fault("it is empty; write one such as name@example.org")
	case !ok:
		return "", fault("it has no @; write one such as name@example.org")
	case !utf8.ValidString(address) || strings.ContainsRune(address, utf8.RuneError):
		return "", fault("it holds a character that was lost on the way here; type it again")
	case strings.ContainsAny(address, "<>"):
		return "", fault("write the address alone, without a name or < >")
	case strings.ContainsFunc(address, func(r rune) bool { return unicode.IsSpace(r) || r == ',' || r == ';' }):
		return "", fault("it holds a space, comma or semicolon; write one address alone")
	}
	if err := checkLocal(local); err != nil {
		return "", err
	}
	ascii, err := asciiDomain(domain)
	if err != nil {
		return "", err
	}
	if len(local)+1+len(ascii) > maxPath {
		return "", fault("it is longer than %d characters; look for something pasted on", maxPath)
	}
	return local + "@" + ascii, nil
}

func fault(format string, args ...any) error {
	return fmt.Errorf("%w: %s", ErrAddress, fmt.Sprintf(format, args...))
}

func cutLast(s, sep string) (before, after string, ok bool) {
	i := strings.LastIndex(s, sep)
	if i < 0 {
		return s, "", false
	}
	return s[:i], s[i+len(sep):], true
}

// checkLocal accepts a dot-atom (RFC 5322 3.2.3) in ASCII: a quoted one is
// almost always a slip, and other letters need SMTPUTF8, which many servers lack.
func checkLocal(local string) error {
	if len(local) > maxLocal {
		return fault("the part before the @ is longer than %d characters", maxLocal)
	}
	for atom := range strings.SplitSeq(local, ".") {
		if atom == "" {
			return fault("the part before the @ is empty, or has a dot at an end or two together")
		}
		for _, r := range atom {
			if r > unicode.MaxASCII {
				return fault("%q before the @ is outside ASCII; ask the person for another address", r)
			}
			letter := 'a' <= r && r <= 'z' || 'A' <= r && r <= 'Z' || '0' <= r && r <= '9'
			if !letter && !strings.ContainsRune("!#$%&'*+-/=?^_`{|}~", r) {
				return fault("%q may not stand before the @", r)
			}
		}
	}
	return nil
}

// asciiDomain writes a host name in lower case and ASCII.
func asciiDomain(domain string) (string, error) {
	profile := idna.New(idna.MapForLookup(), idna.BidiRule(), idna.StrictDomainName(true), idna.VerifyDNSLength(true))
	ascii, err := profile.ToASCII(domain)
	if err != nil {
		return "", fault("%q after the @ is not a domain name; check its spelling", domain)
	}
	// The dot of the root names the same host, and has no place in SMTP (RFC 5321 4.1.2).
	ascii = strings.TrimSuffix(ascii, ".")
	if slices.Contains(strings.Split(ascii, "."), "") {
		return "", fault("%q after the @ has a dot too many; check its spelling", domain)
	}
	if !strings.Contains(ascii, ".") {
		return "", fault("%q after the @ has no dot; write the whole domain", domain)
	}
	return ascii, nil
}
