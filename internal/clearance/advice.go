package clearance

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/photo"
	"example.org/opencowl/internal/picture"
	"example.org/opencowl/internal/reading"
)

// looks opens what was made of public copies before.
func (d *Desk) looks() *photo.Looks {
	file := filepath.Join(filepath.Dir(d.ws.CopiesDir()), "looks.json")
	return photo.OpenLooks(file, func(data []byte) error { return d.ws.Writer.WriteFile(file, data, 0o644) })
}

// advisePhotos looks at every photo that is offered, as it would leave, and advises
// on it. Advice stops nothing and shapes no digest: it reaches people, and no output.
func (d *Desk) advisePhotos(ctx context.Context) error {
	looks := d.looks()
	for _, tag := range d.log.Tags() {
		c, ok := lookAt(d.photos[tag.Photo])
		if !ok {
			continue
		}
		seen, err := looks.At(ctx, c.Name(), c.Bytes)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err == nil { // a copy that was spoilt since is for whoever opens it next
			d.shots = append(d.shots, photo.Shot{Tag: tag, Seen: seen})
		}
	}
	for _, shot := range d.shots {
		u := d.byID["photo/"+shot.Tag.Photo]
		for _, p := range photo.Advise(d.log, shot, d.shots) {
			u.Findings = append(u.Findings, Finding{p, u.ID})
		}
	}
	// What cannot be remembered, on a full disk for instance, is looked at again.
	_ = looks.Keep()
	return nil
}

// lookAt chooses the copy to look at: the widest of no more than LookWidth.
func lookAt(p cleared.Photo) (cleared.Copy, bool) {
	for _, use := range []cleared.Use{cleared.Web800, cleared.Web400} {
		if c, ok := p.Copy(use); ok && c.Width() <= photo.LookWidth {
			return c, true
		}
	}
	return cleared.Copy{}, false
}

// pictureAdvice are the codes of advice about how a picture looks. Whoever clears
// the picture has seen it, so that it is not repeated after that.
var pictureAdvice = map[string]bool{photo.CodeFace: true, photo.CodeAlike: true, photo.CodeBlurred: true, photo.CodeWeek: true}

// TryPhotos adds to tags that are not written yet what Check would say of them and
// of their photos, beside the strict reader. It keeps no copies.
func (d *Desk) TryPhotos(ctx context.Context, jobs []*photo.Job) error {
	looks := d.looks()
	shots := slices.Clone(d.shots)
	tried := map[*photo.Job]photo.Shot{}
	for _, j := range jobs {
		tag := j.Tag()
		if tag == nil {
			continue
		}
		u := &Unit{ID: "photo/" + tag.Photo}
		u.Texts = tagTexts(tag)
		u.Findings = append(d.checkTexts(u, u.Texts), d.checkTag(u, tag)...)
		seen, ok, err := d.tryCopies(ctx, looks, u, j)
		if err != nil {
			return err
		}
		for _, f := range u.Findings {
			j.Problems = append(j.Problems, f.Problem)
		}
		if ok {
			tried[j] = photo.Shot{Tag: tag, Seen: seen}
			shots = append(shots, tried[j])
		}
	}
	for _, j := range jobs {
		if shot, ok := tried[j]; ok {
			j.Problems = append(j.Problems, photo.Advise(d.log, shot, shots)...)
		}
		reading.Sort(j.Problems)
	}
	return nil
}

// tryCopies makes the copies by which a photo is judged, and looks at one.
func (d *Desk) tryCopies(ctx context.Context, looks *photo.Looks, u *Unit, j *photo.Job) (seen photo.Seen, ok bool, err error) {
	recipe := d.recipe(j.Tag())
	recipe.Uses = []cleared.Use{cleared.Web800, cleared.Card}
	copies, err := picture.Make(ctx, j.Original(), recipe)
	var fault *picture.Error
	switch {
	case errors.As(err, &fault):
		u.find(reading.Place{File: j.Tag().PhotoFile}, string(fault.Code), "", fault.Message, fault.Remedy)
		return seen, false, nil
	case err != nil:
		return seen, false, fmt.Errorf("%s: %w", j.Tag().PhotoFile, err)
	}
	for _, c := range copies {
		switch c.Use {
		case cleared.Card:
			for _, f := range d.checkCopy(u, j.Tag(), picture.CopyInfo{Use: c.Use, Width: c.Width}) {
				f.Advice = !j.Tag().Publish // a photo that is kept may be of any size
				u.Findings = append(u.Findings, f)
			}
		case cleared.Web800:
			if seen, err = looks.Look(c.JPEG); err != nil {
				return seen, false, err
			}
		}
	}
	return seen, true, nil
}
