package noninterference

import (
	"fmt"
	"math/rand/v2"
	"path"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"

	"example.org/opencowl/internal/day"
)

// kind is one way of changing a workspace. make returns what it did, or "" when
// there was nothing of the kind to change.
type kind struct {
	name string
	when when
	make func(*dice, *tree) string
}

// when says at which times a kind of change leaves no trace.
type when int

const (
	anyTime when = iota
	// early: only before anything was decided. Decisions and figures are kept by
	// these names, so that later the answer is none, or another movement.
	early
	// both: any time, and always among the early ones, since a leak of it would
	// make what was decided stale, which hides it.
	both
)

// change is a kind with the seed of its dice: made again, it does the same.
type change struct {
	kind kind
	seed uint64
}

func (c change) apply(t testing.TB, w *tree) string {
	d := &dice{rand.New(rand.NewPCG(c.seed, 1)), t}
	what := c.kind.make(d, w)
	if what == "" {
		return c.kind.name + ": nothing to change"
	}
	return c.kind.name + ": " + what
}

// dice draws what a workshop might write.
type dice struct {
	*rand.Rand
	t testing.TB
}

func pick[T any](d *dice, all []T) T { return all[d.IntN(len(all))] }

// Words that no public text of the small workshop holds.
var lexicon = strings.Fields(`anvil bolted brackish caliper damp elbow ferrule grommet gasket jig kerosene lanolin mandrel nipple
	oakum packing quench ratchet swaged tallow upright vice washer yoke zinc drifted reamed scribed etched annealed soaked
	Monday bucket biscuit telephone awkward wrongly twice again tomorrow unlabelled borrowed drawer shelf crate ledger`)

var surnames = strings.Fields("Abernethy Brockwell Culverhay Dunstable Eskdale Fennimore Garthwaite Holloway Inskipp Jessop Kirkham Lathbury")

var firms = []string{"Netherby Forge", "Calder Plating", "Ossington Tubes", "Brant & Daughters", "Wexcombe Rubber"}

// pumpWord stands in public words: as a private name it stops their story.
const pumpWord = "P9-404"

func (d *dice) words(least, most int) string {
	var all []string
	for range least + d.IntN(most-least+1) {
		all = append(all, pick(d, lexicon))
	}
	return strings.Join(all, " ")
}

func (d *dice) notes() string {
	if d.IntN(5) == 0 {
		return ""
	}
	return d.words(3, 40) + ".\n"
}

// identifier is a part number, a serial, a drawing. Once in a long while it is a
// word that the public reads.
func (d *dice) identifier() string {
	switch d.IntN(60) {
	case 0:
		return pumpWord
	case 1, 2, 3, 4, 5, 6, 7, 8, 9:
		return ""
	case 10, 11, 12, 13:
		return fmt.Sprintf("%s-%c", d.slug(), 'A'+rune(d.IntN(26)))
	}
	return fmt.Sprintf("%c%c%d-%04d-%d sheet %d", 'A'+rune(d.IntN(26)), 'A'+rune(d.IntN(26)), d.IntN(90), d.IntN(10000), d.IntN(10), d.IntN(9))
}

func (d *dice) slug() string {
	return pick(d, lexicon[:36]) + "-" + pick(d, lexicon[:36]) + fmt.Sprint(d.IntN(1000))
}

// fresh returns a name made from slugs that nothing has had yet.
func (d *dice) fresh(w *tree, form string) string {
	for {
		name := fmt.Sprintf(form, strings.ToLower(d.slug()))
		if _, there := w.files[name]; !there && !w.taken[name] {
			w.taken[name] = true
			return name
		}
	}
}

func (d *dice) person() string {
	return pick(d, []string{"Ada", "Bede", "Cora", "Dunstan", "Edie"}) + " " + pick(d, surnames)
}

// today is the day on which everything is made; frozenOn that of the past edition.
var (
	today    = day.MustParse("2031-02-12")
	frozenOn = day.MustParse("2031-02-01")
)

