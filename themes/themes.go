// Package themes embeds the card faces, the words of cards, the fonts, where words
// may be broken, and the Hugo themes of the archive and the letter. A workspace may
// lay a file of the same name over any of them, in its own themes folder.
package themes

import (
	"embed"
	"errors"
	"io/fs"
	"slices"
	"strings"
)

//go:embed all:faces all:words all:fonts all:hyphenation all:archive all:letter
var embedded embed.FS

// Embedded returns the themes as they were built in.
func Embedded() fs.FS { return embedded }

// Over returns the embedded themes with the files of a workspace's themes
// folder laid over them. Folder listings hold the files of both.
func Over(workspace fs.FS) fs.FS { return overlay{workspace} }

type overlay struct{ upper fs.FS }

func (o overlay) Open(name string) (fs.File, error) {
	f, err := o.upper.Open(name)
	if err == nil {
		info, err := f.Stat()
		if err == nil && !info.IsDir() {
			return f, nil
		}
		f.Close()
	} else if !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	lower, err2 := embedded.Open(name)
	if err2 == nil {
		return lower, nil
	}
	return o.upper.Open(name)
}

// ReadDir lists what both layers hold, the workspace's file first where both
// have the name.
func (o overlay) ReadDir(name string) ([]fs.DirEntry, error) {
	upper, err1 := fs.ReadDir(o.upper, name)
	lower, err2 := fs.ReadDir(embedded, name)
	if err1 != nil && err2 != nil {
		return nil, err1
	}
	seen := map[string]fs.DirEntry{}
	for _, e := range lower {
		seen[e.Name()] = e
	}
	for _, e := range upper {
		seen[e.Name()] = e
	}
	var all []fs.DirEntry
	for _, e := range seen {
		all = append(all, e)
	}
	slices.SortFunc(all, func(a, b fs.DirEntry) int { return strings.Compare(a.Name(), b.Name()) })
	return all, nil
}
