package workspace

import (
	"fmt"
	"net/mail"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"golang.org/x/text/language"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/reading"
)

// SettingsFile is the name of the settings, at the top of a workspace.
const SettingsFile = "workshop.yaml"

// Settings are the keys of workshop.yaml.
type Settings struct {
	Workshop     Workshop       `yaml:"workshop"`
	People       []Person       `yaml:"people"`
	Areas        []reading.Pair `yaml:"areas"` // key and name, in order
	Clearing     Clearing       `yaml:"clearing"`
	MembersFirst Days           `yaml:"members_first"`
	Post         Post           `yaml:"post"`
	Members      Members        `yaml:"members"`
	RollOut      day.Date       `yaml:"roll_out"`
	PublicURL    string         `yaml:"public_url"` // HTTPS address of the pages for joining and leaving
	LegalLines   []string       `yaml:"legal_lines"`
	SiteRules    []string       `yaml:"site_rules"` // fire exits, first aid
	Charity      bool           `yaml:"charity"`    // the workshop is a charity in law
	Today        day.Date       `yaml:"today"`      // fixes the date, for a demo
}

// Workshop says who and what this is about. All of it is public.
type Workshop struct {
	Name          string   `yaml:"name"`
	Machine       string   `yaml:"machine"`
	Language      string   `yaml:"language"`  // BCP 47
	Languages     []string `yaml:"languages"` // BCP 47: those that are offered beside its own
	Timezone      Zone     `yaml:"timezone"`
	PostalAddress string   `yaml:"postal_address"`
	Site          string   `yaml:"site"` // where the archive is published
}

// Role says what a person may do.
type Role string

const (
	Restorer Role = "restorer"
	Engineer Role = "engineer"
	Guide    Role = "guide"
	Officer  Role = "officer"
	Keeper   Role = "keeper"
)

// UnmarshalText reads a role and refuses what is none.
func (r *Role) UnmarshalText(text []byte) error {
	*r = Role(text)
	return reading.OneOf(string(text), string(Restorer), string(Engineer), string(Guide), string(Officer), string(Keeper))
}

// Person is somebody who works here.
type Person struct {
	ID       string   `yaml:"id"`
	Name     string   `yaml:"name"`
	Roles    []Role   `yaml:"roles"`
	CreditOK day.Date `yaml:"credit_ok"` // the day they agreed to be credited by name
}

// Has reports whether the person has the role.
func (p Person) Has(r Role) bool { return slices.Contains(p.Roles, r) }

// Clearing holds the rules for what may leave.
type Clearing struct {
	TwoPeople    bool     `yaml:"two_people"`
	PrivateTerms []string `yaml:"private_terms"`
	RunOfWords   int      `yaml:"run_of_words"`
}

// Post says how letters are sent.
type Post struct {
	From      string `yaml:"from"`    // RFC 5322 mailbox
	Returns   string `yaml:"returns"` // bounces and requests to leave
	SMTP      string `yaml:"smtp"`    // smtp://host:port or smtps://host:port
	PerMinute int    `yaml:"per_minute"`
	Sessions  int    `yaml:"sessions"`
	Pictures  string `yaml:"pictures"` // attached or linked
	DKIM      *DKIM  `yaml:"dkim"`

	User         string `yaml:"user"`          // to sign in as at the mail server
	PasswordFile string `yaml:"password_file"` // holds the password of User, unless the environment does
	CAFile       string `yaml:"ca_file"`       // certificates in PEM that the mail server's may be from, beside the system's
}

// Members says where what guards the members is kept.
type Members struct {
	// KeyFile holds the keys of links in letters and of the marks of people who left.
	// It is outside the database, and a path from the workspace's folder unless it
	// begins at the root. The marks stand beside it.
	KeyFile string `yaml:"key_file"`
}

// Where a letter's pictures are: in the letter, or on the archive while it has them.
const (
	PicturesAttached = "attached"
	PicturesLinked   = "linked"
)

// The kinds of keys that letters are signed with.
const (
	KeyRSA     = "rsa"
	KeyEd25519 = "ed25519"
)

