package photo

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/reading"
	"example.org/opencowl/internal/worklog"
)

// ParseFocus reads the point that crops keep in view: "0.42,0.55", in fractions of
// the upright picture's width and height from its top left corner.
func ParseFocus(s string) (*worklog.Point, error) {
	numbers := strings.Split(s, ",")
	if len(numbers) != 2 {
		return nil, fmt.Errorf("focus %q is not x,y; write two fractions of the upright picture, for instance 0.42,0.55", reading.Shorten(s))
	}
	x, errX := fraction(numbers[0])
	y, errY := fraction(numbers[1])
	if err := errors.Join(errX, errY); err != nil {
		return nil, fmt.Errorf("focus %q: %w; write two fractions of the upright picture, for instance 0.42,0.55", reading.Shorten(s), firstOf(errX, errY))
	}
	return &worklog.Point{X: x, Y: y}, nil
}

func firstOf(errs ...error) error {
	return errs[slices.IndexFunc(errs, func(err error) bool { return err != nil })]
}

// fraction reads a number from 0 to 1 and keeps four places: a ten-thousandth of a
// large photo's width is one pixel or less.
func fraction(s string) (float64, error) {
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	switch {
	case err != nil || math.IsNaN(v):
		return 0, fmt.Errorf("%q is not a number", reading.Shorten(s))
	case v < 0 || v > 1:
		return 0, fmt.Errorf("%s is not from 0 to 1", reading.Shorten(strings.TrimSpace(s)))
	}
	return math.Abs(math.Round(v*1e4) / 1e4), nil
}

// Area is a region to hide, as it was asked for.
type Area struct {
	x, y, w, h float64
	pixels     bool
	why        string
}

const areaForm = "write x,y,w,h:why in fractions of the upright picture, as 0.1,0.2,0.05,0.04:data plate, or in its pixels, as 120px,80px,60px,40px:data plate"

// ParseHide reads a region to hide: "x,y,w,h:why", in fractions of the upright
// picture or, each with px, in its pixels. The reason may be left out.
func ParseHide(s string) (Area, error) {
	box, why, _ := strings.Cut(s, ":")
	a := Area{why: strings.TrimSpace(why)}
	numbers := strings.Split(box, ",")
	if len(numbers) != 4 {
		return Area{}, fmt.Errorf("%q is not four numbers; %s", reading.Shorten(s), areaForm)
	}
	inPixels := 0
	for i, into := range []*float64{&a.x, &a.y, &a.w, &a.h} {
		number, pixels := strings.CutSuffix(strings.TrimSpace(numbers[i]), "px")
		var err error
		if pixels {
			inPixels++
			var n uint64
			if n, err = strconv.ParseUint(strings.TrimSpace(number), 10, 16); err != nil {
				err = fmt.Errorf("%q is not a whole number of pixels", reading.Shorten(numbers[i]))
			}
			*into = float64(n)
		} else {
			*into, err = fraction(number)
		}
		if err != nil {
			return Area{}, fmt.Errorf("%q: %w; %s", reading.Shorten(s), err, areaForm)
		}
	}
	switch {
	case inPixels != 0 && inPixels != len(numbers):
		return Area{}, fmt.Errorf("%q mixes pixels and fractions; %s", reading.Shorten(s), areaForm)
	case a.w == 0 || a.h == 0:
		return Area{}, fmt.Errorf("%q has no size; %s", reading.Shorten(s), areaForm)
	case inPixels == 0 && (a.x+a.w > 1 || a.y+a.h > 1):
		return Area{}, fmt.Errorf("%q goes over the picture's edge; keep x + w and y + h within 1", reading.Shorten(s))
	}
	a.pixels = inPixels > 0
	return a, nil
}

