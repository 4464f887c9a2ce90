package card

import (
	"example.org/opencowl/internal/card/draw"
	"example.org/opencowl/internal/chart"
)

// season draws how the parts come back on, with the same in words, for a guide who is
// asked when the machine will be out again.
func (r *runSheet) season() error {
	p := r.options.Season
	if p == nil {
		return nil
	}
	press, err := chart.NewPress(r.options.Theme)
	if err != nil {
		return err
	}
	d, err := press.Draw(*p, r.measure()*4/5, r.paper.Small)
	if err != nil {
		return err
	}
	if err := r.heading("How far the parts have come"); err != nil {
		return err
	}
	figure := &draw.Node{Role: draw.RoleFigure, Alt: d.Alt}
	b := block{width: d.Width, height: d.Height, items: d.Items, nodes: []*draw.Node{figure}}
	for i := range b.items {
		b.items[i].Node = figure
	}
	r.add(b, r.gap/3, true)
	for i, words := range p.Words() {
		line, err := r.line(words, r.face.text, r.face.Colours.Text, r.text, r.measure())
		if err != nil {
			return err
		}
		r.add(line, r.gap/4, i+1 < len(p.Words()))
	}
	return nil
}