// DKIM names the keys that letters are signed with. The keys themselves stay in
// files of their own.
type DKIM struct {
	Domain   string   `yaml:"domain"`
	Selector string   `yaml:"selector"`
	KeyFile  string   `yaml:"key_file"`
	Kind     string   `yaml:"kind"` // of the key to make: rsa or ed25519
	Also     *DKIMKey `yaml:"also"` // signs as well
}

// DKIMKey is one key: where it is in DNS, and in which file.
type DKIMKey struct {
	Selector string `yaml:"selector"`
	KeyFile  string `yaml:"key_file"`
	Kind     string `yaml:"kind"`
}

// Keys lists the keys, the first of all first.
func (d *DKIM) Keys() []DKIMKey {
	if d == nil {
		return nil
	}
	all := []DKIMKey{{d.Selector, d.KeyFile, d.Kind}}
	if d.Also != nil {
		all = append(all, *d.Also)
	}
	return all
}

var dnsName = regexp.MustCompile(`^[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?(\.[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?)*$`)

// IsDNSName says whether a name is labels of lower-case letters, digits and hyphens
// (RFC 1035 2.3.1), short enough for DNS beside another.
func IsDNSName(name string) bool { return len(name) <= 190 && dnsName.MatchString(name) }

// Days is a number of days, written 28d.
type Days int

// UnmarshalText reads a number of days.
func (d *Days) UnmarshalText(text []byte) error {
	n, err := strconv.Atoi(strings.TrimSuffix(string(text), "d"))
	if err != nil || n < 0 || !strings.HasSuffix(string(text), "d") {
		return fmt.Errorf("%q is not a number of days; write it as 28d", text)
	}
	*d = Days(n)
	return nil
}

// Zone is a time zone, written by its name in the IANA data base.
type Zone struct{ *time.Location }

// UnmarshalText looks the zone up.
func (z *Zone) UnmarshalText(text []byte) error {
	loc, err := time.LoadLocation(string(text))
	if err != nil || string(text) == "Local" || len(text) == 0 {
		return fmt.Errorf("%q is not a time zone; write it as Europe/London", text)
	}
	z.Location = loc
	return nil
}

// PersonByID finds somebody who works here.
func (s Settings) PersonByID(id string) (Person, bool) {
	i := slices.IndexFunc(s.People, func(p Person) bool { return p.ID == id })
	if i < 0 {
		return Person{}, false
	}
	return s.People[i], true
}

// MayCredit reports whether somebody of that name works here and has agreed to
// be credited by name.
func (s Settings) MayCredit(name string) bool {
	return slices.ContainsFunc(s.People, func(p Person) bool { return p.Name == name && !p.CreditOK.IsZero() })
}

// PeopleIDs lists the ids of everybody who works here.
func (s Settings) PeopleIDs() []string {
	var ids []string
	for _, p := range s.People {
		ids = append(ids, p.ID)
	}
	return ids
}

// AreaKeys lists the keys of the machine's areas, in order.
func (s Settings) AreaKeys() []string {
	var keys []string
	for _, a := range s.Areas {
		keys = append(keys, a.Key)
	}
	return keys
}

