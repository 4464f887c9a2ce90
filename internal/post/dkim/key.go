package dkim

import (
	"crypto"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/rsa"
	"crypto/x509"
	"encoding/base64"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"example.org/opencowl/internal/workspace"
)

// ErrKey is wrapped by errors about a file of a key.
var ErrKey = errors.New("this key cannot be used to sign letters")

// The kinds of keys, as k= of a record names them.
const (
	RSA     = workspace.KeyRSA
	Ed25519 = workspace.KeyEd25519
)

// bits is the length of an RSA key. RFC 8301 3.2: signers should use 2048 at least;
// longer records do not fit every DNS answer.
const bits = 2048

// Make makes a key of a kind in a new file that its owner alone may read. A file
// that is there already stays as it is, and gives fs.ErrExist.
func Make(path, kind string) error {
	var private any
	var err error
	switch kind {
	case RSA:
		private, err = rsa.GenerateKey(rand.Reader, bits)
	case Ed25519:
		_, private, err = ed25519.GenerateKey(rand.Reader)
	default:
		return fmt.Errorf("%s: %w: the kind %q is neither %s nor %s", path, ErrKey, kind, RSA, Ed25519)
	}
	if err != nil {
		return fmt.Errorf("%s: %w: %w", path, ErrKey, err)
	}
	der, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		return fmt.Errorf("%s: %w: %w", path, ErrKey, err)
	}
	return workspace.Writer{}.Create(path, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}), 0o600)
}

// Load reads the key of a domain and a selector. Where others may read its file,
// that is ended.
func Load(domain, selector, path string) (Key, error) {
	k := Key{Domain: strings.ToLower(domain), Selector: strings.ToLower(selector)}
	if !workspace.IsDNSName(k.Domain) || !workspace.IsDNSName(k.Selector) {
		return Key{}, fmt.Errorf("%w: %q and %q make no name in DNS", ErrKey, selector, domain)
	}
	data, err := readOwn(path)
	if err != nil {
		return Key{}, err
	}
	if k.private, err = parse(data); err != nil {
		return Key{}, fmt.Errorf("%s: %w: %w", path, ErrKey, err)
	}
	return k, nil
}

func readOwn(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("%s: %w: %w", path, ErrKey, err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, fmt.Errorf("%s: %w: %w", path, ErrKey, err)
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s: %w: it is no plain file", path, ErrKey)
	}
	if info.Mode().Perm()&0o077 != 0 {
		if err := f.Chmod(0o600); err != nil {
			return nil, fmt.Errorf("%s: %w: others may read it, and that cannot be changed (%v)", path, ErrKey, err)
		}
	}
	const most = 64 << 10 // bytes; a key has under four thousand
	data, err := io.ReadAll(io.LimitReader(f, most))
	if err != nil {
		return nil, fmt.Errorf("%s: %w: %w", path, ErrKey, err)
	}
	return data, nil
}

// parse reads a private key in PEM: PKCS #8 (RFC 5958), or PKCS #1 (RFC 8017) as
// other programs write it. Its errors hold nothing of the key.
func parse(data []byte) (crypto.Signer, error) {
	block, _ := pem.Decode(data)
	if block == nil {
		return nil, errors.New("it holds no PEM; make one with opencowl post --dkim-key")
	}
	var private any
	var err error
	if block.Type == "RSA PRIVATE KEY" {
		private, err = x509.ParsePKCS1PrivateKey(block.Bytes)
	} else {
		private, err = x509.ParsePKCS8PrivateKey(block.Bytes)
	}
	if err != nil {
		return nil, fmt.Errorf("its %q is no private key without a password", block.Type)
	}
	switch key := private.(type) {
	case *rsa.PrivateKey:
		if key.N.BitLen() < bits {
			return nil, fmt.Errorf("it has %d bits, and receivers ask for %d; make another", key.N.BitLen(), bits)
		}
		return key, nil
	case ed25519.PrivateKey:
		return key, nil
	}
	return nil, errors.New("it is neither RSA nor Ed25519")
}

// kind is the key's k=.
func (k Key) kind() string {
	if _, ok := k.private.(ed25519.PrivateKey); ok {
		return Ed25519
	}
	return RSA
}

// Covers says whether a receiver that looks for agreement between the signature
// and the sender, as DMARC does (RFC 7489 3.1.1, relaxed), finds it for the domain
// of From.
func (k Key) Covers(from string) bool {
	from = strings.ToLower(from)
	return from == k.Domain || strings.HasSuffix(from, "."+k.Domain)
}

func (k Key) place() string { return k.Selector + "._domainkey." + k.Domain }

// Record is what has to stand in DNS, so that receivers can check the signatures.
type Record struct {
	Name    string   `json:"name"`    // s1._domainkey.example.org
	Type    string   `json:"type"`    // TXT
	Value   string   `json:"value"`   // in one piece
	Strings []string `json:"strings"` // the same, in pieces of at most 255 octets (RFC 1035 3.3)
}

// Record is the key's record (RFC 6376 3.6.1, RFC 8463 4).
func (k Key) Record() (Record, error) {
	var public []byte
	var err error
	switch p := k.private.Public().(type) {
	case ed25519.PublicKey:
		public = p
	default:
		if public, err = x509.MarshalPKIXPublicKey(p); err != nil {
			return Record{}, fmt.Errorf("%s: %w: %w", k.place(), ErrKey, err)
		}
	}
	r := Record{Name: k.place(), Type: "TXT", Value: "v=DKIM1; k=" + k.kind() + "; p=" + base64.StdEncoding.EncodeToString(public)}
	const most = 255
	for rest := r.Value; rest != ""; {
		n := min(most, len(rest))
		r.Strings, rest = append(r.Strings, rest[:n]), rest[n:]
	}
	return r, nil
}

// String is the record as a line of a zone file (RFC 1035 5.1).
func (r Record) String() string {
	return r.Name + `. IN TXT ( "` + strings.Join(r.Strings, `" "`) + `" )`
}
