package cli

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/photo"
	"example.org/opencowl/internal/reading"
)

func (a *app) photoCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "photo",
		Short: "Tag photos, and list how they stand",
		Args:  args(0, 0, "tag or list"),
		RunE:  func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(a.photoTagCommand(), a.photoListCommand())
	return cmd
}

// tagFlags are the flags of photo tag as they are typed.
type tagFlags struct {
	photo.Edit
	offer, keep, dryRun bool
	focus               string
	hide, people        []string
}

func (a *app) photoTagCommand() *cobra.Command {
	var f tagFlags
	cmd := &cobra.Command{
		Use:   "tag FILE...",
		Short: "Write or change the tags of photos",
		Long: `Write the tag of each photo beside it, or change the keys that are named; the rest of a
tag stays as it is. A photo from elsewhere, a phone's upload for instance, is copied into
photos/ first, as it is, under a plain name. One in photos/ may be given by its name.

Parts, boxes to hide and people are added to those in the tag; a person is known by who=,
and one who is there already is changed. --drop KEY takes a key out first. The day on
which it was taken comes from the camera, if it may be true, where nobody says it.

Nothing is written for any of the files when one has a problem: an unknown part, a
consent that is missing for an offer, a photo that is not JPEG or PNG. All problems are
told at once. Faces, likeness to another photo, blur and days that do not fit the log are
advice from a program that may be wrong; the person who looks decides.

--offer says that you mean it to be published. An engineer decides (opencowl decide).`,
		Example: `  opencowl photo tag ~/upload/IMG_0042.JPG --part hull-floor-stiffener --by tam --rights ours
  opencowl photo tag img-0042.jpg --caption "The old stiffener." --alt "A thin strip, pitted along one edge." --offer
  opencowl photo tag img-0042.jpg --hide "0.1,0.2,0.05,0.04:data plate" --focus 0.42,0.55
  opencowl photo tag img-0042.jpg --people "who=someone at the bench,consent=given,on=2031-01-14,adult=yes"`,
		Args: args(1, 1000, "the photos to tag"),
		RunE: func(cmd *cobra.Command, files []string) error {
			e, err := f.edit(func(flag string) bool { return cmd.Flags().Changed(flag) })
			if err != nil {
				return use(err)
			}
			return a.tagPhotos(cmd.Context(), files, e, f)
		},
	}
	flags := cmd.Flags()
	flags.StringArrayVar(&f.Parts, "part", nil, "a part that it shows: an id from parts/; repeat for several")
	flags.StringVar(&f.Taken, "taken", "", "the day on which it was taken, YYYY-MM-DD")
	flags.StringVar(&f.By, "by", "", "who took it: an id from workshop.yaml")
	flags.BoolVar(&f.offer, "offer", false, "offer it for publication")
	flags.BoolVar(&f.keep, "keep", false, "keep it back")
	flags.StringVar(&f.Caption, "caption", "", "the words under it")
	flags.StringVar(&f.Alt, "alt", "", "what a person who cannot see it should know")
	flags.StringVar(&f.Credit, "credit", "", "whom to thank for it")
	flags.StringVar(&f.CreditOK, "credit-ok", "", "the day on which the person credited agreed to be named")
	flags.StringVar(&f.Rights, "rights", "", "whose the picture is: ours, permission or lent")
	flags.StringVar(&f.focus, "focus", "", "x,y that crops keep in view, in fractions of the upright picture")
	flags.StringArrayVar(&f.hide, "hide", nil, "x,y,w,h:why to fill in before it leaves, in fractions or, with px, in pixels; repeat for several")
	flags.StringArrayVar(&f.people, "people", nil, "who=,consent=,on=,adult=,guardian= of somebody who can be seen; repeat for several")
	flags.StringSliceVar(&f.Drop, "drop", nil, "a key to take out of the tag first")
	flags.BoolVar(&f.dryRun, "dry-run", false, "show what would be written, and write nothing")
	return cmd
}

// edit reads the flags. All that is wrong with them is told at once.
func (f tagFlags) edit(changed func(flag string) bool) (photo.Edit, error) {
	e := f.Edit
	var faults []error
	flag := func(name string, err error) {
		if err != nil {
			faults = append(faults, fmt.Errorf("--%s: %w", name, err))
		}
	}
	switch {
	case f.offer && f.keep:
		faults = append(faults, errors.New("--offer and --keep say opposite things; give one"))
	case f.offer:
		e.Publish = "offered"
	case f.keep:
		e.Publish = "no"
	}
	for _, v := range []struct{ flag, value, key string }{{"taken", e.Taken, "taken"}, {"by", e.By, "by"}, {"caption", e.Caption, "caption"}, {"alt", e.Alt, "alt"},
		{"credit", e.Credit, "credit"}, {"credit-ok", e.CreditOK, "credit_ok"}, {"rights", e.Rights, "rights"}, {"focus", f.focus, "focus"}} {
		if changed(v.flag) && strings.TrimSpace(v.value) == "" {
			flag(v.flag, fmt.Errorf("no value is given; take it out of the tag with --drop %s", v.key))
		}
	}
	if f.focus != "" {
		var err error
		e.Focus, err = photo.ParseFocus(f.focus)
		flag("focus", err)
	}
	for _, s := range f.hide {
		area, err := photo.ParseHide(s)
		flag("hide", err)
		e.Hide = append(e.Hide, area)
	}
	for _, s := range f.people {
		person, err := photo.ParsePerson(s)
		flag("people", err)
		e.People = append(e.People, person)
	}
	return e, errors.Join(faults...)
}

