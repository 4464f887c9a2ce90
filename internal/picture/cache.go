package picture

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"

	"example.org/opencowl/internal/cleared"
)

// pipeline is part of every cache key. It is raised whenever the same original
// and recipe would give other bytes than before.
const pipeline = "2"

// Cache keeps public copies in a folder, so that a photo is decoded again only
// when the original, its recipe or this package changes. It holds public bytes
// and digests, no names and no originals: the whole folder may be deleted at any
// time. Several goroutines and processes may share it. However many goroutines
// ask, the pictures that are being made at one time take no more than a fixed
// amount of memory together, or are one.
type Cache struct {
	dir   string
	room  *room
	write func(name string, data []byte) error
	make  func(context.Context, []byte, Recipe) ([]Copy, error)
}

// CopyInfo is a public copy that a Cache keeps.
type CopyInfo struct {
	Use           cleared.Use
	Width, Height int    // pixels
	Name          string // as in Copy

	// Open returns the bytes. It fails if they are no longer those that Name
	// says; asking the cache for the copies again remakes them.
	Open func() ([]byte, error)
}

// NewCache returns the cache in a folder. write puts a file there under a bare
// name so that a reader sees all of it or none, also when two processes write
// the same name; nil means a file beside it and a rename, in a folder made at need.
func NewCache(dir string, write func(name string, data []byte) error) *Cache {
	c := &Cache{dir: dir, room: newRoom(makingMemory), write: write, make: Make}
	if write == nil {
		c.write = c.replace
	}
	return c
}

// Copies returns what Make would, from the folder where it can. Files that are
// missing there or damaged are made again. The errors are those of Make, or of
// writing to the folder.
func (c *Cache) Copies(ctx context.Context, original []byte, r Recipe) ([]CopyInfo, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	list := key(original, r) + ".list"
	if kept, ok := c.kept(list); ok {
		return kept, nil
	}
	made, err := c.makeInTurn(ctx, original, r)
	if err != nil {
		return nil, err
	}
	infos := make([]CopyInfo, len(made))
	for i, m := range made {
		if _, err := c.read(m.Name); err != nil {
			if err := c.write(m.Name, m.JPEG); err != nil {
				return nil, keeping(err)
			}
		}
		infos[i] = c.info(m.Use, m.Width, m.Height, m.Name)
	}
	// The list comes last: where there is one, the copies were all there.
	if err := c.write(list, formatList(infos)); err != nil {
		return nil, keeping(err)
	}
	return infos, nil
}

// makeInTurn makes copies once there is room for the picture.
func (c *Cache) makeInTurn(ctx context.Context, original []byte, r Recipe) ([]Copy, error) {
	takes, err := memory(original, r)
	if err != nil {
		return nil, err
	}
	leave, err := c.room.enter(ctx, takes)
	if err != nil {
		return nil, err
	}
	defer leave()
	return c.make(ctx, original, r)
}

func keeping(err error) error {
	return fmt.Errorf("picture: the public copies of a photo cannot be kept; check that the disk has room and that the folder may be written: %w", err)
}

// key is a digest of everything that shapes the copies. Every part has its
// length before it, so that no two recipes run together alike.
func key(original []byte, r Recipe) string {
	h := sha256.New()
	part := func(data []byte) {
		h.Write(binary.BigEndian.AppendUint64(nil, uint64(len(data))))
		h.Write(data)
	}
	number := func(v float64) { part(binary.BigEndian.AppendUint64(nil, math.Float64bits(v))) }
	part([]byte(pipeline))
	part(original)
	number(r.focus().X)
	number(r.focus().Y)
	part(binary.BigEndian.AppendUint64(nil, uint64(len(r.Hide))))
	for _, b := range r.Hide {
		number(b.X)
		number(b.Y)
		number(b.W)
		number(b.H)
	}
	for _, text := range []string{r.Alt, r.Caption, r.Credit, r.Copyright} {
		part([]byte(text))
	}
	for _, u := range r.uses() {
		part([]byte(u))
	}
	return hex.EncodeToString(h.Sum(nil))
}

// kept returns the copies that a list names, if it and all of them are sound.
func (c *Cache) kept(list string) ([]CopyInfo, bool) {
	data, err := os.ReadFile(filepath.Join(c.dir, list))
	if err != nil {
		return nil, false
	}
	infos, ok := c.parseList(data)
	if !ok {
		return nil, false
	}
	for _, i := range infos {
		if _, err := c.read(i.Name); err != nil {
			return nil, false
		}
	}
	return infos, true
}

// read returns a copy, if its bytes are those that its name says.
func (c *Cache) read(name string) ([]byte, error) {
	data, err := os.ReadFile(filepath.Join(c.dir, name))
	if err != nil {
		return nil, fmt.Errorf("picture: a public copy is gone; make the pictures again: %w", err)
	}
	if nameOf(data) != name {
		return nil, errors.New("picture: a public copy was changed on the disk; make the pictures again")
	}
	return data, nil
}

func (c *Cache) info(u cleared.Use, width, height int, name string) CopyInfo {
	return CopyInfo{Use: u, Width: width, Height: height, Name: name, Open: func() ([]byte, error) { return c.read(name) }}
}

// formatList writes one line a copy, and last the digest of those lines.
func formatList(infos []CopyInfo) []byte {
	var b bytes.Buffer
	for _, i := range infos {
		fmt.Fprintf(&b, "%s %d %d %s\n", i.Use, i.Width, i.Height, i.Name)
	}
	sum := sha256.Sum256(b.Bytes())
	fmt.Fprintf(&b, "%x\n", sum)
	return b.Bytes()
}

// parseList reads what formatList wrote, and nothing else.
func (c *Cache) parseList(data []byte) ([]CopyInfo, bool) {
	lines := strings.SplitAfter(string(data), "\n")
	if len(lines) < 3 {
		return nil, false
	}
	var infos []CopyInfo
	for _, line := range lines[:len(lines)-2] {
		var use, name string
		var width, height int
		if _, err := fmt.Sscanf(line, "%s %d %d %s\n", &use, &width, &height, &name); err != nil {
			return nil, false
		}
		infos = append(infos, c.info(cleared.Use(use), width, height, name))
	}
	return infos, bytes.Equal(formatList(infos), data)
}

// replace is the default way to write.
func (c *Cache) replace(name string, data []byte) error {
	if err := os.MkdirAll(c.dir, 0o755); err != nil {
		return err
	}
	f, err := os.CreateTemp(c.dir, "new-*")
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	err = errors.Join(err, f.Chmod(0o644), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), filepath.Join(c.dir, name))
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return nil
}
