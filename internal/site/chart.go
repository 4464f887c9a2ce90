package site

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"

	"example.org/opencowl/internal/card/typeset"
	"example.org/opencowl/internal/chart"
	"example.org/opencowl/internal/edition"
)

// The chart on a screen: as wide as a letter's pictures, in type that is still read
// where a phone shows it at three fifths.
const (
	chartWidth = letterPhotoWidth * typeset.Point
	chartType  = 19 * typeset.Point
)

// letterChart is the chart of the season in a letter, and the same in words.
type letterChart struct {
	Source string   `json:"src"`
	Width  int      `json:"width"` // CSS pixels; the picture has twice as many
	Alt    string   `json:"alt"`
	Words  []string `json:"words"`
}

// chart adds the chart of the season to the letter's pictures. It always goes with
// the letter: the archive shows it as a drawing.
func (w *letterWriter) chart(theme fs.FS, p *edition.Progress) (*letterChart, error) {
	if p == nil {
		return nil, nil
	}
	d, err := drawChart(theme, *p)
	if err != nil {
		return nil, err
	}
	data, err := d.PNG()
	if err != nil {
		return nil, fmt.Errorf("site: %w", err)
	}
	sum := sha256.Sum256(data)
	name := hex.EncodeToString(sum[:20]) + ".png"
	cid := w.contentID(name)
	w.made = append(w.made, Picture{ContentID: cid, Name: name, JPEG: data})
	return &letterChart{"cid:" + cid, int(d.Width / typeset.Point), plain(d.Alt), each(p.Words(), plain)}, nil
}

// chart adds the chart of the season, as it was when the edition was frozen, to what
// an edition's page sees. Editions from before there was one have none.
func (b *builder) chart(params map[string]any, p *edition.Progress) {
	if p == nil {
		return
	}
	d, err := drawChart(b.a.Theme, *p)
	if err != nil {
		b.fail(err)
		return
	}
	params["chart"], params["chartwords"] = d.SVG("chart"), each(p.Words(), plain)
}

func drawChart(theme fs.FS, p edition.Progress) (chart.Drawing, error) {
	press, err := chart.NewPress(theme)
	if err != nil {
		return chart.Drawing{}, fmt.Errorf("site: %w", err)
	}
	d, err := press.Draw(p, chartWidth, chartType)
	if err != nil {
		return chart.Drawing{}, fmt.Errorf("site: %w", err)
	}
	return d, nil
}
