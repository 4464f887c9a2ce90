package card

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/card/typeset"
	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/tour"
)

// runSheet is a run sheet being set.
type runSheet struct{ paged }

// document sets the sheet in the order of its face.
func (r *runSheet) document() (*draw.Document, error) {
	if err := errors.Join(r.head(r.summary()), r.warning()); err != nil {
		return nil, roomOr(err)
	}
	parts := map[string]func() error{
		fieldVisits: r.visits, fieldWayRound: r.wayRound, fieldLate: r.late, fieldLeftOut: r.leftOut, fieldFetch: r.fetch,
		fieldCautions: r.takeCare, fieldOnSite: r.onSite, fieldSeason: r.season, fieldLedger: r.ledger, fieldTalk: r.talk,
	}
	for _, field := range r.face.Fields {
		if err := parts[field](); err != nil {
			return nil, roomOr(err)
		}
	}
	return r.finish()
}

// summary says the times of the whole.
func (r *runSheet) summary() string {
	p := r.plan
	var b strings.Builder
	fmt.Fprintf(&b, "A slot of %s", tour.DurationWords(p.Slot))
	if r.options.Start >= 0 {
		fmt.Fprintf(&b, ", %s to %s", clock(r.options.Start), clock(r.options.Start+p.Slot))
	}
	fmt.Fprintf(&b, ". Stops and walks take %s", tour.DurationWords(p.Takes))
	if p.Over == 0 {
		fmt.Fprintf(&b, "; %s are left for questions", tour.DurationWords(p.Slot-p.Takes))
	}
	fmt.Fprintf(&b, ". A group of %d.", r.tour.Group())
	if r.options.Start < 0 {
		b.WriteString(" Times are minutes after the start.")
	}
	if !r.options.Returning.IsZero() {
		fmt.Fprintf(&b, " For visitors who last came on %s.", r.options.Returning.Words())
	}
	return b.String()
}

// warning says at the top when the stops that must be in do not fit.
func (r *runSheet) warning() error {
	if r.plan.Over == 0 {
		return nil
	}
	small := r.composer
	small.title = r.text
	b, err := small.warningBand(fmt.Sprintf("Too long by %s: the stops that must be in need a slot of %s. Leave one out before you start; what each would save stands below.",
		tour.DurationWords(r.plan.Over), tour.DurationWords(r.plan.SlotFor())))
	r.add(b, r.gap, false)
	return err
}

// clock is a time of day.
func clock(d time.Duration) string {
	return fmt.Sprintf("%02d:%02d", int(d/time.Hour)%24, int(d/time.Minute)%60)
}

// when is a time on the tour as the guide reads it: never later than it is.
func (r *runSheet) when(after time.Duration) string {
	if r.options.Start >= 0 {
		return clock(r.options.Start + after)
	}
	return fmt.Sprintf("%d min", int(after/time.Minute))
}

// visits sets the stops: time, number and place to the left of what is done there.
func (r *runSheet) visits() error {
	column, err := r.timeColumn()
	if err != nil {
		return err
	}
	for _, v := range r.plan.Visits {
		if err := r.visit(v, column); err != nil {
			return fmt.Errorf("stop %d (%s): %w", v.Stop.Number(), v.Stop.ID(), err)
		}
	}
	node := &draw.Node{Role: draw.RoleParagraph}
	b, err := r.set([]ink{{r.when(r.plan.Takes) + " ", r.face.heavy, r.face.Colours.Text, node}}, r.text, r.leading, typeset.Measure{Width: r.measure()})
	if err != nil {
		return err
	}
	words := "Questions, until the slot ends at " + r.when(r.plan.Slot) + "."
	if r.plan.Takes >= r.plan.Slot {
		words = "The end, past the slot."
	}
	end, err := r.set([]ink{{words, r.face.strong, r.face.Colours.Heading, node}}, r.text, r.leading, typeset.Measure{Width: r.measure() - column})
	if err != nil {
		return err
	}
	b.nodes = []*draw.Node{node}
	b.put(end, column, 0)
	r.add(r.ruled(b), r.gap, false)
	return nil
}

// timeColumn is the width of the times and the gap beside them.
func (r *runSheet) timeColumn() (typeset.Points, error) {
	wide := typeset.Points(0)
	times := []time.Duration{r.plan.Takes}
	for _, v := range r.plan.Visits {
		times = append(times, v.Starts)
	}
	for _, at := range times {
		b, err := r.set([]ink{{r.when(at), r.face.heavy, r.face.Colours.Text, nil}}, r.text.Scale(5, 4), 100, typeset.Measure{Width: r.measure()})
		if err != nil {
			return 0, err
		}
		wide = max(wide, b.width)
	}
	return wide + r.text, nil
}

