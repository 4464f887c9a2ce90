package worklog

import (
	"fmt"
	"maps"
	"path"
	"slices"
	"strings"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/reading"
)

// tagFile is a tag as it is written.
type tagFile struct {
	Parts    []string `yaml:"parts"`
	Taken    day.Date `yaml:"taken"`
	By       string   `yaml:"by"`
	Publish  string   `yaml:"publish"`
	Caption  string   `yaml:"caption"`
	Alt      string   `yaml:"alt"`
	Credit   string   `yaml:"credit"`
	CreditOK day.Date `yaml:"credit_ok"`
	Rights   string   `yaml:"rights"`
	Focus    *Point   `yaml:"focus"`
	Hide     []Box    `yaml:"hide"`
	People   []Person `yaml:"people"`
}

// IsPhoto reports whether a file is taken for a photo. It goes by the name; the picture's content is looked at when it is copied.
func IsPhoto(file string) bool {
	return slices.Contains([]string{".jpg", ".jpeg", ".png"}, strings.ToLower(path.Ext(file)))
}

// misnamedTag reports whether a file that is no tag by its name was meant as one.
func misnamedTag(file string) bool {
	name := strings.TrimSuffix(strings.ToLower(file), ".txt")
	return strings.HasSuffix(name, ".yaml") && !strings.HasSuffix(name, ".heic.yaml") || strings.HasSuffix(name, ".yml")
}

// otherCase finds a tag whose name differs from the wanted one in capitals only.
func otherCase(tags map[string]bool, want string) string {
	for _, t := range slices.Sorted(maps.Keys(tags)) {
		if strings.EqualFold(t, want) {
			return t
		}
	}
	return ""
}

// photos pairs the photos with their tags.
func (r *reader) photos(files []string) {
	photo, tag := map[string]bool{}, map[string]bool{}
	first := map[string]string{}
	for _, file := range files {
		switch {
		case IsPhoto(file):
			photo[file] = true
			r.photoNames = append(r.photoNames, path.Base(file))
			r.sameName(first, path.Base(file), file, "photo")
		case IsPhoto(strings.TrimSuffix(file, ".yaml")):
			tag[file] = true
		case misnamedTag(file):
			r.add(reading.Problem{Place: reading.Place{File: file}, Code: "tag-name", Advice: true,
				Message: "this looks like a photo's tag, but its name is not the photo's whole name and .yaml, so it is not read", Remedy: "rename it, for instance IMG_0042.jpg.yaml beside IMG_0042.jpg"})
		default:
			r.add(reading.Problem{Place: reading.Place{File: file}, Code: "not-a-photo", Advice: true,
				Message: "this is neither a photo (.jpg, .jpeg or .png) nor the tag of one (.jpg.yaml)", Remedy: "save the photo as JPEG, or move the file elsewhere"})
		}
	}
	slices.Sort(r.photoNames)
	for _, file := range files {
		switch {
		case photo[file] && !tag[file+".yaml"]:
			remedy := "write " + file + ".yaml"
			if other := otherCase(tag, file+".yaml"); other != "" {
				remedy = "rename " + other + " to " + path.Base(file) + ".yaml; capitals count"
			}
			r.add(reading.Problem{Place: reading.Place{File: file}, Code: "no-tag", Advice: true,
				Message: "the photo has no tag, so it cannot be published", Remedy: remedy})
		case tag[file] && !photo[strings.TrimSuffix(file, ".yaml")]:
			r.add(reading.Problem{Place: reading.Place{File: file}, Code: "no-photo", Advice: true,
				Message: "the tag's photo is not there", Remedy: "put the photo beside its tag, or delete the tag"})
			r.tag(file)
		case tag[file]:
			r.tag(file)
		}
	}
}

func (r *reader) tag(file string) {
	src, problem := reading.Text(r.root, file)
	if problem != nil {
		r.add(*problem)
		return
	}
	tag, problems := r.readTag(file, src)
	r.problems = append(r.problems, problems...)
	if _, twice := r.log.tags[tag.Photo]; !twice {
		r.log.tags[tag.Photo] = tag
	}
}

