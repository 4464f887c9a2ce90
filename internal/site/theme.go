package site

import (
	"errors"
	"fmt"
	"io/fs"
	"path"
	"strings"
)

// theme is what one theme folder gives: layouts for Hugo, and files that go out
// as they are.
type theme struct {
	layouts map[string][]byte // "layouts/…"
	static  map[string][]byte // below the site root
}

// markupRules are the link, picture, heading and code rules. They are built in
// and not part of the theme, so that no workspace can loosen them.
func (t *theme) addMarkupRules(rules map[string]string) {
	for name, text := range rules {
		t.layouts["layouts/_markup/"+name] = []byte(text)
	}
}

// readTheme reads themes/NAME and refuses whatever has no business there, with
// the file's name. A layout that calls a function which reaches outside the
// build is refused with its line.
func readTheme(themes fs.FS, name string, needed []string) (theme, error) {
	t := theme{layouts: map[string][]byte{}, static: map[string][]byte{}}
	err := fs.WalkDir(themes, name, func(file string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		data, err := fs.ReadFile(themes, file)
		if err != nil {
			return err
		}
		return t.add(strings.TrimPrefix(file, name+"/"), "themes/"+file, data)
	})
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return theme{}, fmt.Errorf("site: theme %s: %w", name, err)
	}
	for _, layout := range needed {
		if len(strings.TrimSpace(string(t.layouts["layouts/"+layout]))) == 0 {
			return theme{}, fmt.Errorf("site: themes/%s/layouts/%s is missing or empty; without it the page would come out in another page's layout", name, layout)
		}
	}
	return t, nil
}

func (t *theme) add(rel, shown string, data []byte) error {
	base := path.Base(rel)
	switch {
	case base == ".keep" || base == ".gitkeep" || shown == "themes/"+lookFile:
		return nil
	case strings.HasPrefix(rel, "layouts/_markup/"):
		return fmt.Errorf("%s: the rules for links and pictures are built in and cannot be replaced; remove the file", shown)
	case strings.HasPrefix(rel, "layouts/") && isLayout(base):
		if err := scan(shown, string(data)); err != nil {
			return err
		}
		t.layouts[rel] = data
		return nil
	case strings.HasPrefix(rel, "static/"):
		t.static[strings.TrimPrefix(rel, "static/")] = data
		return nil
	}
	return fmt.Errorf("%s: a theme holds layouts/ (.html and .xml) and static/ only; remove the file", shown)
}

func isLayout(base string) bool {
	return !strings.HasPrefix(base, "_content.") && (strings.HasSuffix(base, ".html") || strings.HasSuffix(base, ".xml"))
}
