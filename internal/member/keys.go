package member

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/workspace"
)

// ErrKeys is wrapped by errors about the file of keys.
var ErrKeys = errors.New("the members' keys cannot be used")

// Keys are the keys that guard the members: those of the links in letters, and the
// one of the marks by which people who left or asked to be forgotten are known. They
// are in a file of their own, outside the database and its backups, made at first
// need and readable by its owner alone. The file is read at each use, so that a
// new key counts at once in every process. Keys is safe for use by several
// goroutines.
type Keys struct {
	path string
	now  func() time.Time
	rand io.Reader
}

// KeysIn returns the keys of a file. Nothing is read or made yet. A nil random
// source is the system's.
func KeysIn(path string, now func() time.Time, random io.Reader) *Keys {
	if random == nil {
		random = rand.Reader
	}
	return &Keys{path: path, now: now, rand: random}
}

// Path is where the keys are.
func (k *Keys) Path() string { return k.path }

// What a key is for.
const (
	forMarks = "marks"
	forLinks = "links"
)

// key is one line of the file.
type key struct {
	use    string // forMarks or forLinks
	id     string // 4 hexadecimal digits
	made   day.Date
	secret []byte // 32 bytes
}

// KeyInfo is what may be said of a key.
type KeyInfo struct {
	Use  string   `json:"use"`
	ID   string   `json:"id"`
	Made day.Date `json:"made"`
}

const keysHead = `# The keys that guard the members. Whoever has this file can make links that are taken for
# a member's own, and can find out whether an address was here.
# Keep it out of backups of the database, and keep a copy in another safe place: without it
# nobody can tell whom a list must not bring back. Do not edit it.
`

// List says which keys there are, the newest of each use last; none before any was
// needed.
func (k *Keys) List() ([]KeyInfo, error) {
	all, err := k.read()
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	var infos []KeyInfo
	for _, x := range all {
		infos = append(infos, KeyInfo{x.use, x.id, x.made})
	}
	return infos, err
}

// Rotate adds a new key for links. Links made before it still let people leave;
// they no longer let anybody join.
func (k *Keys) Rotate() (KeyInfo, error) {
	all, err := k.need()
	if err != nil {
		return KeyInfo{}, err
	}
	fresh, err := k.fresh(forLinks, all)
	if err != nil {
		return KeyInfo{}, err
	}
	if err := (workspace.Writer{}).WriteFile(k.path, writeKeys(append(all, fresh)), 0o600); err != nil {
		return KeyInfo{}, err
	}
	return KeyInfo{fresh.use, fresh.id, fresh.made}, nil
}

// read returns the keys of the file; a missing file gives fs.ErrNotExist.
func (k *Keys) read() ([]key, error) {
	f, err := os.Open(k.path)
	if err != nil {
		return nil, fmt.Errorf("%s: %w: %w", k.path, ErrKeys, err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, fmt.Errorf("%s: %w: %w", k.path, ErrKeys, err)
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s: %w: it is no plain file", k.path, ErrKeys)
	}
	if info.Mode().Perm()&0o077 != 0 {
		if err := f.Chmod(0o600); err != nil {
			return nil, fmt.Errorf("%s: %w: others may read it, and that cannot be changed (%v)", k.path, ErrKeys, err)
		}
	}
	const most = 1 << 20 // bytes: thousands of keys
	text, err := io.ReadAll(io.LimitReader(f, most))
	if err != nil {
		return nil, fmt.Errorf("%s: %w: %w", k.path, ErrKeys, err)
	}
	all, err := parseKeys(string(text))
	if err != nil {
		return nil, fmt.Errorf("%s: %w: %w; put the copy of it back that you keep elsewhere", k.path, ErrKeys, err)
	}
	return all, nil
}

// need is read, and makes the file when it is missing.
func (k *Keys) need() ([]key, error) {
	all, err := k.read()
	if !errors.Is(err, fs.ErrNotExist) {
		return all, err
	}
	// Marks without their key would let in whom they keep out.
	if _, err := os.Stat(k.marksPath()); err == nil {
		return nil, fmt.Errorf("%s: %w: it is gone, and %s needs it; put the copy of it back that you keep elsewhere", k.path, ErrKeys, k.marksPath())
	}
	marks, err1 := k.fresh(forMarks, nil)
	links, err2 := k.fresh(forLinks, nil)
	if err := errors.Join(err1, err2); err != nil {
		return nil, err
	}
	err = workspace.Writer{}.Create(k.path, writeKeys([]key{marks, links}), 0o600)
	if err != nil && !errors.Is(err, fs.ErrExist) {
		return nil, err
	}
	return k.read() // another process may have been first
}

// fresh makes a key whose name none of the others has.
func (k *Keys) fresh(use string, others []key) (key, error) {
	for {
		b := make([]byte, 2+32)
		if _, err := io.ReadFull(k.rand, b); err != nil {
			return key{}, fmt.Errorf("no random bytes to be had for a key: %w", err)
		}
		id := hex.EncodeToString(b[:2])
		if !slices.ContainsFunc(others, func(x key) bool { return x.id == id }) {
			return key{use: use, id: id, made: day.Of(k.now()), secret: b[2:]}, nil
		}
	}
}

func writeKeys(all []key) []byte {
	var b strings.Builder
	b.WriteString(keysHead)
	for _, x := range all {
		fmt.Fprintf(&b, "%s %s %s %s\n", x.use, x.id, x.made, base64.StdEncoding.EncodeToString(x.secret))
	}
	return []byte(b.String())
}

func parseKeys(text string) ([]key, error) {
	var all []key
	uses := map[string]int{}
	n := 0
	for line := range strings.Lines(text) {
		if n++; strings.HasPrefix(line, "#") || strings.TrimSpace(line) == "" {
			continue
		}
		words := strings.Fields(line)
		if len(words) != 4 || !strings.HasSuffix(line, "\n") {
			return nil, fmt.Errorf("line %d is not a whole key", n)
		}
		x := key{use: words[0], id: words[1]}
		id, err1 := hex.DecodeString(x.id)
		var err2, err3 error
		x.made, err2 = day.Parse(words[2])
		x.secret, err3 = base64.StdEncoding.Strict().DecodeString(words[3])
		if x.use != forMarks && x.use != forLinks || err1 != nil || len(id) != 2 || x.id != strings.ToLower(x.id) || err2 != nil || err3 != nil || len(x.secret) != 32 {
			return nil, fmt.Errorf("line %d is not a key", n)
		}
		if slices.ContainsFunc(all, func(y key) bool { return y.id == x.id }) {
			return nil, fmt.Errorf("line %d is a second key of the name %s", n, x.id)
		}
		all, uses[x.use] = append(all, x), uses[x.use]+1
	}
	if uses[forMarks] != 1 || uses[forLinks] == 0 {
		return nil, errors.New("it must hold one key for marks, and one or more for links")
	}
	return all, nil
}

// newest returns the last key of a use.
func newest(all []key, use string) key {
	for _, x := range slices.Backward(all) {
		if x.use == use {
			return x
		}
	}
	panic("member: keys that parseKeys took without one for " + use) // it takes none such
}

// sum is HMAC-SHA-256 (RFC 2104, FIPS 180-4) of parts, each with its length before
// it, so that no two different lists of parts are taken for each other.
func (x key) sum(parts ...string) []byte {
	h := hmac.New(sha256.New, x.secret)
	for _, p := range parts {
		fmt.Fprintf(h, "%d:%s", len(p), p)
	}
	return h.Sum(nil)
}