// pastDay is a day of the winter so far.
func (d *dice) pastDay() day.Date {
	return today.AddDays(-d.IntN(80))
}

// fieldOf changes one key of a random page: the value comes from draw, which may
// say that this page's is not to be touched.
func fieldOf(list func(*tree) []string, draw func(d *dice, w *tree, name string, p *page) (v any, ok bool), keys ...string) func(*dice, *tree) string {
	return func(d *dice, w *tree) string {
		name := pick(d, list(w))
		p := w.page(name)
		v, ok := draw(d, w, name, p)
		if !ok {
			return ""
		}
		before := p.get(keys...)
		p.set(v, keys...)
		w.put(name, p)
		return fmt.Sprintf("%s %s: %v → %v", name, strings.Join(keys, "."), before, v)
	}
}

func always(draw func(*dice) any) func(*dice, *tree, string, *page) (any, bool) {
	return func(d *dice, _ *tree, _ string, _ *page) (any, bool) { return draw(d), true }
}

// unless draws where a fact is not released.
func unless(fact string, draw func(*dice) any) func(*dice, *tree, string, *page) (any, bool) {
	return func(d *dice, w *tree, name string, p *page) (any, bool) {
		if strings.HasPrefix(name, "parts/") {
			return draw(d), !w.released(idOf(name))[fact]
		}
		return draw(d), !w.releasedOf(p)[fact]
	}
}

func number(form string, least, most int) func(*dice) any {
	return func(d *dice) any { return fmt.Sprintf(form, least+d.IntN(most-least+1)) }
}

func identifier(d *dice) any { return d.identifier() }