// readTag reads one tag and checks it against the parts and people that are known.
func (r *reader) readTag(file string, src []byte) (*Tag, []reading.Problem) {
	var f tagFile
	doc, problems := reading.YAML(file, src, &f)
	photo := strings.TrimSuffix(file, ".yaml")
	tag := &Tag{
		Photo: path.Base(photo), PhotoFile: photo, File: file, Parts: f.Parts, Taken: f.Taken, By: f.By, Publish: f.Publish == "offered",
		Caption: f.Caption, Alt: f.Alt, Credit: f.Credit, CreditOK: f.CreditOK, Rights: f.Rights, Focus: f.Focus, Hide: f.Hide, People: f.People, Doc: doc,
	}
	if reading.Stops(problems) && !doc.Has("taken") && !doc.Has("by") {
		return tag, problems // the file itself is broken: say only that
	}
	c := checker{doc: doc, problems: problems}
	c.knownList("parts", f.Parts, "part", r.partIDs)
	c.required("taken", f.Taken.String())
	c.required("by", f.By)
	c.known("by", f.By, "person", r.people)
	c.oneOf("publish", f.Publish, "no", "offered")
	c.oneOf("rights", f.Rights, "ours", "permission", "lent")
	if f.Focus != nil {
		c.fraction("focus.x", f.Focus.X)
		c.fraction("focus.y", f.Focus.Y)
	}
	if doc.Has("hide") && len(f.Hide) == 0 && !c.faulty("hide") {
		c.problem("hide", "missing-value", "", "hide is there but names no box, so nothing would be hidden", "write the boxes to hide, or take hide out")
	}
	for i, b := range f.Hide {
		c.box(fmt.Sprintf("hide[%d]", i), b)
	}
	for i, p := range f.People {
		c.person(fmt.Sprintf("people[%d]", i), p)
	}
	return tag, c.problems
}

// fraction checks a share of a picture's width or height, which must be given.
func (c *checker) fraction(path string, v float64) bool {
	switch {
	case c.faulty(path):
		return false
	case !c.doc.Has(path):
		c.problem(path, "missing-value", "", lastKey(path)+" is missing from "+strings.TrimSuffix(path, "."+lastKey(path)), "write it as a fraction of the upright picture, from 0 to 1")
		return false
	case v < 0 || v > 1:
		c.problem(path, "out-of-range", fmt.Sprint(v), fmt.Sprintf("%s is %g", lastKey(path), v), "write a fraction of the upright picture, from 0 to 1")
		return false
	}
	return true
}

func (c *checker) box(path string, b Box) {
	ok := c.fraction(path+".x", b.X)
	ok = c.fraction(path+".y", b.Y) && ok
	ok = c.fraction(path+".w", b.W) && ok
	ok = c.fraction(path+".h", b.H) && ok
	// A box drawn to the very edge may add up to a hair over 1.
	const hair = 1e-6
	switch {
	case !ok:
	case b.W == 0 || b.H == 0:
		c.problem(path, "out-of-range", "", "the box to hide has no size", "give w and h more than 0")
	case b.X+b.W > 1+hair || b.Y+b.H > 1+hair:
		c.problem(path, "out-of-range", "", "the box to hide goes over the picture's edge", "keep x + w and y + h within 1")
	}
}

func (c *checker) person(path string, p Person) {
	if p.Consent == "" && !c.faulty(path+".consent") {
		c.problem(path+".consent", "missing-value", "", "consent is missing for a person in the photo", "write given, refused or not-asked")
	}
	c.oneOf(path+".consent", p.Consent, "given", "refused", "not-asked")
	c.oneOf(path+".adult", p.Adult, "yes", "no")
	if p.Consent == "given" && p.On.IsZero() && !c.faulty(path+".on") {
		c.problem(path+".on", "missing-value", "", "consent was given but its date is missing", "write on: and the date")
	}
}
