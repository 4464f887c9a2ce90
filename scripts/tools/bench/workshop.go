package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"time"

	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/edition"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/workspace"
)

// publicVocabulary shares few words with that of the record, so that nothing is
// copied from it by chance.
var publicVocabulary = strings.Fields("machine people visitors winter summer morning storm harbour slipway river lake island village harvest market bread candle lantern garden orchard meadow " +
	"kettle table window ladder basket bucket bottle barrel anchor sail mast oar compass map letter story song bell drum whistle horse bird gull swan heron otter fish boat raft bridge road hill valley " +
	"gentle heavy bright quiet curious patient careful proud humble stubborn simple clever ordinary famous hidden hollow narrow crooked smooth rough golden silver scarlet purple yellow green blue " +
	"carried watched waited wondered remembered forgot noticed explained admired borrowed promised travelled arrived departed gathered scattered polished balanced floated drifted " +
	"almost always never often sometimes everywhere nowhere quickly slowly together apart again perhaps because although while until since during towards beyond between among")

// makeArchiveWorkspace makes a workshop whose archive has some number of pages:
// of a hundred, about 88 tell a story, 5 explain a word, 5 are stops and 2 are weekly
// updates. All of it is decided on.
func makeArchiveWorkspace(ctx context.Context, dir string, pages int) error {
	if err := makeWorkspace(dir, pages, 0); err != nil {
		return err
	}
	words, stops, updates := pages/20, pages/20, pages/50
	stories := pages - words - stops - updates
	g := generator{dir: dir, random: rand.New(rand.NewPCG(3, 4)), words: pseudoWords(words), stories: stories, parts: pages / 4}
	for _, make := range []func() error{g.settings, g.photos, g.glossary, g.wording, func() error { return g.tour(stops) }} {
		if err := make(); err != nil {
			return err
		}
	}
	return g.decide(ctx, updates)
}

// generator writes made-up public words.
type generator struct {
	dir     string
	random  *rand.Rand
	words   []string // of the glossary
	stories int
	parts   int
}

