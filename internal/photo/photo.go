// Package photo is for whoever tags photos: it brings photos into a workspace,
// writes and changes their tags, says how they stand, and looks at them for what a
// person may have missed.
//
// It promises that a tag passes the strict reader before it is written; that of a
// tag which is there only the keys that were named change, and everything else
// stays byte for byte; that a photo is copied in whole, as it is, and never over
// another; and that what it makes of a picture is advice. A face that a program
// finds is a hint, never a fact: the person who looks decides.
//
// Tags are private, and so is all of this. Renderers must never reach this package,
// and it must not know about public wording or about decisions.
package photo

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/picture"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/worklog"
	"example.org/opencowl/internal/workspace"
)

// ErrUse says that a command names a file that is not there, or gives a value that
// cannot be written.
var ErrUse = errors.New("cannot be used")

// dir is the folder of a workspace that holds photos and their tags.
const dir = "photos"

// Job is one photo with the tag that it would get.
type Job struct {
	Photo string `json:"photo"`          // slash path in the workspace
	File  string `json:"tag"`            // slash path of the tag
	From  string `json:"from,omitempty"` // what is copied in; empty when the photo is there already
	New   bool   `json:"new"`            // there was no tag
	Same  bool   `json:"same"`           // the tag says all this already
	Text  string `json:"text"`           // of the whole tag
	// Notes are for the person: what was taken from the photo, and the like.
	Notes    []string          `json:"notes,omitempty"`
	Problems []reading.Problem `json:"problems"`

	tag      *worklog.Tag
	was      []byte // the tag's bytes before; nil: there was none
	original []byte
	sound    bool
}

// Tag is the tag as it would be read; nil where it could not be made.
func (j *Job) Tag() *worklog.Tag { return j.tag }

// Original is the photo's bytes.
func (j *Job) Original() []byte { return j.original }

// Stops reports whether the job has a problem that is more than advice.
func (j *Job) Stops() bool { return reading.Stops(j.Problems) }

// Sound reports whether the tag could be made and passes the strict reader. What
// else stops it, such as a consent that is refused, keeps the photo from leaving,
// and belongs on record all the same.
func (j *Job) Sound() bool { return j.sound }

// Plan works out which photos would be copied in and what their tags would say,
// and writes nothing. Every problem of every file is in its job; the error is for
// files that are not there and for values that no tag can hold.
func Plan(ws *workspace.Workspace, files []string, e Edit, today day.Date) ([]*Job, error) {
	if err := e.check(); err != nil {
		return nil, err
	}
	log, _ := worklog.Read(ws.Root, ws.Settings.AreaKeys(), ws.Settings.PeopleIDs())
	p := &planner{ws: ws, edit: e, today: today, known: worklog.Names{People: ws.Settings.PeopleIDs()}}
	for _, part := range log.Parts() {
		p.known.Parts = append(p.known.Parts, part.ID)
	}
	p.names, _ = reading.List(ws.Root, dir, "")
	var jobs []*Job
	var faults []error
	for _, file := range files {
		j, err := p.job(file)
		switch {
		case err != nil:
			faults = append(faults, err)
		case slices.ContainsFunc(jobs, func(o *Job) bool { return o.Photo == j.Photo && bytes.Equal(o.original, j.original) }):
			// named twice, or sent twice by the phone
		default:
			jobs = append(jobs, j)
			p.names = append(p.names, j.Photo)
		}
	}
	return jobs, errors.Join(faults...)
}

// check refuses texts that no tag can hold, whatever the photo.
func (e Edit) check() error {
	texts := e.values()
	for _, p := range e.Parts {
		texts = append(texts, keyValue{"parts", p})
	}
	for _, a := range e.Hide {
		texts = append(texts, keyValue{"hide", a.why})
	}
	for _, p := range e.People {
		texts = append(texts, keyValue{"people", p.Who}, keyValue{"people", p.Guardian})
	}
	for _, t := range texts {
		if reading.Visible(t.value) != t.value {
			return fmt.Errorf("%s: %q %w: it holds a line end or a character that does not show; write it on one line", t.key, reading.Shorten(t.value), ErrUse)
		}
	}
	for _, key := range e.Drop {
		if err := reading.OneOf(key, Keys()...); err != nil {
			return fmt.Errorf("drop %w: %w", ErrUse, err)
		}
	}
	return nil
}

