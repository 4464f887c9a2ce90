package member

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"time"

	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/store"
)

// WordingDir is the folder of a workspace that holds what people are told when they
// agree, a file consent/VERSION.md for each version of it.
const WordingDir = "consent"

var (
	// ErrNoWording is returned for a version of which there is no file.
	ErrNoWording = errors.New("there are no such words")
	// ErrReworded is returned for a file that changed after people had agreed to it.
	ErrReworded = errors.New("these words changed after people had agreed to them")
)

// Wording is what people are told when they agree (UK GDPR Art 7(1): whoever
// writes to somebody must be able to show it).
type Wording struct {
	Version string
	Words   string
	Digest  string // SHA-256 of Words, in hexadecimal
}

// Wordings finds the words of a version, or ErrNoWording.
type Wordings func(version string) (Wording, error)

// WordingsIn returns the words that the files of a workspace hold.
func WordingsIn(root *os.Root) Wordings {
	return func(version string) (Wording, error) {
		name := WordingDir + "/" + version + ".md"
		if !reading.IsID(version) {
			return Wording{}, fmt.Errorf("%q: %w: a version is lower-case words and digits joined by hyphens, and its words are in %s/VERSION.md", version, ErrNoWording, WordingDir)
		}
		if _, err := root.Stat(name); errors.Is(err, fs.ErrNotExist) {
			return Wording{}, fmt.Errorf("%s: %w; write there what the person was told, word for word", name, ErrNoWording)
		}
		text, problem := reading.Text(root, name)
		if problem != nil {
			return Wording{}, *problem
		}
		// Line ends are not words: the same file has the same digest on every machine.
		return newWording(version, strings.TrimSpace(strings.ReplaceAll(string(text), "\r\n", "\n"))+"\n"), nil
	}
}

func newWording(version, words string) Wording {
	sum := sha256.Sum256([]byte(words))
	return Wording{version, words, hex.EncodeToString(sum[:])}
}

// keepWording keeps words in the database the first time somebody agrees to them.
// Other words under a version that is kept give ErrReworded.
func keepWording(ctx context.Context, tx *sql.Tx, w Wording, at time.Time) error {
	kept, err := keptWording(ctx, tx, w.Version)
	switch {
	case err != nil:
		return err
	case kept.Digest == w.Digest:
		return nil
	case kept.Digest != "":
		return fmt.Errorf("%s/%s.md: %w; save the new ones as a new version, and put the old ones back", WordingDir, w.Version, ErrReworded)
	}
	if _, err := tx.ExecContext(ctx, `INSERT INTO consent_wordings (version, digest, words, kept_at) VALUES ($1, $2, $3, $4)`,
		w.Version, w.Digest, w.Words, store.FormatTime(at)); err != nil {
		return fmt.Errorf("the words of %s cannot be kept: %w", w.Version, err)
	}
	return nil
}

// keptWording returns the words of a version as they were when somebody first agreed
// to them; the zero value when nobody has.
func keptWording(ctx context.Context, tx *sql.Tx, version string) (Wording, error) {
	w := Wording{Version: version}
	err := tx.QueryRowContext(ctx, `SELECT words, digest FROM consent_wordings WHERE version = $1`, version).Scan(&w.Words, &w.Digest)
	if errors.Is(err, sql.ErrNoRows) {
		return Wording{}, nil
	}
	if err != nil {
		return Wording{}, fmt.Errorf("the words of %s cannot be read: %w", version, err)
	}
	return w, nil
}