func (g generator) write(name, format string, values ...any) error {
	path := filepath.Join(g.dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	return os.WriteFile(path, fmt.Appendf(nil, format, values...), 0o644)
}

// text is one sentence. One in four has a word of the trade in it.
func (g generator) text(words int) string {
	var all []string
	for range words {
		all = append(all, publicVocabulary[g.random.IntN(len(publicVocabulary))])
	}
	if g.random.IntN(4) == 0 {
		all[g.random.IntN(words)] = g.words[g.random.IntN(len(g.words))]
	}
	s := strings.Join(all, " ") + "."
	return strings.ToUpper(s[:1]) + s[1:]
}

func (g generator) settings() error {
	return g.write("workshop.yaml", `workshop: {name: Marram Sound Flying Boat Trust, machine: Oystercatcher FO-7, language: en-GB, timezone: Europe/London,
  postal_address: "The Slip Hangar", site: "https://example.org/"}
people: [{id: ines, name: Ines Hallow, roles: [engineer]}, {id: gus, name: Gus Penhallick, roles: [restorer]}, {id: nell, name: Nell Ostwick, roles: [officer, keeper]}]
areas: {hull: Hull, tail: Tail, wing: Wing, engines: Engines}
clearing: {two_people: true, private_terms: ["Quayside Alloys"], run_of_words: 8}
members_first: 14d
post: {from: update@example.org, returns: returns@example.org}
`)
}

const workshopPhotos = 12

func (g generator) photos() error {
	for i := range workshopPhotos {
		data, err := benchPhoto(i)
		if err != nil {
			return err
		}
		if err := g.write(fmt.Sprintf("photos/photo-%d.jpg", i), "%s", data); err != nil {
			return err
		}
		if err := g.write(fmt.Sprintf("photos/photo-%d.jpg.yaml", i), "parts: [part-0]\ntaken: 2030-02-03\nby: gus\npublish: offered\nrights: ours\ncaption: %s\nalt: %s\ncredit: The Tuesday bench\n", g.text(8), g.text(14)); err != nil {
			return err
		}
	}
	return nil
}

func (g generator) glossary() error {
	for _, w := range g.words {
		if err := g.write("glossary/"+w+".md", "---\nword: %s\nalso: [%ss]\nwritten_by: gus\n---\n%s\n", w, w, g.text(18)); err != nil {
			return err
		}
	}
	return nil
}

func (g generator) wording() error {
	areas := []string{"hull", "tail", "wing", "engines"}
	for i := range g.stories {
		title := strings.TrimSuffix(g.text(5), ".")
		if err := g.write(fmt.Sprintf("wording/story-%d.md", i), "---\ntitle: %s\nwritten_by: gus\nparts: [part-%d]\narea: %s\ncame_off: %s\nfailed: %s %s\nreplaced: %s\ntalk: %s\n"+
			"claims: [{say: %s, status: likely, evidence: %s}]\nquestions: [{ask: %s, answer: %s}]\nphotos: [photo-%d.jpg, photo-%d.jpg]\nfor: [visitors]\n---\n%s %s %s\n\n## %s\n\n%s %s %s\n",
			title, i%g.parts, areas[i%len(areas)], g.text(15), g.text(10), g.text(12), g.text(15), g.text(30),
			g.text(8), g.text(9), g.text(7), g.text(12), i%workshopPhotos, (i+5)%workshopPhotos,
			g.text(20), g.text(18), g.text(22), strings.TrimSuffix(g.text(4), "."), g.text(20), g.text(24), g.text(16)); err != nil {
			return err
		}
	}
	return nil
}

func (g generator) tour(stops int) error {
	var b strings.Builder
	b.WriteString("title: A long walk\nwritten_by: gus\nslot: 45m\nstops:\n")
	for i := range stops {
		fmt.Fprintf(&b, "  - {id: stop-%d, at: %q, x: %d, y: %d, stories: [story-%d], wants: could, minutes: 3}\n", i, strings.TrimSuffix(g.text(4), "."), i*7%61, i*5%23, i%g.stories)
	}
	return g.write("tours/long.yaml", "%s", b.String())
}

// decide clears everything, and puts in weekly updates that were sent long ago.
func (g generator) decide(ctx context.Context, updates int) error {
	ws, problems, err := workspace.Open(g.dir)
	if err != nil || len(problems) > 0 {
		return fmt.Errorf("%w %v", err, problems)
	}
	defer ws.Close()
	db, err := store.Open(ctx, ws.Database(), store.Options{})
	if err != nil {
		return err
	}
	defer db.Close()
	on := day.MustParse("2031-01-15")
	desk, err := clearance.Open(ctx, ws, db, clearance.Options{Today: on, Now: func() time.Time { return on.Time(time.UTC) }})
	if err != nil {
		return err
	}
	if err := desk.Decide(ctx, desk.Units(), clearance.Decision{By: "ines", NothingReadable: true}); err != nil {
		return err
	}
	for i := range updates {
		if err := g.update(ctx, db, day.MustParse("2027-01-04").AddDays(7*i)); err != nil {
			return err
		}
	}
	return nil
}

// update is an edition of the week that begins on a Monday, frozen and sent.
func (g generator) update(ctx context.Context, db *store.DB, monday day.Date) error {
	week := monday.Week()
	r := edition.Record{Week: week, Subject: g.text(5), Preheader: g.text(10), Opening: g.text(20) + "\n\n" + g.text(25),
		Figures: []edition.Figures{{Area: cleared.Area{Key: "hull", Name: "Hull"}, Off: 3, Inspected: 2, Ready: 4}}}
	for range 3 {
		id := fmt.Sprintf("story-%d", g.random.IntN(g.stories))
		r.Stories = append(r.Stories, edition.ToldStory{ID: id, Title: g.text(5), Digest: "-"})
	}
	record, err := json.Marshal(r)
	if err != nil {
		return err
	}
	e := store.Edition{Week: week.String(), FrozenBy: "nell", Subject: r.Subject, HTML: []byte("<p>"), Text: []byte("-"), Record: record, Movement: []byte("[]")}
	// What the ledger keeps of a frozen edition: internal/cli holds it to this.
	sum := sha256.New()
	for _, part := range [][]byte{[]byte(e.Subject), e.HTML, e.Text, e.Record} {
		fmt.Fprintf(sum, "%d:%s", len(part), part)
	}
	e.Digest = hex.EncodeToString(sum.Sum(nil))
	at := monday.Time(time.UTC)
	if err := db.Freeze(ctx, e, store.Entry{At: at, Who: "nell", Kind: "frozen", Unit: "edition/" + e.Week, Digest: e.Digest, Detail: r.Stories}); err != nil {
		return err
	}
	for _, state := range []string{store.Sending, store.Sent} {
		if err := db.SetEditionState(ctx, e.Week, state, at); err != nil {
			return err
		}
	}
	return nil
}

// pseudoWords are words that no language has, told apart by their syllables.
func pseudoWords(n int) []string {
	first, middle, last := strings.Fields("bra cor dil fen gos hul jem kes lor mun"), strings.Fields("va se ti no lu ri ka me do pi"), strings.Fields("mel ton ric bas den fol gan hix lum")
	var all []string
	for i := range n {
		all = append(all, first[i%len(first)]+middle[i/len(first)%len(middle)]+last[i/len(first)/len(middle)%len(last)])
	}
	return all
}