type planner struct {
	ws    *workspace.Workspace
	edit  Edit
	today day.Date
	known worklog.Names
	names []string // of the files in photos/
}

// job plans one file. Its problems are in the job.
func (p *planner) job(file string) (*Job, error) {
	j, problem, err := p.bring(file)
	if err != nil {
		return nil, err
	}
	if problem != nil {
		j.Problems = append(j.Problems, *problem)
		return j, nil
	}
	info, err := picture.Inspect(j.original)
	if err != nil {
		j.Problems = append(j.Problems, pictureProblem(file, err))
		return j, nil
	}
	if j.From != "" {
		if problem := p.name(j, info); problem != nil {
			j.Problems = append(j.Problems, *problem)
			return j, nil
		}
	}
	j.File = j.Photo + ".yaml"
	p.tag(j, info)
	return j, nil
}

func pictureProblem(file string, err error) reading.Problem {
	problem := reading.Problem{Place: reading.Place{File: file}, Code: "picture", Message: err.Error()}
	var fault *picture.Error
	if errors.As(err, &fault) {
		problem.Code, problem.Message, problem.Remedy = string(fault.Code), fault.Message, fault.Remedy
	}
	return problem
}

// bring reads a photo: one that is in photos/, by its path or its name there, or
// one from elsewhere, which is then to be copied in.
func (p *planner) bring(file string) (*Job, *reading.Problem, error) {
	if _, err := os.Lstat(file); err != nil {
		for _, name := range []string{file, path.Join(dir, file)} {
			if slices.Contains(p.names, path.Clean(filepath.ToSlash(name))) {
				return p.here(path.Clean(filepath.ToSlash(name)))
			}
		}
		return nil, nil, fmt.Errorf("%s: %w: there is no such file; check the name, or see opencowl photo list", reading.Visible(file), ErrUse)
	}
	real, err := realPath(file)
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w: %v; check the file", reading.Visible(file), ErrUse, err)
	}
	if home, err := realPath(p.ws.Path(dir)); err == nil {
		if inside, err := filepath.Rel(home, real); err == nil && filepath.IsLocal(inside) {
			return p.here(path.Join(dir, filepath.ToSlash(inside)))
		}
	}
	root, err := os.OpenRoot(filepath.Dir(real))
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w: %v; check the folder", reading.Visible(file), ErrUse, err)
	}
	defer root.Close()
	original, problem := reading.Bytes(root, filepath.Base(real), reading.MaxPicture)
	if problem != nil {
		problem.File = file
	}
	return &Job{From: file, Photo: file, original: original}, problem, nil
}

func (p *planner) here(name string) (*Job, *reading.Problem, error) {
	if strings.HasSuffix(name, ".yaml") {
		return nil, nil, fmt.Errorf("%s: %w: this is a tag; name its photo, %s", name, ErrUse, strings.TrimSuffix(name, ".yaml"))
	}
	original, problem := reading.Bytes(p.ws.Root, name, reading.MaxPicture)
	j := &Job{Photo: name, original: original}
	if problem == nil && !worklog.IsPhoto(name) {
		problem = &reading.Problem{Place: reading.Place{File: name}, Code: "not-a-photo", Message: "its name does not end in .jpg, .jpeg or .png, so it is not read as a photo",
			Remedy: "move it out of photos/ and tag it there; it is then copied in under a fit name"}
	}
	return j, problem, nil
}

func realPath(file string) (string, error) {
	abs, err := filepath.Abs(file)
	if err != nil {
		return "", err
	}
	return filepath.EvalSymlinks(abs)
}

