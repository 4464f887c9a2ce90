package noninterference

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/goccy/go-yaml"
)

var (
	changesFlag = flag.Int("changes", 300, "how many private changes to make")
	seedFlag    = flag.Uint64("seed", 20310212, "the seed of the changes")
)

// batchSize is how many changes are made before what leaves is compared.
const batchSize = 10

func TestMain(m *testing.M) {
	flag.Parse()
	code := m.Run()
	if dir, err := copies(); err == nil {
		os.RemoveAll(dir)
	}
	os.Exit(code)
}

// course is what a batch is held against: whether it comes before or after the
// past, and what left without it.
type course struct {
	name     string
	tree     *tree
	database []byte
	replayed bool // the past happens after the changes
	want     outputs
	stories  sectionBook // nil: stories are in want
}

// shopOf lays a changed tree out and, where the course says so, lives its past.
func (c *course) shopOf(t testing.TB, w *tree) *shop {
	s := newShop(t, w, c.database)
	if c.replayed {
		s.past()
	}
	return s
}

// apply makes changes to a clone of the course's tree.
func (c *course) apply(t testing.TB, changes []change) (*tree, []string) {
	w := c.tree.clone()
	var told []string
	for _, ch := range changes {
		told = append(told, ch.apply(t, w))
	}
	return w, told
}

// held lists the units that changes keep from leaving.
func (c *course) held(t testing.TB, changes []change) []string {
	w, _ := c.apply(t, changes)
	s := c.shopOf(t, w)
	defer s.close()
	return held(s.units(today))
}

// difference makes everything with the changes, and says where it parts from what
// left without them.
func (c *course) difference(t testing.TB, changes []change) string {
	w, _ := c.apply(t, changes)
	s := c.shopOf(t, w)
	defer s.close()
	return difference(c.want, s.make())
}

// findings of a whole run, for the summary.
type tally struct {
	mu                                                   sync.Mutex
	changes, comparisons, outputs, bytes, stops, dropped int
	kinds                                                map[string]int
	stoppers                                             map[string]int
}

func TestPrivateChangesLeaveNoTrace(t *testing.T) {
	kept, replayed := beginnings(t)
	sum := &tally{kinds: map[string]int{}, stoppers: map[string]int{}}
	batches := (*changesFlag + batchSize - 1) / batchSize
	jobs := make(chan int)
	var workers sync.WaitGroup
	var moved movements
	for range min(runtime.GOMAXPROCS(0), 4) {
		workers.Go(func() {
			for n := range jobs {
				r := rand.New(rand.NewPCG(*seedFlag, uint64(n)))
				switch {
				case n%5 == 4:
					tryBatch(t, n, r, replayed, sum)
				case n%5 == 3:
					if c := moved.course(t, kept, n/10); c != nil {
						tryBatch(t, n, r, c, sum)
					}
				default:
					tryBatch(t, n, r, kept, sum)
				}
			}
		})
	}
	for n := range batches {
		if t.Failed() {
			break
		}
		if n > 0 && n%100 == 0 {
			t.Logf("%d changes so far", n*batchSize)
		}
		jobs <- n
	}
	close(jobs)
	workers.Wait()
	t.Logf("seed %d: %d changes in %d comparisons of %d outputs (%d MB); %d of %d batches held a change that stopped a unit (%v); %d movements",
		*seedFlag, sum.changes, sum.comparisons, sum.outputs, sum.bytes>>20, sum.stops, batches, sum.stoppers, len(moved.made))
	if t.Failed() {
		return
	}
	for _, k := range privateKinds() {
		if sum.kinds[k.name] == 0 && *changesFlag >= 300 {
			t.Errorf("no change of %q took place", k.name)
		}
	}
	if sum.stops*10 > max(batches, 10) {
		t.Errorf("%d of %d batches were stopped; the changes are too seldom free of public words for this to prove anything", sum.stops, batches)
	}
}

