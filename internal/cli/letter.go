package cli

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"regexp"

	"example.org/opencowl/internal/site"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/workspace"
)

// letterReport says what a letter weighs, and where its pictures are.
type letterReport struct {
	HTMLBytes    int `json:"html_bytes"`
	PictureBytes int `json:"picture_bytes"` // of those that go with it
	Attached     int `json:"attached"`      // pictures that go with it
	Linked       int `json:"linked"`        // pictures that stay on the archive
	Charts       int `json:"charts"`        // of the attached: drawn from movement, never on the archive
}

// published names the copies of pictures that readers find on the archive: those of
// stories that are public and that the archive was built with as they stand. It is
// empty while the settings have pictures go with the letter.
func (s *session) published(ctx context.Context) (map[string]bool, error) {
	names := map[string]bool{}
	if s.ws.Settings.Post.Pictures != workspace.PicturesLinked {
		return names, nil
	}
	rows, err := s.db.Ledger(ctx, store.Filter{Kind: "published"})
	if err != nil {
		return nil, err
	}
	shown := map[string]string{}
	for _, r := range rows {
		shown[r.Unit] = r.Digest
	}
	for _, story := range s.desk.PublicStories() {
		if shown["story/"+story.ID()] != story.Digest() {
			continue
		}
		for _, p := range story.Photos() {
			for _, c := range p.Copies() {
				names[c.Name()] = true
			}
		}
	}
	return names, nil
}

// linked finds the pictures of a letter that stay on the archive.
func (s *session) linked() *regexp.Regexp {
	return regexp.MustCompile(`(src=")` + regexp.QuoteMeta(s.ws.Settings.Workshop.Site) + `pictures/([A-Za-z0-9_-]+\.jpg)"`)
}

func (s *session) describe(l site.Letter) letterReport {
	r := letterReport{HTMLBytes: len(l.HTML), Attached: len(l.Pictures), Linked: len(s.linked().FindAll(l.HTML, -1))}
	for _, p := range l.Pictures {
		r.PictureBytes += len(p.JPEG)
		if filepath.Ext(p.Name) == ".png" {
			r.Charts++
		}
	}
	return r
}

// withLinked puts the copies that are here in place of linked pictures, so that a
// letter can be looked at before the archive is put up.
func (s *session) withLinked(html []byte, files map[string][]byte) []byte {
	known := s.desk.PublicCopies()
	return s.linked().ReplaceAllFunc(html, func(found []byte) []byte {
		name := string(s.linked().FindSubmatch(found)[2])
		if !known[name] {
			return found
		}
		data, err := os.ReadFile(filepath.Join(s.ws.CopiesDir(), name))
		if err != nil { // the letter's own address shows it as well
			return found
		}
		files["pictures/"+name] = data
		return bytes.Join([][]byte{[]byte(`src="pictures/`), []byte(name), []byte(`"`)}, nil)
	})
}

// adviceOn lists what the checks advise on a unit.
func (s *session) adviceOn(id string) []string {
	var all []string
	for _, u := range s.desk.Units() {
		for _, f := range u.Findings {
			if u.ID == id && f.Advice {
				all = append(all, f.Error())
			}
		}
	}
	return all
}

// letterLines is what the officer is told of the letter itself.
func (s *session) letterLines(r *editionReport) []string {
	l := r.Letter
	var said []string
	say := func(format string, values ...any) { said = append(said, fmt.Sprintf(format, values...)) }
	say("the letter has %d kB of HTML; some mailboxes cut one off at 100 kB", (l.HTMLBytes+999)/1000)
	switch {
	case l.Attached > 0:
		chart := ""
		if l.Charts > 0 {
			chart = ", the chart among them"
		}
		say("%s with it, %d kB%s", count(l.Attached, "picture goes", "pictures go"), (l.PictureBytes+999)/1000, chart)
	case l.Linked == 0:
		say("it has no pictures")
	}
	if l.Linked > 0 {
		say("%s on %s: put the archive up before you post", count(l.Linked, "picture is linked, and stands", "pictures are linked, and stand"), s.ws.Settings.Workshop.Site)
	}
	if l.Attached > l.Charts && s.ws.Settings.Post.Pictures == workspace.PicturesLinked {
		say("  what goes with it is not on the archive yet, as members see it first, or the archive was not built since; a link to it would be open to anybody, or dead")
	}
	for _, advice := range r.Advice {
		say("advice: %s", advice)
	}
	return said
}
