package noninterference

import (
	"fmt"
	"maps"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"golang.org/x/tools/txtar"
)

// tree is a workspace in memory: its files by slash path. Changes are made to a
// clone, so that a batch can be made again with some of its changes left out.
type tree struct {
	files map[string]string
	// taken lists ids and names that a rename must not give again.
	taken map[string]bool
}

// readTree reads the small workshop and draws its photos.
func readTree(t testing.TB) *tree {
	t.Helper()
	archive, err := txtar.ParseFile("testdata/workshop.txtar")
	if err != nil {
		t.Fatal(err)
	}
	w := &tree{files: map[string]string{}, taken: map[string]bool{}}
	for _, f := range archive.Files {
		w.files[f.Name] = string(f.Data)
	}
	for i, tag := range w.tags() {
		w.files[photoOf(tag)] = string(drawPhoto(t, i))
	}
	return w
}

func (w *tree) clone() *tree { return &tree{maps.Clone(w.files), maps.Clone(w.taken)} }

// write puts the files on disk.
func (w *tree) write(t testing.TB, dir string) {
	t.Helper()
	for name, text := range w.files {
		file := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// list returns the names of files in a folder, sorted.
func (w *tree) list(folder, suffix string) []string {
	var names []string
	for name := range w.files {
		if strings.HasPrefix(name, folder+"/") && strings.HasSuffix(name, suffix) {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return names
}

func (w *tree) parts() []string   { return w.list("parts", ".md") }
func (w *tree) entries() []string { return w.list("log", ".md") }
func (w *tree) tags() []string    { return w.list("photos", ".yaml") }

func photoOf(tag string) string { return strings.TrimSuffix(tag, ".yaml") }

func idOf(file string) string { return strings.TrimSuffix(path.Base(file), path.Ext(file)) }

// page is one private file, taken apart.
type page struct {
	keys yaml.MapSlice
	body string
	bare bool // YAML without a body
}

func (w *tree) page(name string) *page {
	text := w.files[name]
	p := &page{bare: strings.HasSuffix(name, ".yaml")}
	if !p.bare {
		head, body, found := strings.Cut(strings.TrimPrefix(text, "---\n"), "\n---\n")
		if !found {
			panic(name + " has no front matter")
		}
		text, p.body = head, body
	}
	if err := yaml.UnmarshalWithOptions([]byte(text), &p.keys, yaml.UseOrderedMap()); err != nil {
		panic(fmt.Sprintf("%s: %v", name, err))
	}
	return p
}

// put writes a page back.
func (w *tree) put(name string, p *page) {
	text, err := yaml.Marshal(p.keys)
	if err != nil {
		panic(fmt.Sprintf("%s: %v", name, err))
	}
	w.files[name] = string(text)
	if !p.bare {
		w.files[name] = "---\n" + string(text) + "---\n" + p.body
	}
}

// get returns the value at a path of keys, or nil.
func (p *page) get(keys ...string) any {
	var at any = p.keys
	for _, key := range keys {
		m, ok := at.(yaml.MapSlice)
		if !ok {
			return nil
		}
		at = m.ToMap()[key]
	}
	return at
}

func (p *page) text(keys ...string) string {
	if v := p.get(keys...); v != nil {
		return fmt.Sprint(v)
	}
	return ""
}

// texts returns a list of words.
func (p *page) texts(key string) []string {
	var all []string
	list, _ := p.get(key).([]any)
	for _, v := range list {
		all = append(all, fmt.Sprint(v))
	}
	return all
}

// set gives the value at a path of one or two keys.
func (p *page) set(v any, keys ...string) {
	if len(keys) == 2 {
		inner, _ := p.get(keys[0]).(yaml.MapSlice)
		v = setIn(slices.Clone(inner), keys[1], v)
	}
	p.keys = setIn(p.keys, keys[0], v)
}

func setIn(m yaml.MapSlice, key string, v any) yaml.MapSlice {
	for i, item := range m {
		if item.Key == key {
			m[i].Value = v
			return m
		}
	}
	return append(m, yaml.MapItem{Key: key, Value: v})
}

// del takes a key out.
func (p *page) del(key string) {
	p.keys = slices.DeleteFunc(p.keys, func(i yaml.MapItem) bool { return i.Key == key })
}

// of lists the parts that an entry is about.
func (p *page) of() []string {
	if one := p.text("part"); one != "" {
		return []string{one}
	}
	return p.texts("parts")
}

var factRef = regexp.MustCompile(`\{fact:([a-z0-9-]+)\.([a-z_.-]+)\|`)

// released reports which facts of a part the wording names: "loss", "date.removed".
func (w *tree) released(part string) map[string]bool {
	found := map[string]bool{}
	for _, name := range append(w.list("wording", ".md"), w.list("editions", ".md")...) {
		for _, m := range factRef.FindAllStringSubmatch(w.files[name], -1) {
			if m[1] == part {
				found[m[2]] = true
			}
		}
	}
	return found
}

// releasedOf is released for all parts of an entry.
func (w *tree) releasedOf(p *page) map[string]bool {
	found := map[string]bool{}
	for _, part := range p.of() {
		maps.Copy(found, w.released(part))
	}
	return found
}

// counted reports whether a part stands in progress figures.
func (w *tree) counted(part string) bool { return w.page("parts/"+part+".md").text("figures") != "no" }

// rename gives a word another spelling wherever it stands by itself: an id in the
// files that name it.
func (w *tree) rename(from, to string, folders ...string) {
	word := regexp.MustCompile(`(^|[^a-z0-9-])` + regexp.QuoteMeta(from) + `($|[^a-z0-9-])`)
	for name, text := range w.files {
		if !slices.ContainsFunc(folders, func(f string) bool { return strings.HasPrefix(name, f) }) || isPicture(name) {
			continue
		}
		// Twice, since neighbours share the character between them.
		for range 2 {
			text = word.ReplaceAllString(text, "${1}"+to+"${2}")
		}
		w.files[name] = text
	}
}

func (w *tree) move(from, to string) {
	w.files[to] = w.files[from]
	delete(w.files, from)
	w.taken[to] = true
}

func isPicture(name string) bool { return strings.HasSuffix(name, ".jpg") }