// visit sets one stop.
func (r *runSheet) visit(v tour.Visit, column typeset.Points) error {
	heading := &draw.Node{Role: draw.RoleHeading2}
	b, err := r.set([]ink{{r.when(v.Starts) + " ", r.face.heavy, r.face.Colours.Text, heading}}, r.text.Scale(5, 4), 100, typeset.Measure{Width: r.measure()})
	if err != nil {
		return err
	}
	number, err := r.badge(fmt.Sprint(v.Stop.Number()), heading)
	if err != nil {
		return err
	}
	x := column + number.width + r.text*2/3
	place, err := r.set([]ink{{v.Stop.At(), r.face.heavy, r.face.Colours.Heading, heading}}, r.text.Scale(11, 10), 110, typeset.Measure{Width: r.measure() - x})
	if err != nil {
		return err
	}
	middle := max(number.height, b.height) / 2
	var row block
	row.nodes = []*draw.Node{heading}
	row.put(b, 0, middle-b.height/2)
	row.put(number, column, middle-number.height/2)
	row.put(place, x, max(0, middle-r.text.Scale(121, 200)))
	r.add(r.ruled(row), r.gap, true)
	return r.visitWords(v, column)
}

// visitWords sets what is done at a stop, under its heading.
func (r *runSheet) visitWords(v tour.Visit, x typeset.Points) error {
	width := r.measure() - x
	put := func(b block, err error, gap typeset.Points, held bool) error {
		if err != nil {
			return err
		}
		var moved block
		moved.put(b, x, 0)
		r.add(moved, gap, held)
		return nil
	}
	times, err := r.line(visitTimes(v), r.face.text, r.face.Colours.Quiet, r.text, width)
	if err := put(times, err, 0, true); err != nil {
		return err
	}
	for _, s := range v.Stop.Stories() {
		for _, words := range [][]storyLine{r.titleLine(s), showLine(s)} {
			b, err := r.storyLines(words, other(s.Language(), r.language), width)
			if err := put(b, err, r.gap/6, true); err != nil {
				return err
			}
		}
	}
	if len(v.Stop.Withheld()) > 0 {
		b, err := r.line("Another story of this stop is held back today: tell nothing of it.", r.face.strong, r.face.Colours.Warning, r.text, width)
		if err := put(b, err, r.gap/6, true); err != nil {
			return err
		}
	}
	care, err := r.careLine(v.Stop, width)
	if err := put(care, err, r.gap/6, true); err != nil {
		return err
	}
	r.blocks[len(r.blocks)-1].held = false
	return nil
}

// storyLines sets words about a story as one paragraph.
func (r *runSheet) storyLines(words []storyLine, tongue string, width typeset.Points) (block, error) {
	if len(words) == 0 {
		return block{}, nil
	}
	var inks []ink
	var nodes []*draw.Node
	for i, w := range words {
		node := &draw.Node{Role: draw.RoleParagraph}
		if w.own {
			node.Language = tongue
		}
		more := w.inks(r.face, node)
		if i+1 < len(words) {
			more[len(more)-1].text += " "
		}
		inks, nodes = append(inks, more...), append(nodes, node)
	}
	b, err := r.set(inks, r.text, r.leading, typeset.Measure{Width: width})
	b.nodes = nodes
	return b, err
}

// storyLine is something said about a story. What is its own is in its language;
// the rest is in the workshop's.
type storyLine struct {
	entry
	own bool
}

// titleLine is a story's title, and what is new in it.
func (v voice) titleLine(s cleared.Story) []storyLine {
	all := []storyLine{{entry{Lead: sentence(s.Title())}, true}}
	if words := v.newsWords(s.Changes()); words != "" {
		all = append(all, storyLine{entry{Text: "New: " + words}, false})
	}
	return all
}

// showLine names a story's props.
func showLine(s cleared.Story) []storyLine {
	if show := showWords(s.Props()); show != "" {
		return []storyLine{{entry{Lead: "Show:", Text: show}, true}}
	}
	return nil
}

