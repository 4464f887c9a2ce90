// Package dkim signs letters by RFC 6376, with RSA or, by RFC 8463, with Ed25519.
// It keeps the keys in files, and writes the DNS record of each.
//
// It promises that a key file is never written over, that a private key gets into
// nothing but its file, and that the same letter and key give the same signature:
// there is no time in it. It must not know who gets a letter or what it says.
package dkim

import (
	"bytes"
	"crypto"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"
)

// ErrLetter is wrapped by errors about a letter that cannot be signed.
var ErrLetter = errors.New("this letter cannot be signed")

// Key is a private key, and the place in DNS where its public half is.
type Key struct {
	Domain   string // d= of the signature: "example.org"
	Selector string // s= of the signature: "s1"
	private  crypto.Signer
}

// algorithm is the a= of a signature.
func (k Key) algorithm() string { return k.kind() + "-sha256" }

// covered are the fields that a signature covers. The last row makes those that
// must stand once stand once more than they do, so that the signature breaks when
// another is added (RFC 6376 5.4.2). Reply-To and Cc are in no letter: nobody may
// add them either. RFC 8058 3.1 wants both of List-Unsubscribe covered.
func covered() []string {
	return strings.Fields(`from to subject date message-id mime-version content-type
		list-id list-post list-unsubscribe list-unsubscribe-post auto-submitted
		from to subject date message-id mime-version content-type list-unsubscribe list-unsubscribe-post reply-to cc`)
}

// Sign returns a letter with one signature of each key before it. Its lines must
// end in CRLF.
func Sign(letter []byte, keys ...Key) ([]byte, error) {
	fields, body, err := cut(letter)
	if err != nil {
		return nil, err
	}
	sum := bodyHash(body)
	var signed bytes.Buffer
	for _, k := range keys {
		if k.private == nil {
			return nil, fmt.Errorf("%w: there is no key for %s", ErrLetter, k.place())
		}
		header, err := signature(k, "d="+k.Domain+"; s="+k.Selector, covered(), fields, sum)
		if err != nil {
			return nil, err
		}
		signed.WriteString(header)
	}
	signed.Write(letter)
	return signed.Bytes(), nil
}

// field is one header field: its name in lower case, and the whole of it with
// folds and CRLF.
type field struct{ name, whole string }

// cut parts a letter into header fields and body.
func cut(letter []byte) (fields []field, body []byte, err error) {
	head, body, found := bytes.Cut(letter, []byte("\r\n\r\n"))
	if !found {
		return nil, nil, fmt.Errorf("%w: no empty line ends its header", ErrLetter)
	}
	senders := 0
	for line := range strings.SplitSeq(string(head), "\r\n") {
		if strings.HasPrefix(line, " ") || strings.HasPrefix(line, "\t") {
			if len(fields) == 0 {
				return nil, nil, fmt.Errorf("%w: its header begins with half a field", ErrLetter)
			}
			fields[len(fields)-1].whole += line + "\r\n"
			continue
		}
		name, _, found := strings.Cut(line, ":")
		if !found || strings.TrimSpace(name) == "" {
			return nil, nil, fmt.Errorf("%w: a line of its header is no field", ErrLetter)
		}
		f := field{strings.ToLower(strings.TrimRight(name, " \t")), line + "\r\n"}
		if f.name == "from" {
			senders++
		}
		fields = append(fields, f)
	}
	if senders != 1 {
		return nil, nil, fmt.Errorf("%w: it has %d senders, not one", ErrLetter, senders)
	}
	return fields, body, nil
}

// signature makes a DKIM-Signature field. Tags are those between c= and h=.
func signature(k Key, tags string, names []string, fields []field, bodySum []byte) (string, error) {
	header := folded("DKIM-Signature: v=1; a="+k.algorithm()+"; c=relaxed/relaxed; "+tags+"; h="+strings.Join(names, " : ")+
		"; bh="+base64.StdEncoding.EncodeToString(bodySum)+";") + "\r\n b="
	sum := sha256.New()
	for _, f := range pick(fields, names) {
		sum.Write([]byte(relaxedField(f)))
	}
	// RFC 6376 3.7: the signature's own field comes last, b= empty, without its CRLF.
	sum.Write([]byte(strings.TrimSuffix(relaxedField(header+"\r\n"), "\r\n")))
	// RFC 8463 3: Ed25519 signs the hash as if it were the message.
	var how crypto.SignerOpts = crypto.SHA256
	if _, pure := k.private.(ed25519.PrivateKey); pure {
		how = crypto.Hash(0)
	}
	b, err := k.private.Sign(rand.Reader, sum.Sum(nil), how)
	if err != nil {
		return "", fmt.Errorf("the key for %s does not sign: %w", k.place(), err)
	}
	const width = 72
	text := base64.StdEncoding.EncodeToString(b)
	for len(text) > width {
		header, text = header+text[:width]+"\r\n ", text[width:]
	}
	return header + text + "\r\n", nil
}

// pick returns the fields that the names stand for: of several with one name, the
// last comes first (RFC 6376 5.4.2). A name with no field left stands for none.
func pick(fields []field, names []string) []string {
	var found []string
	taken := map[int]bool{}
	for _, name := range names {
		for i := len(fields) - 1; i >= 0; i-- {
			if fields[i].name == name && !taken[i] {
				taken[i] = true
				found = append(found, fields[i].whole)
				break
			}
		}
	}
	return found
}

// relaxedField is the canonical form of a field (RFC 6376 3.4.2).
func relaxedField(f string) string {
	name, value, _ := strings.Cut(f, ":")
	value = strings.ReplaceAll(value, "\r\n", "")
	return strings.ToLower(strings.TrimRight(name, " \t")) + ":" + strings.Join(strings.FieldsFunc(value, isGap), " ") + "\r\n"
}

func isGap(r rune) bool { return r == ' ' || r == '\t' }

// bodyHash is the SHA-256 of a body in its relaxed canonical form.
func bodyHash(body []byte) []byte {
	sum := sha256.New()
	sum.Write(relaxedBody(body))
	return sum.Sum(nil)
}

// relaxedBody is the canonical form of a body (RFC 6376 3.4.4): a gap is one space,
// none ends a line, no empty line ends the body, and a body with a line ends in CRLF.
func relaxedBody(body []byte) []byte {
	plain := make([]byte, 0, len(body)+2)
	end := 0 // of the last line that holds anything
	for len(body) > 0 {
		line, rest, _ := bytes.Cut(body, []byte("\r\n"))
		line = bytes.TrimRight(line, " \t")
		gap := false
		for _, c := range line {
			if c == ' ' || c == '\t' {
				if !gap {
					plain = append(plain, ' ')
				}
				gap = true
				continue
			}
			plain, gap = append(plain, c), false
		}
		plain = append(plain, '\r', '\n')
		if len(line) > 0 {
			end = len(plain)
		}
		body = rest
	}
	return plain[:end]
}

// folded breaks a field at spaces into lines of at most 78 characters, where that
// can be done (RFC 5322 2.1.1).
func folded(text string) string {
	var b strings.Builder
	room := 78
	for i, word := range strings.Split(text, " ") {
		switch {
		case i == 0:
		case len(word)+1 > room:
			b.WriteString("\r\n ")
			room = 77
		default:
			b.WriteByte(' ')
			room--
		}
		b.WriteString(word)
		room -= len(word)
	}
	return b.String()
}