// readSettings reads workshop.yaml strictly and fills in what was left out.
func readSettings(src []byte) (Settings, []reading.Problem) {
	s := Settings{
		Clearing:     Clearing{TwoPeople: true, RunOfWords: 8},
		MembersFirst: 28,
		Post:         Post{PerMinute: 600, Sessions: 2, Pictures: PicturesAttached},
		Members:      Members{KeyFile: "keys/members.keys"},
	}
	doc, problems := reading.YAML(SettingsFile, src, &s)
	report := func(path, code, value, message, remedy string) {
		problems = append(problems, doc.Problem(path, code, value, message, remedy))
	}
	for _, need := range []struct{ path, value, example string }{
		{"workshop.name", s.Workshop.Name, "workshop: {name: Marram Sound Flying Boat Trust}"},
		{"workshop.machine", s.Workshop.Machine, "machine: Oystercatcher FO-7"},
		{"workshop.language", s.Workshop.Language, "language: en-GB"},
		{"workshop.postal_address", s.Workshop.PostalAddress, "postal_address: \"1 Slipway Road, Marram\""},
		{"workshop.site", s.Workshop.Site, "site: https://example.org/"},
		{"post.from", s.Post.From, "from: \"Marram Sound <update@example.org>\""},
		{"post.returns", s.Post.Returns, "returns: returns@example.org"},
	} {
		if need.value == "" && !hasProblem(problems, doc.At(need.path)) {
			report(need.path, "missing-key", "", need.path+" is missing", "write it, for instance "+need.example)
		}
	}
	if s.Workshop.Timezone.Location == nil && !doc.Has("workshop.timezone") {
		report("workshop.timezone", "missing-key", "", "workshop.timezone is missing", "write it, for instance timezone: Europe/London")
	}
	if s.Workshop.Timezone.Location == nil {
		s.Workshop.Timezone.Location = time.UTC
	}
	if u, err := url.Parse(s.Workshop.Site); s.Workshop.Site != "" && (err != nil || (u.Scheme != "https" && u.Scheme != "http") || u.Host == "") {
		report("workshop.site", "bad-value", s.Workshop.Site, "the site is not a web address", "write it as https://example.org/")
	}
	if s.Workshop.Site != "" && !strings.HasSuffix(s.Workshop.Site, "/") {
		s.Workshop.Site += "/"
	}
	if u, err := url.Parse(s.PublicURL); s.PublicURL != "" && (err != nil || u.Scheme != "https" || u.Host == "") {
		report("public_url", "bad-value", s.PublicURL, "public_url is not an HTTPS address", "write it as https://update.example.org/")
	}
	for _, a := range []struct{ path, value string }{{"post.from", s.Post.From}, {"post.returns", s.Post.Returns}} {
		if _, err := mail.ParseAddress(a.value); a.value != "" && err != nil {
			report(a.path, "bad-value", a.value, "this is not an email address", "write it as update@example.org, or Name <update@example.org>")
		}
	}
	if u, err := url.Parse(s.Post.SMTP); s.Post.SMTP != "" && (err != nil || u.Scheme != "smtp" && u.Scheme != "smtps" || u.User != nil || u.Hostname() == "" || u.Port() == "") {
		report("post.smtp", "bad-value", s.Post.SMTP, "post.smtp is not the address of a mail server", "write it as smtp://127.0.0.1:2525")
	}
	if s.Post.PerMinute < 1 || s.Post.PerMinute > 100000 {
		report("post.per_minute", "bad-value", strconv.Itoa(s.Post.PerMinute), "per_minute is outside 1 to 100000", "write how many letters a minute the mail server takes")
	}
	if s.Post.Sessions < 1 || s.Post.Sessions > 20 {
		report("post.sessions", "bad-value", strconv.Itoa(s.Post.Sessions), "sessions is outside 1 to 20", "write how many connections the mail server takes at once")
	}
	if s.Members.KeyFile == "" {
		report("members.key_file", "bad-value", "", "members.key_file names no file", "write it as keys/members.keys, or leave it out")
	}
	if err := reading.OneOf(s.Post.Pictures, PicturesAttached, PicturesLinked); err != nil {
		report("post.pictures", "bad-value", s.Post.Pictures, "pictures: "+err.Error(), "attached has them go with the letter; linked has them stay on the archive, once it shows them")
	}
	if s.Clearing.RunOfWords < 4 || s.Clearing.RunOfWords > 40 {
		report("clearing.run_of_words", "bad-value", strconv.Itoa(s.Clearing.RunOfWords), "run_of_words is outside 4 to 40", "8 is usual")
	}
	problems = append(problems, signing(doc, s.Post.DKIM)...)
	problems = append(problems, languagesOnce(doc, s)...)
	problems = append(problems, namesOnce(doc, s)...)
	return s, problems
}

