package photo

import (
	"reflect"
	"slices"
	"strings"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/worklog"
)

// Edit is what to write in a tag. What is empty stays as it is. Parts, boxes to
// hide and people are added to those that the tag has, so that nothing which is
// hidden comes to light, and nobody is forgotten, by naming another.
type Edit struct {
	Parts            []string
	Taken, By        string
	Publish          string // "offered" or "no"
	Caption, Alt     string
	Credit, CreditOK string
	Rights           string
	Focus            *worklog.Point
	Hide             []Area
	// People are known by who they are: one that the tag has is changed.
	People []worklog.Person
	// Drop takes keys out of the tag before anything is written in it.
	Drop []string
}

// Keys are the keys of a tag, in the order in which a new one has them.
func Keys() []string {
	return []string{"parts", "taken", "by", "publish", "caption", "alt", "credit", "credit_ok", "rights", "focus", "hide", "people"}
}

// field is where an edit holds the single text of a key; nil for other keys.
func (e *Edit) field(key string) *string {
	return map[string]*string{"taken": &e.Taken, "by": &e.By, "publish": &e.Publish, "caption": &e.Caption, "alt": &e.Alt,
		"credit": &e.Credit, "credit_ok": &e.CreditOK, "rights": &e.Rights}[key]
}

// values are the keys with a single text that an edit gives, in a tag's order.
func (e Edit) values() []keyValue {
	var all []keyValue
	for _, key := range Keys() {
		if text := e.field(key); text != nil && *text != "" {
			all = append(all, keyValue{key, *text})
		}
	}
	return all
}

// apply is a tag as it should be after an edit. Texts that are no dates leave
// the date empty: the strict reader reports them.
func (e Edit) apply(tag worklog.Tag, boxes []worklog.Box) worklog.Tag {
	for _, key := range e.Drop {
		dropValue(&tag, key)
	}
	date := func(s string, into *day.Date) {
		if s != "" {
			*into, _ = day.Parse(s)
		}
	}
	text := func(s string, into *string) {
		if s != "" {
			*into = s
		}
	}
	tag.Parts = slices.Concat(tag.Parts, missing(tag.Parts, e.Parts))
	date(e.Taken, &tag.Taken)
	date(e.CreditOK, &tag.CreditOK)
	text(e.By, &tag.By)
	text(e.Caption, &tag.Caption)
	text(e.Alt, &tag.Alt)
	text(e.Credit, &tag.Credit)
	text(e.Rights, &tag.Rights)
	if e.Publish != "" {
		tag.Publish = e.Publish == "offered"
	}
	if e.Focus != nil {
		tag.Focus = e.Focus
	}
	tag.Hide = slices.Concat(tag.Hide, newBoxes(tag.Hide, boxes))
	tag.People = slices.Clone(tag.People)
	for _, p := range e.People {
		if i := personAt(tag.People, p.Who); i >= 0 {
			tag.People[i] = merged(tag.People[i], p)
		} else {
			tag.People = append(tag.People, p)
		}
	}
	return tag
}

func dropValue(tag *worklog.Tag, key string) {
	switch key {
	case "parts":
		tag.Parts = nil
	case "taken":
		tag.Taken = day.Date{}
	case "by":
		tag.By = ""
	case "publish":
		tag.Publish = false
	case "caption":
		tag.Caption = ""
	case "alt":
		tag.Alt = ""
	case "credit":
		tag.Credit = ""
	case "credit_ok":
		tag.CreditOK = day.Date{}
	case "rights":
		tag.Rights = ""
	case "focus":
		tag.Focus = nil
	case "hide":
		tag.Hide = nil
	case "people":
		tag.People = nil
	}
}

// missing lists the names that are not there yet, each once.
func missing(there, names []string) []string {
	var all []string
	for _, n := range names {
		if !slices.Contains(there, n) && !slices.Contains(all, n) {
			all = append(all, n)
		}
	}
	return all
}

// newBoxes lists the boxes whose place is not hidden yet.
func newBoxes(there, boxes []worklog.Box) []worklog.Box {
	var all []worklog.Box
	for _, b := range boxes {
		same := func(o worklog.Box) bool { return o.X == b.X && o.Y == b.Y && o.W == b.W && o.H == b.H }
		if !slices.ContainsFunc(there, same) && !slices.ContainsFunc(all, same) {
			all = append(all, b)
		}
	}
	return all
}

func personAt(people []worklog.Person, who string) int {
	return slices.IndexFunc(people, func(p worklog.Person) bool { return strings.EqualFold(p.Who, who) })
}

// merged is a person with what is newly said of them.
func merged(old, said worklog.Person) worklog.Person {
	for _, f := range []struct{ into, from *string }{{&old.Consent, &said.Consent}, {&old.Adult, &said.Adult}, {&old.Guardian, &said.Guardian}} {
		if *f.from != "" {
			*f.into = *f.from
		}
	}
	if !said.On.IsZero() {
		old.On = said.On
	}
	return old
}

