package post

import (
	"fmt"
	"net/url"
	"regexp"
	"strings"
	"time"

	"example.org/opencowl/internal/member"
)

// Tokens makes the words in a letter that say which member it went to. The
// members' keys are one.
type Tokens interface {
	Token(p member.Purpose, memberID string, expires time.Time) (string, error)
}

// nobody is the id of no member: proofs and trials are made out to it, so that
// their links do nothing.
const nobody = "00000000000000000000000000000000"

const (
	// maxLocal is the longest part before the @ of an address (RFC 5321 4.5.3.1.1).
	maxLocal = 64
	// maxToken is the longest token, in characters.
	maxToken = 56
)

var (
	tokenShape = regexp.MustCompile(`^[A-Za-z0-9-]+$`)
	// What a header may hold of an address on the web: nothing that ends the angle
	// brackets of RFC 2369 2, and no query that a token would get into.
	publicShape = regexp.MustCompile(`^https://[A-Za-z0-9.-]+(?::[0-9]{1,5})?(?:/[A-Za-z0-9._~-]+)*/?$`)
)

// checkLeaving refuses a job whose letters could not say how to leave.
func (j Job) checkLeaving(returns string) error {
	if j.Tokens == nil {
		return badLetter("it has no way to leave")
	}
	if j.PublicURL != "" && (!publicShape.MatchString(j.PublicURL) || len(j.PublicURL) > 400) {
		return badLetter("public_url %q must look like https://update.example.org/", j.PublicURL)
	}
	local, _, _ := strings.Cut(returns, "@")
	if most := maxLocal - maxToken - len("+"); len(local) > most {
		return badLetter("the address %s in post.returns has more than %d characters before the @, which leaves no room to tell whose letter came back; take one such as returns@example.org", returns, most)
	}
	return nil
}

// token is a token that cannot be taken for anything else in a header.
func (j Job) token(p member.Purpose, id string) (string, error) {
	token, err := j.Tokens.Token(p, id, time.Time{})
	if err != nil {
		return "", err
	}
	if !tokenShape.MatchString(token) || len(token) > maxToken {
		return "", fmt.Errorf("a token is not 1 to %d letters, digits and hyphens", maxToken)
	}
	return token, nil
}

// listHeaders are the fields by which a mail reader offers to leave.
type listHeaders struct {
	addresses []string // RFC 2369 3.2: the page, if there is one, and the address to write to
	oneClick  bool     // RFC 8058: the page is among them
}

// unsubscribe is the field's value, an address a line.
func (h listHeaders) unsubscribe() string { return "<" + strings.Join(h.addresses, ">,\r\n <") + ">" }

// leaving makes them for a member. The page on the web comes first: a reader takes
// the first that it can use (RFC 2369 2). The letter to leave by has the token in
// its subject, so that any mailbox takes it.
func (s sender) leaving(j Job, id string) (listHeaders, error) {
	token, err := j.token(member.ToLeave, id)
	if err != nil {
		return listHeaders{}, err
	}
	local, domain, _ := strings.Cut(s.returns, "@")
	write := "mailto:" + url.PathEscape(local) + "@" + domain + "?subject=leave-" + token
	if j.PublicURL == "" {
		return listHeaders{addresses: []string{write}}, nil
	}
	return listHeaders{[]string{member.Link(j.PublicURL, member.ToLeave, token), write}, true}, nil
}

// envelope is the sender that a letter has on its way: returns+TOKEN@example.org,
// where the token names the member. What comes back is sent to that address, so
// that it says whose letter it was, whatever is in it.
func (s sender) envelope(j Job, id string) (string, error) {
	token, err := j.token(member.ToReturn, id)
	if err != nil {
		return "", err
	}
	local, domain, _ := strings.Cut(s.returns, "@")
	return local + "+" + token + "@" + domain, nil
}
