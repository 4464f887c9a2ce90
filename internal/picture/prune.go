package picture

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
)

// Store is what stood in a Cache's folder at one moment.
type Store struct {
	dir    string
	lists  []string
	copies []string
}

// Pruned says what Prune took away.
type Pruned struct {
	Copies int   // public copies
	Bytes  int64 // that they had
}

var (
	copyName = regexp.MustCompile(`^[0-9a-f]{32}\.jpg$`)
	listName = regexp.MustCompile(`^[0-9a-f]{64}\.list$`)
)

// LookAt notes which files stand in a Cache's folder. A missing folder is empty.
//
// To prune beside other processes: look first, then read what is wanted, then
// prune. What another process makes after the look is left alone, and what it made
// before, for a reader of the same tags, is among what is wanted.
func LookAt(dir string) (*Store, error) {
	entries, err := os.ReadDir(dir)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("picture: the public copies cannot be listed: %w", err)
	}
	s := &Store{dir: dir}
	for _, e := range entries {
		switch name := e.Name(); {
		case !e.Type().IsRegular():
		case copyName.MatchString(name):
			s.copies = append(s.copies, name)
		case listName.MatchString(name):
			s.lists = append(s.lists, name)
		}
	}
	return s, nil
}

// Prune removes the copies among those looked at whose names are not wanted, and
// the lists that name one of them. Files of other names are left alone. Each file
// goes whole or stays; a list goes before its copies, so that nobody finds a list
// whose copies are about to go. A process that was told of a copy before, and opens
// it after, is told that it is gone and to ask again.
func (s *Store) Prune(wanted func(name string) bool) (Pruned, error) {
	var c Cache
	for _, list := range s.lists {
		data, err := os.ReadFile(filepath.Join(s.dir, list))
		if errors.Is(err, fs.ErrNotExist) {
			continue // somebody else was quicker
		}
		if err != nil {
			return Pruned{}, pruning(err)
		}
		if infos, sound := c.parseList(data); sound && all(infos, wanted) {
			continue
		}
		if err := remove(filepath.Join(s.dir, list)); err != nil {
			return Pruned{}, err
		}
	}
	var gone Pruned
	for _, name := range s.copies {
		if wanted(name) {
			continue
		}
		path := filepath.Join(s.dir, name)
		info, err := os.Lstat(path)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return gone, pruning(err)
		}
		if err := remove(path); err != nil {
			return gone, err
		}
		gone.Copies++
		gone.Bytes += info.Size()
	}
	return gone, nil
}

func all(infos []CopyInfo, wanted func(name string) bool) bool {
	for _, i := range infos {
		if !wanted(i.Name) {
			return false
		}
	}
	return true
}

func remove(path string) error {
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return pruning(err)
	}
	return nil
}

func pruning(err error) error {
	return fmt.Errorf("picture: a public copy that is no longer wanted cannot be removed; check that the folder may be written: %w", err)
}