// privateKinds is everything that may change without a trace.
func privateKinds() []kind {
	parts, entries, tags := (*tree).parts, (*tree).entries, (*tree).tags
	return []kind{
		{"number", anyTime, fieldOf(parts, always(identifier), "number")},
		{"serial", anyTime, fieldOf(parts, always(identifier), "serial")},
		{"drawing", anyTime, fieldOf(parts, always(identifier), "drawing")},
		{"location", anyTime, fieldOf(parts, always(func(d *dice) any { return d.words(1, 4) }), "location")},
		{"part's name", anyTime, fieldOf(parts, always(func(d *dice) any { return d.words(1, 5) }), "name")},
		{"part's material", anyTime, fieldOf(parts, unless("material", func(d *dice) any { return d.words(1, 2) }), "material")},
		{"part's thickness", anyTime, fieldOf(parts, func(d *dice, w *tree, name string, p *page) (any, bool) {
			r := w.released(idOf(name))
			return fmt.Sprintf("%d.5 mm", 5+d.IntN(9)), !r["thickness"] && !r["loss"]
		}, "thickness")},
		{"loss limit", anyTime, fieldOf(parts, always(number("%d%%", 5, 60)), "loss_limit")},
		{"part's notes", anyTime, notesOf(parts)},
		{"entry's notes", anyTime, notesOf(entries)},
		{"by", anyTime, fieldOf(entries, func(d *dice, w *tree, _ string, _ *page) (any, bool) { return pick(d, w.people()), true }, "by")},
		{"causes", anyTime, fieldOf(entries, always(func(d *dice) any {
			causes := []string{"pitting", "exfoliation", "galvanic", "crack", "wear", "impact", "bad-holes", "other"}
			d.Shuffle(len(causes), func(i, j int) { causes[i], causes[j] = causes[j], causes[i] })
			return causes[:1+d.IntN(3)]
		}), "finding", "causes")},
		{"detail", anyTime, fieldOf(entries, always(func(d *dice) any { return d.words(2, 30) }), "finding", "detail")},
		{"least thickness", anyTime, fieldOf(entries, func(d *dice, w *tree, name string, p *page) (any, bool) {
			r := w.releasedOf(p)
			return fmt.Sprintf("0.%d mm", 41+d.IntN(9)), !r["least_thickness"] && !r["loss"]
		}, "finding", "least_thickness")},
		{"supplier", anyTime, fieldOf(entries, always(func(d *dice) any { return pick(d, firms) }), "replacement", "supplier")},
		{"approval", anyTime, fieldOf(entries, always(identifier), "replacement", "approval")},
		{"report", anyTime, fieldOf(entries, always(identifier), "replacement", "report")},
		{"cost", anyTime, fieldOf(entries, unless("cost", func(d *dice) any { return fmt.Sprintf("GBP %d.%02d", 500+d.IntN(4000), d.IntN(100)) }), "replacement", "cost")},
		{"replacement's material", anyTime, fieldOf(entries, unless("material", func(d *dice) any { return d.words(1, 3) }), "replacement", "material")},
		{"entry's photos", anyTime, fieldOf(entries, func(d *dice, w *tree, _ string, _ *page) (any, bool) {
			names := []string{}
			for _, tag := range w.tags() {
				if d.IntN(2) == 0 {
					names = append(names, path.Base(photoOf(tag)))
				}
			}
			return names, true
		}, "photos")},
		{"next", anyTime, fieldOf(entries, always(func(d *dice) any {
			return yaml.MapSlice{{Key: "step", Value: pick(d, []string{"cleaned", "painted", "fitted", "tested"})}, {Key: "due", Value: today.AddDays(d.IntN(90)).String()}}
		}), "next")},
		{"origin", anyTime, fieldOf(entries, always(func(d *dice) any {
			return yaml.MapSlice{{Key: "list", Value: strings.ToLower(d.slug())}, {Key: "row", Value: d.words(1, 3)},
				{Key: "digest", Value: fmt.Sprintf("sha256-%016x", d.Uint64())}}
		}), "origin")},
		{"parts for part", anyTime, partsForPart},
		{"entry's date", anyTime, shiftDate},
		{"entry's file", anyTime, renameEntry},
		{"notes put in", anyTime, addNotes},
		{"note taken out", anyTime, dropNote},
		{"part that does not count", anyTime, addPart},
		{"why of a box", anyTime, changeWhy},
		{"taken", anyTime, fieldOf(tags, always(func(d *dice) any { return d.pastDay().String() }), "taken")},
		{"photo's taker", anyTime, fieldOf(tags, func(d *dice, w *tree, _ string, _ *page) (any, bool) { return pick(d, w.withRole("restorer")), true }, "by")},
		{"rights", anyTime, fieldOf(tags, always(func(d *dice) any { return pick(d, []string{"ours", "permission", "lent"}) }), "rights")},
		{"people in a photo", anyTime, fieldOf(tags, always(peopleShown), "people")},
		{"photo's parts", anyTime, fieldOf(tags, func(d *dice, w *tree, _ string, _ *page) (any, bool) {
			return []string{idOf(pick(d, w.parts()))}, true
		}, "parts")},
		{"photo that is kept, put in", anyTime, addKeptPhoto},
		{"photo that is kept, taken out", anyTime, dropKeptPhoto},
		{"photo that is kept, renamed", anyTime, func(d *dice, w *tree) string { return renamePhoto(d, w, w.keptTags()) }},
		{"photo renamed", early, func(d *dice, w *tree) string { return renamePhoto(d, w, w.tags()) }},
		{"what a photo says beside its pixels", both, tellInPhoto},
		{"part's id, not counted", anyTime, func(d *dice, w *tree) string {
			if len(w.notCounted()) == 0 {
				addPart(d, w)
			}
			return renamePart(d, w, w.notCounted())
		}},
		{"part's id", early, func(d *dice, w *tree) string { return renamePart(d, w, w.parts()) }},
		{"person's id", anyTime, renamePerson},
		{"roles", anyTime, addRole},
		{"person put in", anyTime, addPerson},
		{"person's name", anyTime, renameSomebody},
		{"private terms", anyTime, changeTerms},
		{"run of words", anyTime, changeRun},
		{"comments", anyTime, addComments},
		{"order of keys", anyTime, shuffleKeys},
	}
}