// beginnings makes the two courses without movement: changes after all was
// decided, and changes before.
func beginnings(t *testing.T) (kept, replayed *course) {
	t.Helper()
	w := readTree(t)
	s := newShop(t, w, nil)
	enrolled := s.enrol()
	s.close()
	before := newShop(t, w, enrolled)
	defer before.close()
	before.past()
	database := before.database()
	replayed = &course{name: "changed before anything was decided", tree: w, database: enrolled, replayed: true, want: before.make()}
	s = newShop(t, w, database)
	defer s.close()
	if ids := held(s.units(today)); len(ids) > 0 {
		s.run(today, "check")
		t.Fatalf("without a change %q may not leave\n%s\n%s", ids, &before.said, &s.said)
	}
	kept = &course{name: "changed after all was decided", tree: w, database: database, want: s.make()}
	for name, reads := range map[string]string{
		"out/edition-" + thisWeek + "/letter.txt":  "Correction: The floor that rotted from inside",
		"out/edition-" + thisWeek + "/letter.html": "The strip was a spare, and had lost 15",
		"out/archive/story/floor-strip/index.html": "The strip was a spare, and had lost 15",
	} {
		if !bytes.Contains(kept.want[name], []byte(reads)) {
			t.Fatalf("%s has no correction:\n%s", name, kept.want[name])
		}
	}
	for name, holds := range map[string]string{
		"out/edition-" + thisWeek + "/letter.txt":         "At the pace of the last 11 weeks",
		"out/edition-" + thisWeek + "/letter.html":        "Chart: parts back on, week by week",
		"out/archive/edition/" + pastWeek + "/index.html": "<desc id=\"chart-desc\">Chart: parts back on",
	} {
		if !bytes.Contains(bytes.Join(bytes.Fields(kept.want[name]), []byte(" ")), []byte(holds)) {
			t.Fatalf("the chart is not among what leaves: %s has no %q", name, holds)
		}
	}
	for _, name := range []string{"caution-strips", "prop-list"} {
		if !bytes.HasPrefix(kept.want["out/sheets/"+name+"-"+tour+".pdf"], []byte("%PDF-")) {
			t.Fatalf("there is no %s among what leaves", name)
		}
	}
	for _, c := range []*course{kept, replayed} {
		if got := string(c.want["exit codes"]); got != "[1 1 1 0 0 0]" { // the tour holds stories that are not out yet
			t.Fatalf("exit codes %s\n%s%s", got, &before.said, &s.said)
		}
	}
	if again := kept.difference(t, nil); again != "" {
		t.Fatalf("the same work done twice leaves other bytes:\n%s", again)
	}
	return kept, replayed
}

// tryBatch makes one batch of changes. Changes that stop a unit are taken out
// first and counted, so that the rest is always compared.
func tryBatch(t *testing.T, n int, r *rand.Rand, c *course, sum *tally) {
	var kinds, first []kind
	for _, k := range privateKinds() {
		if k.when != early || c.replayed {
			kinds = append(kinds, k)
		}
		if k.when != anyTime && c.replayed {
			first = append(first, k)
		}
	}
	var changes []change
	for i := range batchSize {
		// Every second is of the kind whose turn it is, and the rest are drawn.
		k := kinds[r.IntN(len(kinds))]
		switch {
		case i < len(first):
			k = first[i]
		case i%2 == 0:
			k = kinds[(n*batchSize+i)/2%len(kinds)]
		}
		changes = append(changes, change{k, r.Uint64()})
	}
	free := changes
	stopped := c.held(t, changes)
	if len(stopped) > 0 {
		free = c.withoutStops(t, changes, sum)
	}
	w, told := c.apply(t, free)
	s := c.shopOf(t, w)
	got := s.make()
	s.close()
	sum.mu.Lock()
	sum.changes += len(free)
	sum.comparisons++
	sum.outputs += len(got)
	for _, data := range got {
		sum.bytes += len(data)
	}
	if len(stopped) > 0 {
		sum.stops++
	}
	for i, ch := range free {
		if !strings.HasSuffix(told[i], ": nothing to change") {
			sum.kinds[ch.kind.name]++
		}
	}
	sum.mu.Unlock()
	if found := difference(c.want, got); found != "" {
		c.explain(t, n, free, found)
	}
}