// name finds the name under which a photo comes in, by what it is called and what
// it is. A photo of that name with the same bytes is that photo.
func (p *planner) name(j *Job, info picture.Info) *reading.Problem {
	extension := ".jpg"
	if info.Format == "PNG" {
		extension = ".png"
	}
	base := path.Base(filepath.ToSlash(j.From))
	plain := Plain(strings.TrimSuffix(base, path.Ext(base))) + extension
	j.Photo = path.Join(dir, plain)
	for _, other := range p.names {
		if !strings.EqualFold(path.Base(other), plain) {
			continue
		}
		there, problem := reading.Bytes(p.ws.Root, other, reading.MaxPicture)
		if problem == nil && bytes.Equal(there, j.original) {
			j.Notes = append(j.Notes, fmt.Sprintf("is there already as %s, byte for byte, so it is not copied again", other))
			j.Photo, j.From = other, ""
			return nil
		}
		return &reading.Problem{Place: reading.Place{File: j.From}, Code: "name-taken", Value: plain,
			Message: fmt.Sprintf("another photo is called %s already", other), Remedy: "rename this one, for instance with the day in front, and tag it again"}
	}
	if plain != base {
		j.Notes = append(j.Notes, fmt.Sprintf("comes in as %s", j.Photo))
	}
	return nil
}

// nameLength is the most characters that a photo's name has before its extension.
const nameLength = 60

// deviceNames cannot be the names of files on Windows (Microsoft, "Naming Files,
// Paths, and Namespaces").
var deviceNames = regexp.MustCompile(`^(con|prn|aux|nul|com[0-9]|lpt[0-9])$`)

// Plain makes a name of lower-case letters a to z, digits and single hyphens: what
// every disk, program and page can hold.
func Plain(name string) string {
	var b strings.Builder
	gap := false
	for _, r := range norm.NFKD.String(undividable.Replace(strings.ToLower(name))) {
		switch {
		case unicode.Is(unicode.Mn, r): // the accent of the letter before
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			if gap && b.Len() > 0 {
				b.WriteByte('-')
			}
			gap = false
			b.WriteRune(r)
		default:
			gap = true
		}
	}
	plain := b.String()
	if len(plain) > nameLength {
		plain = plain[:nameLength+1]
		if i := strings.LastIndexByte(plain, '-'); i > 0 {
			plain = plain[:i]
		} else {
			plain = plain[:nameLength]
		}
	}
	switch {
	case plain == "":
		return "photo"
	case deviceNames.MatchString(plain):
		return "photo-" + plain
	}
	return plain
}

// undividable are the letters that Unicode does not take apart into a letter from a
// to z and an accent.
var undividable = strings.NewReplacer("æ", "ae", "ø", "o", "œ", "oe", "ß", "ss", "đ", "d", "ł", "l", "þ", "th", "ð", "d", "ı", "i")

// tag works out the text of a job's tag, and reads it back strictly.
func (p *planner) tag(j *Job, info picture.Info) {
	e := p.edit
	var boxes []worklog.Box
	for _, a := range e.Hide {
		box, err := a.box(info.Width, info.Height)
		if err != nil {
			j.Problems = append(j.Problems, reading.Problem{Place: reading.Place{File: j.Photo}, Code: "out-of-range", Message: err.Error(), Remedy: "give a box within it"})
			return
		}
		boxes = append(boxes, box)
	}
	var old worklog.Tag
	src := ""
	if slices.Contains(p.names, j.File) {
		text, ok := p.read(j, &old)
		if !ok {
			return
		}
		src = text
	}
	j.New = j.was == nil
	if e.Taken == "" && (old.Taken.IsZero() || e.drops("taken")) {
		e.Taken = p.takenFrom(j)
	}
	text := e.written(boxes)
	if !j.New {
		var err error
		if text, err = e.changed(src, old, boxes); err != nil {
			j.Problems = append(j.Problems, reading.Problem{Place: reading.Place{File: j.File}, Code: "layout", Message: err.Error()})
			return
		}
	}
	tag, problems := worklog.ReadTag(j.File, []byte(text), p.known)
	j.Problems = append(j.Problems, problems...)
	want := e.apply(old, boxes)
	want.Photo, want.PhotoFile, want.File = tag.Photo, tag.PhotoFile, tag.File
	if !reading.Stops(problems) && !sameTag(*tag, want) {
		j.Problems = append(j.Problems, reading.Problem{Place: reading.Place{File: j.File}, Code: "layout", Message: errLayout.Error()})
		return
	}
	j.sound = !reading.Stops(j.Problems)
	j.tag, j.Text, j.Same = tag, mark(j.was)+text, text == src && !j.New
}

