package workspace

import (
	"net/mail"
	"net/url"
	"os"
	"reflect"
	"strings"
	"testing"

	"example.org/opencowl/internal/reading"
)

func FuzzSettings(f *testing.F) {
	for _, file := range []string{"../../content/demo/workshop.yaml", "../../content/start/workshop.yaml"} {
		src, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(src)
	}
	for _, s := range []string{
		"workshop: {name: a, machine: b, language: en, timezone: Europe/London, postal_address: c, site: https://example.org}\npeople: [{id: a, name: A, roles: [engineer]}]\nareas: {hull: Hull}\npost: {from: a@example.org, returns: a@example.org}\n",
		"workshop: {timezone: ../../etc/passwd, site: \"javascript:a\"}\npeople: [{}, ~, {id: a}, {id: a}]\nareas: {A: b, c: ~}\n",
		"post: {from: \"a\\r\\nb <a@example.org>\", smtp: \"smtp://[::1]:25\", per_minute: -1, dkim: {}}\nmembers_first: -1d\nroll_out: 2031-02-30\n",
		"clearing: {run_of_words: 1e9, private_terms: [\"\", a]}\npublic_url: https:///a\nlegal_lines: [[a]]\n",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		s, problems := readSettings(src)
		// YAML 1.2 section 5.4: a carriage return alone ends a line too.
		lines := strings.Count(string(src), "\n") + strings.Count(string(src), "\r") + 1
		for _, p := range problems {
			if p.File != SettingsFile || p.Code == "" || p.Message == "" || p.Remedy == "" || p.Line > lines+1 {
				t.Fatalf("%q: a problem without place or remedy: %+v", src, p)
			}
		}
		again, problemsAgain := readSettings(src)
		if !reflect.DeepEqual(s, again) || !reflect.DeepEqual(problems, problemsAgain) {
			t.Fatalf("%q: two readings differ: %+v and %+v", src, s, again)
		}
		if !reading.Stops(problems) {
			checkTaken(t, src, s)
		}
	})
}

// checkTaken holds settings that were taken to what the rest relies on.
func checkTaken(t *testing.T, src []byte, s Settings) {
	t.Helper()
	w := s.Workshop
	if w.Name == "" || w.Machine == "" || w.Language == "" || w.PostalAddress == "" || w.Timezone.Location == nil || len(s.Areas) == 0 || len(s.People) == 0 {
		t.Fatalf("%q: settings without what they need were taken: %+v", src, s)
	}
	site, err := url.Parse(w.Site)
	if err != nil || site.Scheme != "https" && site.Scheme != "http" || site.Host == "" || !strings.HasSuffix(w.Site, "/") {
		t.Fatalf("%q: the site %q was taken", src, w.Site)
	}
	if s.PublicURL != "" && !strings.HasPrefix(strings.ToLower(s.PublicURL), "https://") {
		t.Fatalf("%q: the public address %q was taken", src, s.PublicURL)
	}
	for _, a := range []string{s.Post.From, s.Post.Returns} {
		if _, err := mail.ParseAddress(a); err != nil || strings.ContainsAny(a, "\r\n") {
			t.Fatalf("%q: the address %q was taken", src, a)
		}
	}
	if s.MembersFirst < 0 || s.Post.PerMinute < 1 || s.Post.Sessions < 1 || s.Post.Sessions > 20 || s.Clearing.RunOfWords < 4 || s.Clearing.RunOfWords > 40 {
		t.Fatalf("%q: a number outside its bounds was taken: %+v", src, s)
	}
	for _, id := range append(s.PeopleIDs(), s.AreaKeys()...) {
		if !reading.IsID(id) {
			t.Fatalf("%q: the id %q was taken", src, id)
		}
	}
	for _, p := range s.People {
		if found, ok := s.PersonByID(p.ID); !ok || !reflect.DeepEqual(found, p) || p.Name == "" {
			t.Fatalf("%q: %q finds %+v, not %+v", src, p.ID, found, p)
		}
	}
}
