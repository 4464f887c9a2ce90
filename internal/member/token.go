package member

import (
	"crypto/hmac"
	"encoding/base32"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"
)

// Purpose is what a token lets its bearer do. A token of one purpose is none of
// another.
type Purpose byte

const (
	// ToJoin confirms that the owner of an address wants the letters.
	ToJoin Purpose = 1
	// ToLeave lets a member leave. It has no end: a link in an old letter works.
	ToLeave Purpose = 2
	// ToPause lets a member pause, and come back from a pause.
	ToPause Purpose = 3
	// ToReturn names a member to whom a letter went, in its envelope. It grants nothing.
	ToReturn Purpose = 4
)

// word is the purpose in an address on the web.
func (p Purpose) word() string {
	switch p {
	case ToJoin:
		return "join"
	case ToLeave:
		return "leave"
	case ToPause:
		return "pause"
	case ToReturn:
		return "return"
	}
	return ""
}

// outlives says whether tokens of the purpose still hold when a newer key has been
// made: where they take letters away, or nothing at all.
func (p Purpose) outlives() bool { return p == ToLeave || p == ToReturn }

var (
	// ErrToken is returned for what is no token of ours, or of another purpose.
	ErrToken = errors.New("this link is not one of ours, or was cut short on the way; open it from the letter again")
	// ErrOver is returned for a token of ours that no longer counts.
	ErrOver = errors.New("this link no longer counts; ask for a new one")
)

// Claim is what a token that holds says.
type Claim struct {
	Member  string    // id
	Expires time.Time // zero: never
}

// A token is these bytes in base32, lower case, without padding: it lives through
// programs that fold case, through a phone call and through the part of an address
// before the @ (56 characters when it has no end; RFC 5321 4.5.3.1.1 gives 64).
//
//	1  version (high four bits) and purpose
//	2  name of the key
//	16 member id
//	4  seconds since 1970 when it ends; absent when it has no end
//	16 the first half of HMAC-SHA-256 of all before (RFC 2104 5: not less than half)
const (
	tokenVersion = 1 << 4
	tokenHead    = 1 + 2 + 16
	tokenMAC     = 16
)

func alphabet() *base32.Encoding {
	return base32.NewEncoding("abcdefghijklmnopqrstuvwxyz234567").WithPadding(base32.NoPadding)
}

// Token makes a token for a member, with the newest key. A zero end is none.
func (k *Keys) Token(p Purpose, memberID string, expires time.Time) (string, error) {
	id, err := hex.DecodeString(memberID)
	if err != nil || len(id) != 16 || p.word() == "" {
		return "", fmt.Errorf("no token can be made for member %q and purpose %d: an id has 32 hexadecimal digits", memberID, p)
	}
	all, err := k.need()
	if err != nil {
		return "", err
	}
	x := newest(all, forLinks)
	name, _ := hex.DecodeString(x.id) // parseKeys has looked at it
	b := append([]byte{tokenVersion | byte(p)}, name...)
	b = append(b, id...)
	if !expires.IsZero() {
		if s := expires.Unix(); s < 0 || s > math.MaxUint32 {
			return "", fmt.Errorf("no token can end on %s; name a day between 1970 and 2105", expires)
		}
		b = binary.BigEndian.AppendUint32(b, uint32(expires.Unix()))
	}
	return alphabet().EncodeToString(append(b, x.sum("token", string(b))[:tokenMAC]...)), nil
}

// Check reads a token and returns what it says if one of our keys made it for this
// purpose. Letters may be of either case. It takes the same time for every token of
// a length, whatever is wrong with it. ErrToken and ErrOver tell what to say.
func (k *Keys) Check(p Purpose, token string, now time.Time) (Claim, error) {
	all, err := k.need()
	if err != nil {
		return Claim{}, err
	}
	token = strings.ToLower(strings.TrimSpace(token))
	b, err := alphabet().DecodeString(token)
	if err != nil || len(b) != tokenHead+tokenMAC && len(b) != tokenHead+4+tokenMAC || alphabet().EncodeToString(b) != token {
		return Claim{}, ErrToken
	}
	body, mac := b[:len(b)-tokenMAC], b[len(b)-tokenMAC:]
	made := newest(all, forLinks) // also reckoned with when the key is unknown, for the time it takes
	latest := made.id
	for _, x := range all {
		if x.use == forLinks && x.id == hex.EncodeToString(body[1:3]) {
			made = x
		}
	}
	same := hmac.Equal(made.sum("token", string(body))[:tokenMAC], mac)
	if !same || body[0] != tokenVersion|byte(p) {
		return Claim{}, ErrToken
	}
	c := Claim{Member: hex.EncodeToString(body[3:tokenHead])}
	if len(body) > tokenHead {
		c.Expires = time.Unix(int64(binary.BigEndian.Uint32(body[tokenHead:])), 0).UTC()
	}
	if made.id != latest && !p.outlives() || !c.Expires.IsZero() && !now.Before(c.Expires) {
		return Claim{}, ErrOver
	}
	return c, nil
}

// Link is the address on the web where a token is used: below the public pages'
// address, join/TOKEN, leave/TOKEN and so on.
func Link(publicURL string, p Purpose, token string) string {
	return strings.TrimSuffix(publicURL, "/") + "/" + p.word() + "/" + token
}