// withoutStops leaves out the changes that keep a unit from leaving.
func (c *course) withoutStops(t *testing.T, changes []change, sum *tally) []change {
	var free []change
	for _, ch := range changes {
		if with := append(slices.Clone(free), ch); len(c.held(t, with)) == 0 {
			free = with
			continue
		}
		sum.mu.Lock()
		sum.stoppers[ch.kind.name]++
		sum.mu.Unlock()
	}
	return free
}

// explain finds few changes that still make a difference, by halves, and tells them.
func (c *course) explain(t *testing.T, n int, changes []change, found string) {
	for len(changes) > 1 {
		half := len(changes) / 2
		if first := c.difference(t, changes[:half]); first != "" {
			changes, found = changes[:half], first
		} else if second := c.difference(t, changes[half:]); second != "" {
			changes, found = changes[half:], second
		} else {
			break
		}
	}
	_, told := c.apply(t, changes)
	t.Errorf("seed %d, batch %d (%s): a private change left a trace\n  %s\n%s", *seedFlag, n, c.name, strings.Join(told, "\n  "), found)
}

// movements are the courses in which parts have moved.
type movements struct {
	mu   sync.Mutex
	made map[int]*course
	book sectionBook
}

// course makes a movement, or returns one that was made; nil when the movement
// contradicts the words, so that they stop.
func (m *movements) course(t *testing.T, still *course, n int) *course {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.made == nil {
		m.made, m.book = map[int]*course{}, sectionBook{}
		m.book.hold(t, "without movement", still.want)
	}
	if c, ok := m.made[n]; ok {
		return c
	}
	d := &dice{rand.New(rand.NewPCG(*seedFlag, 1<<32+uint64(n))), t}
	w := still.tree.clone()
	var told []string
	for range 1 + d.IntN(4) {
		told = append(told, move(d, w))
	}
	c := &course{name: "with movement: " + strings.Join(told, ", "), tree: w, database: still.database}
	s := c.shopOf(t, w)
	defer s.close()
	if ids := held(s.units(today)); len(ids) > 0 {
		t.Errorf("movement %d (%s) stops %q; choose words that movement does not contradict", n, c.name, ids)
		m.made[n] = nil
		return nil
	}
	c.want = s.make()
	m.made[n] = c
	// Movement shapes the letter alone: its order, its choice, its figures. The page
	// of a stop says when its story opens, which hangs on the choice.
	for _, fixed := range []string{"cards", "out/cards", "out/sheets/", "out/archive/"} {
		before, after := only(still.want, fixed), only(c.want, fixed)
		if !slices.Equal(chosen(still.want), chosen(c.want)) {
			before, after = without(before, "out/archive/stop/"), without(after, "out/archive/stop/")
		}
		if found := difference(before, after); found != "" {
			t.Errorf("%s: movement changed more than the letter\n%s", c.name, found)
		}
	}
	m.book.hold(t, c.name, c.want)
	return c
}

func only(all outputs, prefix string) outputs {
	some := maps.Clone(all)
	maps.DeleteFunc(some, func(name string, _ []byte) bool { return !strings.HasPrefix(name, prefix) })
	return some
}

func without(all outputs, prefix string) outputs {
	some := maps.Clone(all)
	maps.DeleteFunc(some, func(name string, _ []byte) bool { return strings.HasPrefix(name, prefix) })
	return some
}

// chosen lists the stories that the letter tells, in no order of its own.
func chosen(out outputs) []string {
	letter := string(out["out/edition-"+thisWeek+"/letter.txt"])
	return slices.DeleteFunc(slices.Clone(storyTitles), func(title string) bool { return !strings.Contains(letter, title) })
}

