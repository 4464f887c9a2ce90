package member

import (
	"bufio"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"regexp"
	"strings"
	"time"

	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/workspace"
)

// Why says why a mark was set.
type Why string

const (
	markLeft      Why = "left"
	markForgotten Why = "forgotten"
	markBack      Why = "back" // joined anew, by their own confirmation
)

// A mark is an HMAC-SHA-256 of an address in 64 hexadecimal digits. Without the key
// nobody can tell whose it is, not even by trying addresses.
func (x key) mark(address string) string { return hex.EncodeToString(x.sum("mark", fold(address))) }

// fold is an address as it is compared: a mailbox may tell Ann from ann (RFC 5321
// 2.4), but no one is taken for two people here because of it. The address is as
// Normalise writes it.
func fold(address string) string { return strings.ToLower(address) }

// marksPath is the file of marks, beside that of the keys. It is outside the
// database's backups, and only grows: an old backup that is brought back has
// everybody leave again who left since.
func (k *Keys) marksPath() string { return strings.TrimSuffix(k.path, ".keys") + ".marks" }

// MarksPath is where the marks of people who left are.
func (k *Keys) MarksPath() string { return k.marksPath() }

// append adds marks of addresses to the file, and has them on the disk when it
// returns.
func (k *Keys) append(why Why, addresses ...string) error {
	if len(addresses) == 0 {
		return nil
	}
	all, err := k.need()
	if err != nil {
		return err
	}
	x := newest(all, forMarks)
	var b strings.Builder
	for _, a := range addresses {
		fmt.Fprintf(&b, "%s %s %s %s\n", store.FormatTime(k.now()), x.id, why, x.mark(a))
	}
	return workspace.Writer{}.Append(k.marksPath(), []byte(b.String()), 0o600)
}

// mark is one line of the file of marks.
type mark struct {
	why Why
	at  time.Time
}

var markLine = regexp.MustCompile(`^(\S+) ([0-9a-f]{4}) (left|forgotten|back) ([0-9a-f]{64})$`)

// marks reads the file: the last mark of each person, by the person's mark, and the
// key that made them. A missing file has none.
func (k *Keys) marks() (map[string]mark, key, error) {
	last := map[string]mark{}
	f, err := os.Open(k.marksPath())
	if errors.Is(err, fs.ErrNotExist) {
		return last, key{}, nil
	}
	if err != nil {
		return nil, key{}, fmt.Errorf("the marks of people who left cannot be read: %w", err)
	}
	defer f.Close()
	all, err := k.need()
	if err != nil {
		return nil, key{}, err
	}
	x := newest(all, forMarks)
	lines := bufio.NewScanner(f)
	for n := 1; lines.Scan(); n++ {
		found := markLine.FindStringSubmatch(lines.Text())
		if found == nil {
			continue // cut off in a crash, before anything counted on it
		}
		at, err := store.ParseTime(found[1])
		if err != nil || found[2] != x.id {
			return nil, key{}, fmt.Errorf("%s:%d: %w: the mark was made with the key %s; put the file of keys back that belongs to it", k.marksPath(), n, ErrKeys, found[2])
		}
		last[found[4]] = mark{Why(found[3]), at}
	}
	if err := lines.Err(); err != nil {
		return nil, key{}, fmt.Errorf("the marks of people who left cannot be read: %w", err)
	}
	return last, x, nil
}