func notesOf(list func(*tree) []string) func(*dice, *tree) string {
	return func(d *dice, w *tree) string {
		name := pick(d, list(w))
		p := w.page(name)
		p.body = d.notes()
		w.put(name, p)
		return fmt.Sprintf("%s: %q", name, p.body)
	}
}

func partsForPart(d *dice, w *tree) string {
	name := pick(d, w.entries())
	p := w.page(name)
	of := p.of()
	p.del("part")
	p.set(of, "parts")
	w.put(name, p)
	return name
}

// shiftDate moves an entry by a day, where no date of its part is released and
// the order of the part's entries stays.
func shiftDate(d *dice, w *tree) string {
	name := pick(d, w.entries())
	p := w.page(name)
	for fact := range w.releasedOf(p) {
		if strings.HasPrefix(fact, "date.") {
			return ""
		}
	}
	from := day.MustParse(p.text("date"))
	to := from.AddDays(1 - 2*d.IntN(2))
	// In which week a part moved is movement, and so is what was on record at the freeze.
	if to.Week() != from.Week() {
		return ""
	}
	if to.After(today) || to.After(frozenOn.AddDays(-3)) != from.After(frozenOn.AddDays(-3)) {
		return ""
	}
	for _, other := range w.entries() {
		o := w.page(other)
		near := o.text("date") == from.String() || o.text("date") == to.String()
		if other != name && near && slices.ContainsFunc(o.of(), func(id string) bool { return slices.Contains(p.of(), id) }) {
			return ""
		}
	}
	next := strings.Replace(name, from.String(), to.String(), 1)
	if _, there := w.files[next]; there || w.taken[next] {
		return ""
	}
	p.set(to.String(), "date")
	w.put(name, p)
	if next != name {
		w.move(name, next)
	}
	return fmt.Sprintf("%s → %s", name, to)
}

// renameEntry gives an entry's file another name, where it is alone on its day:
// within a day the name settles the order.
func renameEntry(d *dice, w *tree) string {
	name := pick(d, w.entries())
	date := w.page(name).text("date")
	for _, other := range w.entries() {
		if other != name && w.page(other).text("date") == date {
			return ""
		}
	}
	next := d.fresh(w, path.Dir(name)+"/"+date+"-%s.md")
	w.move(name, next)
	return name + " → " + next
}

// addNotes logs a few notes on one part.
func addNotes(d *dice, w *tree) string {
	part := idOf(pick(d, w.parts()))
	var names []string
	for range 1 + d.IntN(4) {
		date := d.pastDay()
		name := d.fresh(w, fmt.Sprintf("log/%d/%s-%%s.md", date.Year, date))
		w.put(name, &page{keys: yaml.MapSlice{{Key: "date", Value: date.String()}, {Key: "by", Value: pick(d, w.people())},
			{Key: "part", Value: part}, {Key: "step", Value: "note"}}, body: d.notes()})
		names = append(names, name)
	}
	return part + ": " + strings.Join(names, ", ")
}

func dropNote(d *dice, w *tree) string {
	var notes []string
	for _, name := range w.entries() {
		if w.page(name).text("step") == "note" {
			notes = append(notes, name)
		}
	}
	if len(notes) == 0 {
		return ""
	}
	name := pick(d, notes)
	delete(w.files, name)
	return name
}

func addPart(d *dice, w *tree) string {
	file := d.fresh(w, "parts/%s.md")
	w.put(file, &page{keys: yaml.MapSlice{{Key: "name", Value: d.words(1, 4)}, {Key: "area", Value: pick(d, []string{"hull", "tail", "wing"})},
		{Key: "number", Value: d.identifier()}, {Key: "figures", Value: "no"}, {Key: "material", Value: d.words(1, 2)}}, body: d.notes()})
	for _, step := range []string{"removed", "inspected", "fitted"}[:d.IntN(4)] {
		date := d.pastDay()
		w.put(d.fresh(w, fmt.Sprintf("log/%d/%s-%%s.md", date.Year, date)), &page{keys: yaml.MapSlice{{Key: "date", Value: date.String()},
			{Key: "by", Value: pick(d, w.people())}, {Key: "part", Value: idOf(file)}, {Key: "step", Value: step}, {Key: "pile", Value: "rework"}}, body: d.notes()})
	}
	return file
}