// move changes where a part stands: a step, a pile, an area, whether it counts. It
// leaves alone what the wording releases of it.
func move(d *dice, w *tree) string {
	part := idOf(pick(d, w.parts()))
	r := w.released(part)
	file := "parts/" + part + ".md"
	p := w.page(file)
	switch d.IntN(4) {
	case 0:
		p.set(pick(d, []string{"hull", "tail", "wing"}), "area")
		w.put(file, p)
		return part + " area"
	case 1:
		p.set(pick(d, []string{"no", "yes"}), "figures")
		w.put(file, p)
		return part + " figures"
	}
	step := pick(d, []string{"inspected", "cleaned", "sent-away", "made", "tested", "painted", "fitted"})
	date := today.AddDays(-d.IntN(8))
	e := &page{keys: yaml.MapSlice{{Key: "date", Value: date.String()}, {Key: "by", Value: pick(d, w.people())}, {Key: "part", Value: part}, {Key: "step", Value: step}}}
	if !r["pile"] {
		e.set(pick(d, []string{"serviceable", "rework", "unserviceable", "quarantine"}), "pile")
	}
	w.put(d.fresh(w, fmt.Sprintf("log/%d/%s-%%s.md", date.Year, date)), e)
	return part + " " + step
}

// sectionBook holds each story as a letter told it, by its title and whether it
// led: it must read the same wherever movement puts it.
type sectionBook map[string]string

var (
	htmlHeading = regexp.MustCompile(`<h2[^>]*>([^<]*)</h2>`)
	textHeading = regexp.MustCompile(`(?m)^(.+)\n-{3,}\n`)
)

// hold cuts a letter into its stories and holds each against the same one before.
func (b sectionBook) hold(t *testing.T, name string, out outputs) {
	t.Helper()
	for file, heading := range map[string]*regexp.Regexp{"letter.html": htmlHeading, "letter.txt": textHeading} {
		text := string(out["out/edition-"+thisWeek+"/"+file])
		found := heading.FindAllStringSubmatchIndex(text, -1)
		if len(found) == 0 {
			t.Errorf("%s: %s holds no heading", name, file)
		}
		leading := true
		for i, m := range found {
			end := len(text)
			if i+1 < len(found) {
				end = found[i+1][0]
			}
			section := text[m[0]:end]
			if file == "letter.html" {
				section, _, _ = strings.Cut(section, "</td></tr>")
			}
			title := text[m[2]:m[3]]
			if !slices.Contains(storyTitles, title) {
				continue
			}
			key := fmt.Sprintf("%s, %q, leading %t", file, title, leading)
			leading = false
			if before, had := b[key]; had && before != section {
				t.Errorf("%s: %s reads otherwise\n%s", name, key, firstDifference([]byte(before), []byte(section)))
			}
			b[key] = section
		}
	}
}

// storyTitles are the stories that this week's letter may hold.
var storyTitles = []string{"The hinge that wore its own hole", "A skin that came off in leaves"}

// A released fact is another thing: changed, it makes its story stale, and once
// decided anew it is what readers get.
func TestReleasedFactsShowWhenTheyChange(t *testing.T) {
	kept, _ := beginnings(t)
	for _, c := range []struct{ name, file, from, to, story, page, reads string }{
		{"thickness", "parts/hull-stiffener.md", "thickness: 16 swg", "thickness: 14 swg", "floor-strip", "out/archive/story/floor-strip/index.html", "2.03"},
		{"loss", "log/2031/2031-01-14-stiffener-inspected.md", "1.38 mm", "1.20 mm", "floor-strip", "out/archive/story/floor-strip/index.html", "lost 26%"},
		{"date", "log/2030/2030-12-03-hinge-removed.md", "date: 2030-12-03", "date: 2030-11-29", "rudder-hinge", "out/edition-2031-W07/letter.txt", "November 2030"},
		{"material", "parts/tail-hinge.md", "material: bronze", "material: monel", "rudder-hinge", "out/edition-2031-W07/letter.txt", "monel"},
		{"source", "log/2031/2031-01-20-bracket-bought.md", "source: stores", "source: loan", "strut-bracket", "out/archive/story/strut-bracket/index.html", "on loan"},
		{"cost", "log/2031/2031-01-20-bracket-bought.md", "GBP 41.20", "GBP 44.10", "strut-bracket", "out/archive/story/strut-bracket/index.html", "44.10"},
		{"pile", "log/2031/2031-01-21-float-cleaned.md", "pile: rework", "pile: unserviceable", "float-skin", "out/edition-2031-W07/letter.txt", "unserviceable"},
	} {
		w := kept.tree.clone()
		if !strings.Contains(w.files[c.file], c.from) {
			t.Fatalf("%s does not hold %q", c.file, c.from)
		}
		w.files[c.file] = strings.Replace(w.files[c.file], c.from, c.to, 1)
		s := kept.shopOf(t, w)
		i := slices.IndexFunc(s.units(today), func(u unit) bool { return u.ID == "story/"+c.story })
		if u := s.units(today)[i]; u.Standing != "stale" {
			t.Errorf("%s: the story is %s, want stale", c.name, u.Standing)
		}
		s.decideAll(today)
		out := s.make()
		s.close()
		flat := strings.Join(strings.Fields(string(out[c.page])), " ")
		if !strings.Contains(flat, c.reads) || strings.Contains(strings.Join(strings.Fields(string(kept.want[c.page])), " "), c.reads) {
			t.Errorf("%s: %s does not come to read %q:\n%s", c.name, c.page, c.reads, difference(kept.want, out))
		}
	}
}