// box is the area in fractions of a picture of a width and height. It covers every
// pixel that was asked for.
func (a Area) box(width, height int) (worklog.Box, error) {
	b := worklog.Box{X: a.x, Y: a.y, W: a.w, H: a.h, Why: a.why}
	if !a.pixels {
		return b, nil
	}
	w, h := float64(width), float64(height)
	if a.x+a.w > w || a.y+a.h > h {
		return b, fmt.Errorf("the box to hide goes over the edge of the picture, which is %d × %d pixels when upright", width, height)
	}
	down := func(v float64) float64 { return math.Floor(v*1e4) / 1e4 }
	up := func(v float64) float64 { return math.Ceil(v*1e4) / 1e4 }
	b.X, b.Y = down(a.x/w), down(a.y/h)
	b.W, b.H = round(up((a.x+a.w)/w)-b.X), round(up((a.y+a.h)/h)-b.Y)
	return b, nil
}

// round takes off what a subtraction leaves behind the fourth place.
func round(v float64) float64 { return math.Round(v*1e4) / 1e4 }

const personForm = "write who=…,consent=given|refused|not-asked,on=DATE,adult=yes|no,guardian=…, for instance who=someone at the bench,consent=given,on=2031-01-14,adult=yes"

// ParsePerson reads somebody who can be seen: keys and values joined by commas. A
// comma that no key follows belongs to the value before it. Who is needed, to tell
// people apart: "someone at the bench" will do. Of the rest, what is left out stays
// as the tag has it.
func ParsePerson(s string) (worklog.Person, error) {
	var p worklog.Person
	fields := map[string]*string{"who": &p.Who, "consent": &p.Consent, "adult": &p.Adult, "guardian": &p.Guardian, "on": new(string)}
	known := []string{"who", "consent", "on", "adult", "guardian"}
	given := map[string]bool{}
	last := ""
	for piece := range strings.SplitSeq(s, ",") {
		key, value, has := strings.Cut(piece, "=")
		key = strings.ToLower(strings.TrimSpace(key))
		switch into, isKey := fields[key]; {
		case has && isKey && given[key]:
			return p, fmt.Errorf("%q: %s stands twice; %s", reading.Shorten(s), key, personForm)
		case has && isKey:
			*into, given[key], last = strings.TrimSpace(value), true, key
		case has || last == "":
			return p, fmt.Errorf("%q: %q is not one of %s; %s", reading.Shorten(s), reading.Shorten(key), strings.Join(known, ", "), personForm)
		default:
			*fields[last] += "," + strings.TrimRight(piece, " ")
		}
	}
	if p.Who == "" {
		return p, fmt.Errorf("%q does not say who; %s", reading.Shorten(s), personForm)
	}
	for _, key := range known {
		if given[key] && *fields[key] == "" {
			return p, fmt.Errorf("%q: %s has no value; leave it out, or give it one", reading.Shorten(s), key)
		}
	}
	for _, check := range []struct {
		key     string
		choices []string
	}{{"consent", []string{"given", "refused", "not-asked"}}, {"adult", []string{"yes", "no"}}} {
		if value := *fields[check.key]; given[check.key] {
			if err := reading.OneOf(value, check.choices...); err != nil {
				return p, fmt.Errorf("%s: %w", check.key, err)
			}
		}
	}
	if given["on"] {
		on, err := day.Parse(*fields["on"])
		if err != nil {
			return p, fmt.Errorf("on: %w", err)
		}
		p.On = on
	}
	return p, nil
}

// personValues are what is said of a person, as YAML, in the order of a tag.
func personValues(p worklog.Person) []keyValue {
	var all []keyValue
	for _, v := range []keyValue{{"who", p.Who}, {"consent", p.Consent}, {"on", p.On.String()}, {"adult", p.Adult}, {"guardian", p.Guardian}} {
		if v.value != "" {
			all = append(all, keyValue{v.key, quoted(v.value)})
		}
	}
	return all
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

func boxText(b worklog.Box) string {
	values := []keyValue{{"x", number(b.X)}, {"y", number(b.Y)}, {"w", number(b.W)}, {"h", number(b.H)}}
	if b.Why != "" {
		values = append(values, keyValue{"why", quoted(b.Why)})
	}
	return inBraces(values)
}

func pointText(p worklog.Point) string {
	return inBraces([]keyValue{{"x", number(p.X)}, {"y", number(p.Y)}})
}