const byteOrderMark = "\xef\xbb\xbf"

// mark is the byte order mark of a file, if it has one.
func mark(data []byte) string {
	if bytes.HasPrefix(data, []byte(byteOrderMark)) {
		return byteOrderMark
	}
	return ""
}

// read reads the tag that is there. One that has a fault of form is not changed.
func (p *planner) read(j *Job, old *worklog.Tag) (src string, ok bool) {
	text, problem := reading.Text(p.ws.Root, j.File)
	if problem != nil {
		j.Problems = append(j.Problems, *problem)
		return "", false
	}
	data, problem := reading.Bytes(p.ws.Root, j.File, reading.MaxText)
	if problem != nil {
		j.Problems = append(j.Problems, *problem)
		return "", false
	}
	tag, problems := worklog.ReadTag(j.File, text, p.known)
	if broken := slices.DeleteFunc(problems, func(r reading.Problem) bool { return r.Advice || !formFaults[r.Code] }); len(broken) > 0 {
		j.Problems = append(j.Problems, broken...)
		return "", false
	}
	j.was, *old = data, *tag
	return string(text), true
}

// formFaults are those that leave open what a tag says. Others, such as a part
// that is not known, may be what the edit is to mend.
var formFaults = map[string]bool{"syntax": true, "duplicate-key": true, "unknown-key": true, "not-plain": true, "wrong-shape": true, "two-documents": true,
	"too-deep": true, "too-large": true, "cut-short": true, "empty": true, "hidden-character": true}

// A camera whose clock was never set says the day on which its clock began, years
// ago; one that is set wrong may say a day to come.
const plausibleYears = 10

// takenFrom is the day that the camera wrote in a photo, if it may be true.
func (p *planner) takenFrom(j *Job) string {
	year, month, dom, ok := picture.TakenOn(j.original)
	if !ok {
		j.Notes = append(j.Notes, "does not say when it was taken; say it with --taken")
		return ""
	}
	taken := day.Date{Year: year, Month: month, Day: dom}
	if taken.After(p.today) || year < p.today.Year-plausibleYears {
		j.Notes = append(j.Notes, fmt.Sprintf("says that it was taken on %s, which cannot be (today is %s): the camera's clock may be wrong; say the day with --taken", taken, p.today))
		return ""
	}
	j.Notes = append(j.Notes, fmt.Sprintf("was taken on %s by the camera's own clock; --taken says otherwise", taken))
	return taken.String()
}

// Write copies photos in and writes their tags: all, or as far as that is possible
// none. A file that was written before one that failed is put back as it was.
func Write(ws *workspace.Workspace, jobs []*Job) error {
	type step struct {
		path string
		was  []byte
	}
	var taken []step
	write := func(name string, data, was []byte) error {
		err := ws.Writer.WriteFile(ws.Path(name), data, 0o644)
		if err == nil {
			taken = append(taken, step{ws.Path(name), was})
		}
		return err
	}
	undo := func(err error) error {
		for _, s := range slices.Backward(taken) {
			if s.was == nil {
				err = errors.Join(err, os.Remove(s.path))
			} else {
				err = errors.Join(err, ws.Writer.WriteFile(s.path, s.was, 0o644))
			}
		}
		return err
	}
	for _, j := range jobs {
		if j.From != "" {
			if err := write(j.Photo, j.original, nil); err != nil {
				return undo(err)
			}
		}
		if !j.Same {
			if err := write(j.File, []byte(j.Text), j.was); err != nil {
				return undo(err)
			}
		}
	}
	return nil
}