func changeWhy(d *dice, w *tree) string {
	for _, name := range w.tags() {
		p := w.page(name)
		boxes, _ := p.get("hide").([]any)
		if len(boxes) == 0 {
			continue
		}
		box := boxes[0].(yaml.MapSlice)
		boxes[0] = setIn(slices.Clone(box), "why", d.words(1, 8))
		p.set(boxes, "hide")
		w.put(name, p)
		return name
	}
	return ""
}

func peopleShown(d *dice) any {
	people := []any{}
	for range d.IntN(3) {
		p := yaml.MapSlice{{Key: "who", Value: d.person()}, {Key: "consent", Value: "given"}, {Key: "on", Value: d.pastDay().String()}, {Key: "adult", Value: "yes"}}
		if d.IntN(3) == 0 {
			p[3].Value = "no"
			p = append(p, yaml.MapItem{Key: "guardian", Value: d.person()})
		}
		people = append(people, p)
	}
	return people
}

func addKeptPhoto(d *dice, w *tree) string {
	photo := d.fresh(w, "photos/%s.jpg")
	w.files[photo] = string(saying(d.t, encodeJPEG(d.t, 64, 48, d.IntN(5)), d.words(2, 6)))
	w.put(photo+".yaml", &page{bare: true, keys: yaml.MapSlice{{Key: "taken", Value: d.pastDay().String()}, {Key: "by", Value: pick(d, w.people())},
		{Key: "publish", Value: "no"}, {Key: "caption", Value: d.words(2, 9)}, {Key: "credit", Value: d.person()}}})
	return photo
}

// keptTags are the tags of photos that are not offered.
func (w *tree) keptTags() []string {
	return slices.DeleteFunc(w.tags(), func(tag string) bool { return w.page(tag).text("publish") == "offered" })
}

func dropKeptPhoto(d *dice, w *tree) string {
	kept := w.keptTags()
	if len(kept) == 0 {
		return ""
	}
	tag := pick(d, kept)
	delete(w.files, tag)
	delete(w.files, photoOf(tag))
	name := path.Base(photoOf(tag))
	for _, entry := range w.entries() {
		p := w.page(entry)
		if photos := p.texts("photos"); slices.Contains(photos, name) {
			p.set(slices.DeleteFunc(photos, func(n string) bool { return n == name }), "photos")
			w.put(entry, p)
		}
	}
	return photoOf(tag)
}

// renamePhoto renames the original and its tag, and every list that names it.
func renamePhoto(d *dice, w *tree, tags []string) string {
	if len(tags) == 0 {
		return ""
	}
	from := photoOf(pick(d, tags))
	to := d.fresh(w, "photos/%s.jpg")
	w.movePhoto(from, to)
	return from + " → " + to
}

func (w *tree) movePhoto(from, to string) {
	w.move(from, to)
	w.move(from+".yaml", to+".yaml")
	w.rename(path.Base(from), path.Base(to), "log/", "wording/", "editions/")
}

func tellInPhoto(d *dice, w *tree) string {
	photo := photoOf(pick(d, w.tags()))
	w.files[photo] = string(saying(d.t, []byte(w.files[photo]), d.words(1, 5)))
	return photo
}

// notCounted are the parts that stand in no figures and whose facts nobody decided on.
func (w *tree) notCounted() []string {
	return slices.DeleteFunc(w.parts(), func(name string) bool { return w.counted(idOf(name)) || len(w.released(idOf(name))) > 0 })
}

func renamePart(d *dice, w *tree, parts []string) string {
	if len(parts) == 0 {
		return ""
	}
	from := pick(d, parts)
	to := d.fresh(w, "parts/%s.md")
	w.movePart(from, to)
	return from + " → " + to
}

func (w *tree) movePart(from, to string) {
	w.move(from, to)
	w.rename(idOf(from), idOf(to), "log/", "photos/", "wording/", "editions/")
}
