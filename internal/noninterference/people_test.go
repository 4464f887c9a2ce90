package noninterference

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
)

const settings = "workshop.yaml"

// personLine is one person of the settings, which stand one to a line.
var personLine = regexp.MustCompile(`(?m)^  - \{id: ([a-z0-9-]+), name: ([^,]+), roles: \[([^\]]*)\](.*)\}$`)

// people lists the ids of everybody.
func (w *tree) people() []string {
	var ids []string
	for _, m := range personLine.FindAllStringSubmatch(w.files[settings], -1) {
		ids = append(ids, m[1])
	}
	return ids
}

// withRole lists the ids of those who have a role and are not engineers: they take
// photos and do not decide on them.
func (w *tree) withRole(role string) []string {
	var ids []string
	for _, m := range personLine.FindAllStringSubmatch(w.files[settings], -1) {
		if strings.Contains(m[3], role) && !strings.Contains(m[3], "engineer") {
			ids = append(ids, m[1])
		}
	}
	return ids
}

// byName finds somebody's id, which may have been changed.
func (w *tree) byName(name string) string {
	for _, m := range personLine.FindAllStringSubmatch(w.files[settings], -1) {
		if m[2] == name {
			return m[1]
		}
	}
	panic("nobody is called " + name)
}

func (w *tree) editSettings(from, to string) {
	w.files[settings] = strings.Replace(w.files[settings], from, to, 1)
}

// renamePerson gives somebody another id, wherever it stands.
func renamePerson(d *dice, w *tree) string {
	from := pick(d, w.people())
	to := strings.ToLower(pick(d, surnames)) + fmt.Sprint(d.IntN(1000))
	if w.taken[to] {
		return ""
	}
	w.taken[to] = true
	w.movePerson(from, to)
	return from + " → " + to
}

func (w *tree) movePerson(from, to string) {
	w.editSettings("{id: "+from+",", "{id: "+to+",")
	who := regexp.MustCompile(`(?m)^((?:by|written_by): )"?` + from + `"?$`)
	for name, text := range w.files {
		if !isPicture(name) {
			w.files[name] = who.ReplaceAllString(text, "${1}"+to)
		}
	}
}

// addRole gives somebody another role. Whoever decides keeps theirs, and nobody
// who decides becomes a keeper, who may not decide on the settings.
func addRole(d *dice, w *tree) string {
	m := pick(d, personLine.FindAllStringSubmatch(w.files[settings], -1))
	role := pick(d, []string{"restorer", "guide", "officer"})
	if strings.Contains(m[3], role) {
		return ""
	}
	w.editSettings(m[0], strings.Replace(m[0], "roles: ["+m[3], "roles: ["+m[3]+", "+role, 1))
	return m[1] + " " + role
}

func addPerson(d *dice, w *tree) string {
	id := "new" + fmt.Sprint(d.IntN(100000))
	if w.taken[id] {
		return ""
	}
	w.taken[id] = true
	after := pick(d, personLine.FindAllString(w.files[settings], -1))
	w.editSettings(after, after+fmt.Sprintf("\n  - {id: %s, name: %s, roles: [%s]}", id, d.person(), pick(d, []string{"restorer", "guide", "engineer"})))
	return id
}

// renameSomebody changes the name of one whom no credit names and no test asks for.
func renameSomebody(d *dice, w *tree) string {
	named := []string{"Ines Hallow", "Tam Reddle", "Nell Ostwick", "Orla Tressick"}
	all := slices.DeleteFunc(personLine.FindAllStringSubmatch(w.files[settings], -1), func(m []string) bool { return slices.Contains(named, m[2]) })
	m := pick(d, all)
	name := d.person()
	w.editSettings("{id: "+m[1]+", name: "+m[2]+",", "{id: "+m[1]+", name: "+name+",")
	return m[2] + " → " + name
}

var termsKey = regexp.MustCompile(`private_terms: \[[^\]]*\]`)

func changeTerms(d *dice, w *tree) string {
	var terms []string
	for range d.IntN(4) {
		terms = append(terms, fmt.Sprintf("%q", pick(d, firms)))
	}
	to := "private_terms: [" + strings.Join(terms, ", ") + "]"
	w.files[settings] = termsKey.ReplaceAllLiteralString(w.files[settings], to)
	return to
}

var runKey = regexp.MustCompile(`run_of_words: [0-9]+`)

func changeRun(d *dice, w *tree) string {
	to := fmt.Sprintf("run_of_words: %d", 5+d.IntN(16))
	w.files[settings] = runKey.ReplaceAllLiteralString(w.files[settings], to)
	return to
}

// keyed lists the files that hold YAML.
func (w *tree) keyed() []string {
	var names []string
	for name := range w.files {
		if strings.HasSuffix(name, ".md") || strings.HasSuffix(name, ".yaml") {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return names
}

// blocks cuts the YAML of a file into its top-level keys, each with all its lines.
func blocks(text string) (head string, keys []string, tail string) {
	if strings.HasPrefix(text, "---\n") {
		head = "---\n"
		var body string
		text, body, _ = strings.Cut(text[len(head):], "\n---\n")
		text, tail = text+"\n", "---\n"+body
	}
	for line := range strings.Lines(text) {
		first := line[0]
		if begins := first >= 'a' && first <= 'z' || first == '#'; begins || len(keys) == 0 {
			keys = append(keys, line)
		} else {
			keys[len(keys)-1] += line
		}
	}
	return head, keys, tail
}

func addComments(d *dice, w *tree) string {
	name := pick(d, w.keyed())
	head, keys, tail := blocks(w.files[name])
	at := d.IntN(len(keys) + 1)
	keys = slices.Insert(keys, at, "# "+d.words(1, 9)+"\n")
	w.files[name] = head + strings.Join(keys, "") + tail
	return name
}

func shuffleKeys(d *dice, w *tree) string {
	name := pick(d, w.keyed())
	head, keys, tail := blocks(w.files[name])
	d.Shuffle(len(keys), func(i, j int) { keys[i], keys[j] = keys[j], keys[i] })
	w.files[name] = head + strings.Join(keys, "") + tail
	return name
}