// visitTimes says how the time at a stop is made up.
func visitTimes(v tour.Visit) string {
	words := fmt.Sprintf("Walk %s, %s. Stop %s", metresWords(v.Metres), tour.DurationWords(v.Timing.Walk), tour.DurationWords(v.Timing.Stop))
	if v.Timing.Walk == 0 {
		words = "Stop " + tour.DurationWords(v.Timing.Stop)
	}
	var made []string
	if v.Timing.Talk > 0 {
		made = append(made, "talk "+tour.DurationWords(v.Timing.Talk))
	}
	if v.Timing.Props > 0 {
		made = append(made, "handing round "+tour.DurationWords(v.Timing.Props))
	}
	if len(made) > 0 {
		words += ": " + strings.Join(made, ", ")
	}
	return words + "."
}

// newsWords says what is new in a story for somebody who comes back, and quotes
// nothing of the record.
func (v voice) newsWords(n cleared.Changes) string {
	switch w := v.words.News; {
	case n.Story:
		return w.Story
	case n.Words && n.Work:
		return w.WordsAndWork
	case n.Words:
		return w.Words
	case n.Work:
		return w.Work
	}
	return ""
}

// showWords names the props of a story and how to hand them round.
func showWords(props []cleared.Prop) string {
	var all []string
	for _, p := range props {
		how := map[cleared.HandRound]string{cleared.DropProof: "drop-proof", cleared.TwoHands: "two hands", cleared.LookOnly: "look only"}[p.HandRound]
		all = append(all, strings.TrimRight(strings.TrimSpace(p.What), ".")+" ("+how+")")
	}
	if len(all) == 0 {
		return ""
	}
	return strings.Join(all, "; ") + "."
}

// careLine names the cautions of a stop behind our sign for them; the advice
// stands once for the whole sheet.
func (r *runSheet) careLine(stop cleared.Stop, width typeset.Points) (block, error) {
	var labels []string
	for _, c := range stopCautions(stop) {
		labels = append(labels, sentence(c.Label))
	}
	if len(labels) == 0 {
		return block{}, nil
	}
	sign := cautionSymbol(r.text.Scale(13, 10), r.face.Colours.OnCaution, r.face.Colours.Caution)
	x := sign.width + r.text/2
	node := &draw.Node{Role: draw.RoleParagraph}
	set, err := r.set([]ink{{"Take care: ", r.face.heavy, r.face.Colours.Text, node}, {strings.Join(labels, " "), r.face.strong, r.face.Colours.Text, node}},
		r.text, r.leading, typeset.Measure{Width: width - x})
	if err != nil {
		return block{}, err
	}
	b := block{nodes: []*draw.Node{node}}
	line := r.text.Scale(int64(r.leading), 100)
	b.put(sign, 0, max(0, (line-sign.height)/2))
	b.put(set, x, max(0, (sign.height-line)/2))
	return b, nil
}

// stopCautions joins those of a stop and of all its stories, the gravest first.
func stopCautions(stop cleared.Stop) []cleared.Caution {
	var all []cleared.Caution
	for _, s := range stop.Stories() {
		for _, c := range allCautions(stop, s) {
			if !slices.ContainsFunc(all, func(a cleared.Caution) bool { return a.Key == c.Key }) {
				all = append(all, c)
			}
		}
	}
	slices.SortStableFunc(all, func(a, b cleared.Caution) int { return gravity(a) - gravity(b) })
	return all
}

func (r *runSheet) wayRound() error {
	plan, err := r.drawFloorPlan(r.tour, r.plan, r.measure(), r.size.height/3)
	if err != nil {
		return err
	}
	if err := r.heading("The way round"); err != nil {
		return err
	}
	r.add(plan, r.gap/3, false)
	return nil
}

// fetch lists the props as they are met, each with how it is handed round.
func (r *runSheet) fetch() error {
	var all []entry
	for _, f := range r.plan.Props() {
		all = append(all, entry{Lead: strings.TrimRight(capital(f.What), ".") + ", " + stopWords(f.Stops()) + ".", Text: strings.TrimSpace(r.handlingWords(f) + careLabels(f.Cautions()))})
	}
	return r.entries("Fetch before you start", "", all, false)
}

// late says what to leave out, in which order.
func (r *runSheet) late() error {
	opening := "Leave out the first of these that you have not reached yet, then the next."
	if r.plan.Over > 0 {
		opening = "Every stop here is one that must be in. Somebody has to choose; this is what each would save by itself."
	}
	var all []entry
	for _, c := range r.plan.Late {
		all = append(all, entry{Lead: fmt.Sprintf("Stop\u00a0%d, %s:", c.Stop.Number(), lowered(c.Stop.At())), Text: "saves " + sentence(tour.DurationWords(c.Saves))})
	}
	return r.entries("If you run late", opening, all, true)
}