// signing checks the keys that letters are signed with, and fills in their kinds.
// RSA comes first: every receiver knows it.
func signing(doc *reading.Doc, d *DKIM) []reading.Problem {
	if d == nil {
		return nil
	}
	var problems []reading.Problem
	report := func(path, value, message, remedy string) {
		problems = append(problems, doc.Problem(path, "bad-value", value, message, remedy))
	}
	if d.Kind == "" {
		d.Kind = KeyRSA
	}
	if d.Also != nil && d.Also.Kind == "" {
		d.Also.Kind = KeyEd25519
	}
	if !IsDNSName(d.Domain) || !strings.Contains(d.Domain, ".") {
		report("post.dkim.domain", d.Domain, "the domain of dkim is not a name in DNS", "write the one of post.from in lower case, for instance domain: example.org")
	}
	for i, k := range d.Keys() {
		at := []string{"post.dkim", "post.dkim.also"}[i]
		if !IsDNSName(k.Selector) {
			report(at+".selector", k.Selector, "the selector is not a name in DNS", "write lower-case letters, digits and hyphens, for instance selector: s1")
		}
		if k.KeyFile == "" {
			report(at+".key_file", "", "the key has no file", "name one, for instance key_file: keys/dkim-s1.pem; opencowl post --dkim-key makes it")
		}
		if err := reading.OneOf(k.Kind, KeyRSA, KeyEd25519); err != nil {
			report(at+".kind", k.Kind, "kind: "+err.Error(), "every receiver knows rsa; ed25519 is shorter")
		}
	}
	if d.Also != nil && (d.Also.Selector == d.Selector || d.Also.KeyFile == d.KeyFile) {
		report("post.dkim.also", "", "the two keys of dkim share a selector or a file", "give each its own, for instance selector: s2 and key_file: keys/dkim-s2.pem")
	}
	return problems
}

// languagesOnce checks the languages that are offered.
func languagesOnce(doc *reading.Doc, s Settings) []reading.Problem {
	var problems []reading.Problem
	for i, l := range s.Workshop.Languages {
		path := fmt.Sprintf("workshop.languages[%d]", i)
		first := slices.IndexFunc(s.Workshop.Languages, func(o string) bool { return strings.EqualFold(o, l) })
		tag, err := language.Raw.Parse(l)
		switch {
		case err != nil:
			problems = append(problems, doc.Problem(path, "bad-value", l, fmt.Sprintf("%q is not a language", reading.Shorten(l)), "write its tag, such as fr, de or pt-BR"))
		case tag.String() != l: // it is part of the names of files
			problems = append(problems, doc.Problem(path, "bad-value", l, fmt.Sprintf("%q is not how the tag of this language is written", reading.Shorten(l)), fmt.Sprintf("write %s", tag)))
		case strings.EqualFold(l, s.Workshop.Language):
			problems = append(problems, doc.Problem(path, "twice", l, fmt.Sprintf("%q is the workshop's own language", reading.Shorten(l)), "list only those beside it"))
		case first < i:
			problems = append(problems, doc.Problem(path, "twice", l, fmt.Sprintf("the language %q stands twice", reading.Shorten(l)), "take one of the two out"))
		}
	}
	return problems
}

// namesOnce checks the ids of people and areas.
func namesOnce(doc *reading.Doc, s Settings) []reading.Problem {
	var problems []reading.Problem
	seen := map[string]bool{}
	for i, p := range s.People {
		path := fmt.Sprintf("people[%d]", i)
		switch {
		case !reading.IsID(p.ID):
			problems = append(problems, doc.Problem(path, "bad-id", p.ID, fmt.Sprintf("%q is not an id", p.ID), "write lower-case words and digits joined by hyphens"))
		case seen[p.ID]:
			problems = append(problems, doc.Problem(path, "duplicate-id", p.ID, fmt.Sprintf("the person %q stands twice", p.ID), "give each person an id of their own"))
		case p.Name == "":
			problems = append(problems, doc.Problem(path, "missing-key", "", fmt.Sprintf("the person %q has no name", p.ID), "write name: and their full name"))
		}
		seen[p.ID] = true
	}
	if len(s.People) == 0 && !doc.Has("people") {
		problems = append(problems, doc.Problem("people", "missing-key", "", "people is missing", "list who works here, with their roles"))
	}
	if len(s.Areas) == 0 && !doc.Has("areas") {
		problems = append(problems, doc.Problem("areas", "missing-key", "", "areas is missing", "name the parts of the machine, for instance areas: {hull: Hull}"))
	}
	for _, a := range s.Areas {
		if !reading.IsID(a.Key) {
			problems = append(problems, doc.Problem("areas."+a.Key, "bad-id", a.Key, fmt.Sprintf("%q is not an id", a.Key), "write lower-case words and digits joined by hyphens"))
		}
	}
	return problems
}

func hasProblem(problems []reading.Problem, at reading.Place) bool {
	return slices.ContainsFunc(problems, func(p reading.Problem) bool { return p.Place == at && at.Column > 0 })
}