// tagReport is the machine output of photo tag.
type tagReport struct {
	Written bool         `json:"written"`
	Photos  []*photo.Job `json:"photos"`
}

func (a *app) tagPhotos(ctx context.Context, files []string, e photo.Edit, f tagFlags) error {
	writer := "photo tag"
	if f.dryRun {
		writer = ""
	}
	s, err := a.open(ctx, writer)
	if err != nil {
		return err
	}
	defer s.close()
	jobs, err := photo.Plan(s.ws, files, e, s.today)
	if err != nil {
		return use(err)
	}
	if err := s.desk.TryPhotos(ctx, jobs); err != nil {
		return err
	}
	stops, broken := 0, false
	for _, j := range jobs {
		for _, p := range j.Problems {
			if !p.Advice {
				stops++
			}
		}
		broken = broken || j.Stops() && (f.offer || !j.Sound())
	}
	write := !broken && !f.dryRun
	if write {
		if err := photo.Write(s.ws, jobs); err != nil {
			return err
		}
	}
	a.tellTags(s, jobs, write)
	switch {
	case broken:
		a.say("nothing was written; %s", count(stops, "problem stops it", "problems stop it"))
	case f.dryRun:
		a.say("nothing was written; leave out --dry-run to write")
	case stops > 0:
		a.say("written all the same; %s from leaving", count(stops, "problem keeps it", "problems keep it"))
	}
	if err := a.print(tagReport{write, jobs}); err != nil {
		return err
	}
	if stops > 0 {
		return &found{stops}
	}
	return nil
}

// tellTags says what became of each photo, and what its tag says.
func (a *app) tellTags(s *session, jobs []*photo.Job, written bool) {
	for _, j := range jobs {
		name := j.Photo
		if j.From != "" {
			name = j.From
		}
		for _, note := range j.Notes {
			a.say("%s: %s", reading.Visible(name), note)
		}
		a.tell(j.Problems)
		if j.Tag() == nil {
			continue
		}
		switch {
		case j.Same:
			a.say("%s: says all this already", j.File)
			continue
		case !written:
			a.say("%s would say:", j.File)
		case j.New:
			a.say("%s: written", j.File)
		default:
			a.say("%s: changed", j.File)
		}
		for line := range strings.Lines(strings.TrimPrefix(j.Text, "\ufeff")) {
			a.say("    %s", reading.Visible(strings.TrimRight(line, "\r\n")))
		}
		if u := s.unit("photo/" + j.Tag().Photo); written && !j.Tag().Publish && u != nil && u.Standing == clearance.Cleared {
			a.say("%s was cleared: build the archive again so that it goes from there, and see opencowl withdraw for what was told", j.Photo)
		}
	}
}

// unit finds a unit by its id; nil when there is none.
func (s *session) unit(id string) *clearance.Unit {
	for _, u := range s.desk.Units() {
		if u.ID == id {
			return u
		}
	}
	return nil
}

// photoReport is a photo in the machine output of photo list.
type photoReport struct {
	photo.Row
	Standing string   `json:"standing"`
	Problems []string `json:"problems"` // codes of what stops it
}

// untagged is how a photo stands that is no unit yet.
const untagged = "untagged"

func (a *app) photoListCommand() *cobra.Command {
	var onlyUntagged, onlyWaiting bool
	cmd := &cobra.Command{
		Use:   "list",
		Short: "List the photos, how they stand, and what they need",
		Long: `List every photo with how it stands: untagged, kept (not offered), waiting (offered, and
nobody has decided), cleared, stale (changed since it was cleared), refused or withdrawn;
then its parts, and what it still needs before it can be cleared.

--untagged lists those without a tag, --waiting those that wait for a decision; with both,
either.`,
		Example: "  opencowl photo list --untagged\n  opencowl photo list --waiting --json",
		Args:    args(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			s, err := a.open(cmd.Context(), "")
			if err != nil {
				return err
			}
			defer s.close()
			reports := []photoReport{}
			for _, row := range photo.List(s.ws) {
				r := photoReport{row, untagged, []string{}}
				if u := s.unit("photo/" + row.Photo); u != nil {
					r.Standing = string(u.Standing)
					for _, f := range u.Findings {
						if !f.Advice {
							r.Problems = append(r.Problems, f.Code)
						}
					}
				}
				waits := r.Standing == string(clearance.Waiting) || r.Standing == string(clearance.Stale)
				if onlyUntagged || onlyWaiting {
					if !(onlyUntagged && r.Standing == untagged || onlyWaiting && waits) {
						continue
					}
				}
				reports = append(reports, r)
				a.tellPhoto(r)
			}
			a.say("%s", count(len(reports), "photo", "photos"))
			return a.print(reports)
		},
	}
	cmd.Flags().BoolVar(&onlyUntagged, "untagged", false, "only photos without a tag")
	cmd.Flags().BoolVar(&onlyWaiting, "waiting", false, "only photos that wait for a decision")
	return cmd
}

func (a *app) tellPhoto(r photoReport) {
	notes := []string{}
	if len(r.Missing) > 0 && r.Standing != string(clearance.Cleared) {
		notes = append(notes, "needs "+list(r.Missing))
	}
	if len(r.Problems) > 0 {
		notes = append(notes, "has problems; opencowl check tells them")
	}
	note := ""
	if len(notes) > 0 {
		note = "  - " + strings.Join(notes, "; ")
	}
	a.say("%-9s  %-34s %s%s", r.Standing, reading.Visible(r.Photo), list(r.Parts), note)
}