// sameTag compares all of two tags but where their values stand.
func sameTag(a, b worklog.Tag) bool {
	a.Doc, b.Doc = nil, nil
	for _, t := range []*worklog.Tag{&a, &b} {
		if len(t.Parts) == 0 {
			t.Parts = nil
		}
		if len(t.Hide) == 0 {
			t.Hide = nil
		}
		if len(t.People) == 0 {
			t.People = nil
		}
	}
	return reflect.DeepEqual(a, b)
}

// written is a new tag as text.
func (e Edit) written(boxes []worklog.Box) string {
	if e.Publish == "" {
		e.Publish = "no"
	}
	given := map[string]string{}
	for _, v := range e.values() {
		given[v.key] = " " + quoted(v.value)
	}
	tag := e.apply(worklog.Tag{}, boxes)
	if len(tag.Parts) > 0 {
		given["parts"] = " [" + strings.Join(quotedAll(tag.Parts), ", ") + "]"
	}
	if e.Focus != nil {
		given["focus"] = " " + pointText(*e.Focus)
	}
	lines := func(items []string) (text string) {
		for _, item := range items {
			text += "\n  - " + item
		}
		return text
	}
	given["hide"], given["people"] = lines(boxTexts(tag.Hide)), lines(peopleTexts(tag.People))
	var b strings.Builder
	for _, key := range Keys() {
		if given[key] != "" {
			b.WriteString(key + ":" + given[key] + "\n")
		}
	}
	return b.String()
}

func quotedAll(names []string) []string {
	var all []string
	for _, n := range names {
		all = append(all, quoted(n))
	}
	return all
}

func boxTexts(boxes []worklog.Box) []string {
	var all []string
	for _, b := range boxes {
		all = append(all, boxText(b))
	}
	return all
}

func peopleTexts(people []worklog.Person) []string {
	var all []string
	for _, p := range people {
		all = append(all, inBraces(personValues(p)))
	}
	return all
}

// changed is the text of a tag with an edit made in it, and nothing else.
func (e Edit) changed(src string, old worklog.Tag, boxes []worklog.Box) (string, error) {
	t, err := readText(src)
	if err != nil {
		return "", err
	}
	want := e.apply(old, boxes)
	for _, v := range e.values() {
		if !has(old, v) {
			t.set(v.key, quoted(v.value))
		}
	}
	if e.Focus != nil && (old.Focus == nil || *old.Focus != *e.Focus) {
		t.set("focus", pointText(*e.Focus))
	}
	if err := t.list("parts", e.drops("parts"), quotedAll(want.Parts), len(old.Parts)); err != nil {
		return "", err
	}
	if err := t.list("hide", e.drops("hide"), boxTexts(want.Hide), len(old.Hide)); err != nil {
		return "", err
	}
	if err := e.people(t, old, want); err != nil {
		return "", err
	}
	for _, key := range e.Drop {
		if !e.gives(key) {
			t.drop(key)
		}
	}
	return t.String(), nil
}

func (e Edit) drops(key string) bool { return slices.Contains(e.Drop, key) }

// has reports whether a tag has a value already, so that it need not be written.
func has(tag worklog.Tag, v keyValue) bool {
	var one Edit
	*one.field(v.key) = v.value
	return tag.Doc.Has(v.key) && sameTag(tag, one.apply(tag, nil))
}

// gives reports whether an edit writes a key.
func (e Edit) gives(key string) bool {
	switch key {
	case "parts":
		return len(e.Parts) > 0
	case "focus":
		return e.Focus != nil
	case "hide":
		return len(e.Hide) > 0
	case "people":
		return len(e.People) > 0
	}
	return slices.ContainsFunc(e.values(), func(v keyValue) bool { return v.key == key })
}

// list adds the items behind the first so many, or writes the whole list anew.
func (t *tagText) list(key string, anew bool, items []string, there int) error {
	switch {
	case anew && len(items) > 0:
		t.setList(key, items)
	case !anew && len(items) > there:
		if _, known := t.find(key); !known && key == "parts" {
			t.set(key, "["+strings.Join(items, ", ")+"]")
			return nil
		}
		return t.add(key, items[there:])
	}
	return nil
}

func (e Edit) people(t *tagText, old, want worklog.Tag) error {
	if !e.drops("people") {
		spots, err := t.items("people")
		if err != nil || len(spots) != len(old.People) {
			return errLayout
		}
		for i, spot := range spots {
			if old.People[i] == want.People[i] {
				continue
			}
			var values []keyValue
			before := personValues(old.People[i])
			for _, v := range personValues(want.People[i]) {
				if !slices.Contains(before, v) {
					values = append(values, v)
				}
			}
			if err := t.setIn(spot, values); err != nil {
				return err
			}
		}
	}
	return t.list("people", e.drops("people"), peopleTexts(want.People), len(old.People))
}