// lowered is a place in the middle of a sentence.
func lowered(at string) string { return strings.TrimRight(strings.TrimSpace(at), ".") }

func (r *runSheet) leftOut() error {
	var all []entry
	for _, l := range r.plan.LeftOut {
		e := entry{Lead: fmt.Sprintf("Stop\u00a0%d, %s:", l.Stop.Number(), lowered(l.Stop.At()))}
		switch {
		case l.Reason == tour.NothingToTell:
			e.Text = "nothing is cleared to tell. Walk past."
		case l.Costs > 0:
			e.Text = "no time; it would take " + tour.DurationWords(l.Costs) + " more."
		default:
			e.Text = "no time."
		}
		all = append(all, e)
	}
	return r.entries("Not on this walk", "", all, false)
}

// takeCare gives the advice of each caution once, with the stops that it is for.
func (r *runSheet) takeCare() error {
	var met []cleared.Caution
	stops := map[string][]int{}
	for _, v := range r.plan.Visits {
		for _, c := range stopCautions(v.Stop) {
			if len(stops[c.Key]) == 0 {
				met = append(met, c)
			}
			stops[c.Key] = append(stops[c.Key], v.Stop.Number())
		}
	}
	slices.SortStableFunc(met, func(a, b cleared.Caution) int { return gravity(a) - gravity(b) })
	var all []entry
	for _, c := range met {
		all = append(all, entry{Lead: strings.TrimRight(c.Label, ".") + ", " + stopWords(stops[c.Key]) + ".", Text: c.Advice})
	}
	return r.entries("Take care", "", all, false)
}

// ledger prints the head in groups, so that it can be read out and typed.
func (r *runSheet) ledger() error {
	if r.draft {
		return nil // nobody keeps a draft to hold the ledger against it
	}
	head := r.options.LedgerHead
	if head == "" {
		return r.entries("Ledger", "", []entry{{Text: "Empty before this printing."}}, true)
	}
	var groups []string
	for g := range slices.Chunk([]byte(head), 8) {
		groups = append(groups, string(g))
	}
	return r.entries("Ledger", "", []entry{{Lead: "Head before this printing:", Text: strings.Join(groups, " ")}}, true)
}

// talk gives the words of every stop, for a guide without the backs of the cards.
func (r *runSheet) talk() error {
	begun := false
	for _, v := range r.plan.Visits {
		for _, s := range v.Stop.Stories() {
			paragraphs := shortParagraphs(s.Talk())
			if len(paragraphs) == 0 {
				continue
			}
			if !begun {
				begun = true
				if err := r.heading("The talk"); err != nil {
					return err
				}
			}
			title, err := r.storyLines([]storyLine{{entry{Lead: fmt.Sprintf("Stop\u00a0%d:", v.Stop.Number())}, false}, {entry{Lead: s.Title()}, true}}, other(s.Language(), r.language), r.measure())
			if err != nil {
				return err
			}
			r.add(title, r.gap/2, true)
			for _, words := range paragraphs {
				b, err := r.storyLines([]storyLine{{entry{Text: words}, true}}, other(s.Language(), r.language), r.measure())
				if err != nil {
					return fmt.Errorf("stop %d, the talk: %w", v.Stop.Number(), err)
				}
				r.add(b, r.gap/6, false)
			}
		}
	}
	return nil
}

// mostWords is how long a paragraph on a run sheet may be: one stays on a page
// (our own figure).
const mostWords = 120

// shortParagraphs splits a talk at its paragraphs, and a paragraph of very many
// words at the end of a sentence where there is one. No-break spaces stay.
func shortParagraphs(text string) []string {
	var all []string
	for _, p := range paragraphs(text) {
		words := strings.FieldsFunc(p.Text, func(r rune) bool { return strings.ContainsRune(" \t\n", r) })
		for len(words) > mostWords {
			cut := sentenceEnd(words[:mostWords])
			all = append(all, strings.Join(words[:cut], " "))
			words = words[cut:]
		}
		all = append(all, strings.Join(words, " "))
	}
	return all
}

// sentenceEnd is how many of some words make whole sentences; all of them where
// none ends in the latter half.
func sentenceEnd(words []string) int {
	for i := len(words); i > len(words)/2; i-- {
		if strings.ContainsAny(words[i-1][len(words[i-1])-1:], ".!?") {
			return i
		}
	}
	return len(words)
}