// A part's id is what decisions and figures are kept by. Renamed after them, a part
// with released facts has its story decided anew; one without counts as come since.
// Nothing else of the letter changes, and nothing of cards and archive.
func TestRenamedPartIsANewPart(t *testing.T) {
	kept, _ := beginnings(t)
	for part, want := range map[string][]string{"hull-bilge-pump": nil, "tail-hinge": {"story/rudder-hinge"}} {
		w := kept.tree.clone()
		renamePart(&dice{rand.New(rand.NewPCG(1, 1)), t}, w, []string{"parts/" + part + ".md"})
		s := kept.shopOf(t, w)
		if ids := held(s.units(today)); !slices.Equal(ids, want) {
			t.Errorf("%s: %q may not leave, want %q", part, ids, want)
		}
		if want == nil {
			out := s.make()
			for _, same := range []string{"cards", "out/cards", "out/sheets/", "out/archive/"} {
				if found := difference(only(kept.want, same), only(out, same)); found != "" {
					t.Errorf("%s: renamed, it changes more than the figures of the letter\n%s", part, found)
				}
			}
			letter := "out/edition-" + thisWeek + "/letter.txt"
			since := regexp.MustCompile(`Since the last update:[^.]*\.`)
			if b, a := since.ReplaceAll(kept.want[letter], nil), since.ReplaceAll(out[letter], nil); !bytes.Equal(a, b) {
				t.Errorf("%s: renamed, it changes more than the figures\n%s", part, firstDifference(b, a))
			}
		}
		s.close()
	}
}

// A private name that is a public word as well stops the words it stands in, and
// those alone.
func TestPrivateNameThatIsPublicStopsItsStory(t *testing.T) {
	kept, _ := beginnings(t)
	w := kept.tree.clone()
	p := w.page("parts/tail-hinge.md")
	p.set(pumpWord, "number")
	w.put("parts/tail-hinge.md", p)
	s := kept.shopOf(t, w)
	defer s.close()
	if ids := held(s.units(today)); !slices.Equal(ids, []string{"story/pump-tale"}) {
		t.Errorf("%q may not leave, want story/pump-tale alone", ids)
	}
	out := s.make()
	var cards struct {
		Cards    []struct{ Story string }
		Withheld map[string]string
	}
	if err := json.Unmarshal(out["cards.json"], &cards); err != nil {
		t.Fatal(err)
	}
	for _, c := range cards.Cards {
		if c.Story == "pump-tale" {
			t.Error("its card is printed")
		}
	}
	for name, data := range out {
		if strings.HasPrefix(name, "out/archive/") && strings.Contains(string(data), "dried up") {
			t.Errorf("%s tells it", name)
		}
	}
	if _, there := out["out/archive/story/pump-tale/index.html"]; there {
		t.Error("the archive has its page")
	}
}
