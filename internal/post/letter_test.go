package post

import (
	"bytes"
	"encoding/base64"
	"errors"
	"io"
	"math/rand/v2"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"os/exec"
	"regexp"
	"strings"
	"testing"
	"time"

	"example.org/opencowl/internal/member"
	"example.org/opencowl/internal/store"
	"example.org/opencowl/internal/testtool"
)

var (
	ada = member.Member{ID: "0123456789abcdef0123456789abcdef", Address: "ada@example.org", Name: "Ada Fenn"}
	key = []byte("a key of thirty-two random bytes")
)

func compose(t *testing.T, job Job, to member.Member) []byte {
	t.Helper()
	letter, err := Compose(job, to, key)
	if err != nil {
		t.Fatal(err)
	}
	return letter
}

// header returns a letter's header section, the folds undone.
func header(t *testing.T, letter []byte) mail.Header {
	t.Helper()
	m, err := mail.ReadMessage(bytes.NewReader(letter))
	if err != nil {
		t.Fatal(err)
	}
	return m.Header
}

func TestTheSameLetterHasTheSameBytes(t *testing.T) {
	first := compose(t, testJob(), ada)
	for range 5 {
		if again := compose(t, testJob(), ada); !bytes.Equal(first, again) {
			t.Fatalf("letters differ:\n%s\n%s", first, again)
		}
	}
	id := header(t, first).Get("Message-Id")
	if !regexp.MustCompile(`^<[0-9a-f]{32}@example\.org>$`).MatchString(id) {
		t.Errorf("Message-ID %s, want 32 digits at example.org", id)
	}
	ben, next := ada, testJob()
	ben.ID = "1123456789abcdef0123456789abcdef"
	next.Week = "2031-W05"
	later := testJob()
	later.Date = friday.AddDate(0, 0, 1)
	if got := header(t, compose(t, later, ada)).Get("Message-Id"); got != id {
		t.Errorf("on another day the Message-ID is %s, want %s: a retry is the same letter", got, id)
	}
	for name, other := range map[string][]byte{"another member": compose(t, testJob(), ben), "another week": compose(t, next, ada)} {
		if got := header(t, other).Get("Message-Id"); got == id {
			t.Errorf("%s has the same Message-ID %s", name, got)
		}
	}
	if strings.Contains(string(first), ada.ID) {
		t.Error("the letter holds the member's id")
	}
}

func TestTheHeader(t *testing.T) {
	leaveAda, err := tokens{}.Token(member.ToLeave, ada.ID, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	h := header(t, compose(t, testJob(), ada))
	for name, want := range map[string]string{
		"From": `"Marram Sound" <update@example.org>`, "To": `"Ada Fenn" <ada@example.org>`,
		"Subject": "The floor that rotted from inside", "Date": "Fri, 24 Jan 2031 16:30:00 +0000",
		"List-Id":               "Weekly update <weekly.example.org>", // RFC 2919 3
		"Auto-Submitted":        "auto-generated",                     // RFC 3834 5
		"List-Post":             "NO",                                 // RFC 2369 3.4
		"List-Unsubscribe":      "<https://update.example.org/leave/" + leaveAda + ">, <mailto:returns@example.org?subject=leave-" + leaveAda + ">",
		"List-Unsubscribe-Post": "List-Unsubscribe=One-Click", // RFC 8058 3.1
		"Mime-Version":          "1.0",
	} {
		if got := h[name]; len(got) != 1 || got[0] != want {
			t.Errorf("%s: %q, want %q once", name, got, want)
		}
	}
	allowed := map[string]bool{"From": true, "To": true, "Subject": true, "Date": true, "List-Id": true, "Auto-Submitted": true,
		"Mime-Version": true, "Message-Id": true, "Content-Type": true, "List-Post": true, "List-Unsubscribe": true, "List-Unsubscribe-Post": true}
	for name := range h {
		if !allowed[name] {
			t.Errorf("header %s: %q says more than it should", name, h[name])
		}
	}
}

// parts opens a letter with the standard library: text, whose type is textKind,
// HTML, picture.
func parts(t *testing.T, letter []byte, textKind string) (text, html, picture []byte) {
	t.Helper()
	m, err := mail.ReadMessage(bytes.NewReader(letter))
	if err != nil {
		t.Fatal(err)
	}
	kind, params, err := mime.ParseMediaType(m.Header.Get("Content-Type"))
	// RFC 2387 3.1: the type parameter must be there.
	if err != nil || kind != "multipart/related" || params["type"] != "multipart/alternative" {
		t.Fatalf("Content-Type %s, %v; want multipart/related with its type", m.Header.Get("Content-Type"), err)
	}
	outer := multipart.NewReader(m.Body, params["boundary"])
	first, err := outer.NextRawPart()
	if err != nil {
		t.Fatal(err)
	}
	_, inside, err := mime.ParseMediaType(first.Header.Get("Content-Type"))
	if err != nil || inside["boundary"] == params["boundary"] {
		t.Fatalf("inner boundary %v (%v) must differ from the outer one", inside, err)
	}
	inner := multipart.NewReader(first, inside["boundary"])
	var bodies [][]byte
	for _, want := range []string{textKind, "text/html; charset=UTF-8"} {
		p, err := inner.NextRawPart()
		if err != nil || p.Header.Get("Content-Type") != want || p.Header.Get("Content-Transfer-Encoding") != "quoted-printable" {
			t.Fatalf("part %v, %v; want %s", p.Header, err, want)
		}
		body, err := io.ReadAll(quotedprintable.NewReader(p))
		if err != nil {
			t.Fatal(err)
		}
		bodies = append(bodies, body)
	}
	p, err := outer.NextRawPart()
	if err != nil || p.Header.Get("Content-Id") != "<p1@example.org>" || p.Header.Get("Content-Disposition") != `inline; filename="p1.jpg"` {
		t.Fatalf("picture part %v, %v", p.Header, err)
	}
	picture, err = io.ReadAll(base64.NewDecoder(base64.StdEncoding, p))
	if err != nil {
		t.Fatal(err)
	}
	return bodies[0], bodies[1], picture
}

const (
	fixedKind  = "text/plain; charset=UTF-8"
	flowedKind = "text/plain; format=flowed; delsp=no; charset=UTF-8" // RFC 3676 section 4
)

// An edition that was frozen when texts did not flow is not said to.
func TestATextWithoutSoftBreaksIsFixed(t *testing.T) {
	for text, kind := range map[string]string{"one\ntwo\n": fixedKind, "one \ntwo\n": flowedKind, "end\n\n-- \nTrust\n": flowedKind} {
		job := testJob()
		job.Text = []byte(text)
		if got, _, _ := parts(t, compose(t, job, ada), kind); strings.ReplaceAll(string(got), "\r\n", "\n") != text {
			t.Errorf("%q came back as %q", text, got)
		}
	}
}

// Python's email package finds the same text, its soft breaks where they were.
func TestPythonReadsTheFlowedText(t *testing.T) {
	job := testJob()
	job.Text = []byte("A paragraph that goes on \nin the next line, é.\n\n> quoted \n> on\n\n From here\n\n-- \nTrust\n")
	cmd := exec.Command(testtool.Need(t, "python3"), "-c", `import sys, email, email.policy
m = email.message_from_bytes(sys.stdin.buffer.read(), policy=email.policy.default)
p = m.get_body(preferencelist=("plain",))
assert not any(part.defects for part in m.walk()), [part.defects for part in m.walk()]
print(p.get_content_type(), p.get_param("format"), p.get_param("delsp"), p.get_content_charset())
sys.stdout.write(p.get_content())`)
	cmd.Stdin = bytes.NewReader(compose(t, job, ada))
	cmd.Env = append(cmd.Environ(), "PYTHONIOENCODING=utf-8")
	got, err := cmd.CombinedOutput()
	if want := "text/plain flowed no utf-8\n" + string(job.Text); err != nil || strings.ReplaceAll(string(got), "\r\n", "\n") != want {
		t.Errorf("%v\ngot %q\nwant %q", err, got, want)
	}
}

func TestTheBodyComesBackAsItWasFrozen(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	jpeg := make([]byte, 100_000)
	for i := range jpeg {
		jpeg[i] = byte(random.Uint32())
	}
	job := testJob()
	job.Pictures[0].JPEG = jpeg
	job.Text = []byte("Zoë’s rivets = 3 × 4 mm\n.\n..\nFrom here\ntrailing space \n" + strings.Repeat("long ", 400) + "\nboundary=0123\n")
	job.HTML = []byte("<p>" + strings.Repeat("no break anywhere", 200) + "é</p>\n")
	text, html, picture := parts(t, compose(t, job, ada), flowedKind)
	if got := strings.ReplaceAll(string(text), "\r\n", "\n"); got != string(job.Text) {
		t.Errorf("text came back as %q", got)
	}
	if got := strings.ReplaceAll(string(html), "\r\n", "\n"); got != string(job.HTML) {
		t.Errorf("HTML came back as %q", got)
	}
	if !bytes.Equal(picture, jpeg) {
		t.Error("the picture came back changed")
	}
}

func TestALetterWithoutPicturesIsAlternativeAlone(t *testing.T) {
	job := testJob()
	job.Pictures = nil
	if kind := header(t, compose(t, job, ada)).Get("Content-Type"); !strings.HasPrefix(kind, "multipart/alternative;") {
		t.Errorf("Content-Type %s, want multipart/alternative", kind)
	}
}

// RFC 5322 2.1.1: a line has at most 998 octets without CRLF, and should have 78.
// RFC 2047 2: an encoded word has at most 75, and its line 76.
func TestLinesAreShortEnough(t *testing.T) {
	leave, err := tokens{}.Token(member.ToLeave, ada.ID, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	encoded := regexp.MustCompile(`=\?[^? ]+\?[bqBQ]\?[^? ]*\?=`)
	for name, subject := range map[string]string{
		"plain":    "The floor that rotted from inside, and what the Tuesday bench did about it in three weeks of evenings",
		"accents":  strings.Repeat("Zoë’s œuvre fêtée ", 12),
		"no space": strings.Repeat("é", 300),
		"Greek":    strings.Repeat("Ὠκεανός ", 20),
		"emoji":    strings.Repeat("🛠️", 60),
		"spaces":   "a" + strings.Repeat(" ", 200) + "b",
	} {
		job, to := testJob(), ada
		job.Subject = subject
		to.Name = strings.Repeat("Zoë Näslund-", 12)
		letter := compose(t, job, to)
		head, _, _ := bytes.Cut(letter, []byte("\r\n\r\n"))
		for line := range bytes.SplitSeq(letter, []byte("\r\n")) {
			if len(line) > 998 {
				t.Errorf("%s: a line of %d octets", name, len(line))
			}
		}
		for line := range strings.SplitSeq(string(head), "\r\n") {
			// A link cannot be broken, and a line should have 78, not must.
			if len(line) > 78 && !strings.Contains(line, leave) {
				t.Errorf("%s: a header line of %d octets: %s", name, len(line), line)
			}
			if strings.TrimSpace(line) == "" {
				t.Errorf("%s: a header line of space alone", name)
			}
			for _, word := range encoded.FindAllString(line, -1) {
				if len(word) > 75 || len(line) > 76 {
					t.Errorf("%s: an encoded word of %d in a line of %d: %s", name, len(word), len(line), line)
				}
			}
		}
		if bytes.Contains(head, []byte("\r\nSubject:\r\n")) || bytes.Contains(head, []byte("\r\nSubject: \r\n")) {
			t.Errorf("%s: the subject's own line is empty", name)
		}
		decoded, err := new(mime.WordDecoder).DecodeHeader(header(t, letter).Get("Subject"))
		if want := strings.Join(strings.Fields(subject), " "); err != nil || decoded != want {
			t.Errorf("%s: the subject reads %q, %v; want %q", name, decoded, err, want)
		}
		list, err := header(t, letter).AddressList("To")
		if err != nil || len(list) != 1 || list[0].Name != to.Name || list[0].Address != to.Address {
			t.Errorf("%s: To reads %v, %v; want %s", name, list, err, to.Name)
		}
	}
}

// RFC 2047 8 prints how encoded words are to be shown; what we write must be
// shown back by those rules. The decoder itself is held to the examples first.
func TestTheDecoderFollowsTheExamplesOfRFC2047(t *testing.T) {
	for in, want := range map[string]string{
		"=?ISO-8859-1?Q?a?=":                     "a",
		"=?ISO-8859-1?Q?a?= b":                   "a b",
		"=?ISO-8859-1?Q?a?= =?ISO-8859-1?Q?b?=":  "ab",
		"=?ISO-8859-1?Q?a?=  =?ISO-8859-1?Q?b?=": "ab",
		"=?ISO-8859-1?Q?a_b?=":                   "a b",
		"=?ISO-8859-1?Q?a?= =?ISO-8859-1?Q?_b?=": "a b",
	} {
		if got, err := new(mime.WordDecoder).DecodeHeader(in); err != nil || got != want {
			t.Errorf("%s is shown as %q, %v; want %q", in, got, err, want)
		}
	}
}

func TestHeadersCannotBeInjected(t *testing.T) {
	for _, bad := range []string{"x\r\nBcc: pat@example.org", "x\nBcc: pat@example.org", "x\rBcc: pat@example.org", "x\x00", "x\u2028y", "x\u0085y", "x\xffy", "tab\there"} {
		for name, change := range map[string]func(*Job, *member.Member){
			"subject":    func(j *Job, _ *member.Member) { j.Subject = bad },
			"name":       func(_ *Job, m *member.Member) { m.Name = bad },
			"address":    func(_ *Job, m *member.Member) { m.Address = bad + "@example.org" },
			"domain":     func(_ *Job, m *member.Member) { m.Address = "ada@example.org" + bad },
			"sender":     func(j *Job, _ *member.Member) { j.From = bad + " <update@example.org>" },
			"returns":    func(j *Job, _ *member.Member) { j.Returns = "returns@example.org" + bad },
			"list":       func(j *Job, _ *member.Member) { j.ListID = "weekly.example.org" + bad },
			"week":       func(j *Job, _ *member.Member) { j.Week += bad },
			"public url": func(j *Job, _ *member.Member) { j.PublicURL += bad },
			"content id": func(j *Job, _ *member.Member) { j.Pictures[0].ContentID = bad },
			"picture":    func(j *Job, _ *member.Member) { j.Pictures[0].Name = bad },
		} {
			job, to := testJob(), ada
			change(&job, &to)
			if letter, err := Compose(job, to, key); !errors.Is(err, ErrLetter) {
				t.Errorf("%s %q: %v, want ErrLetter; got\n%.600s", name, bad, err, letter)
			}
		}
	}
}

func TestWhatCannotBeALetter(t *testing.T) {
	for name, change := range map[string]func(*Job){
		"no subject":         func(j *Job) { j.Subject = " " },
		"a word of 1000":     func(j *Job) { j.Subject = strings.Repeat("a", 1000) }, // RFC 5322 2.1.1
		"no HTML":            func(j *Job) { j.HTML = nil },
		"text not UTF-8":     func(j *Job) { j.Text = []byte("Zo\xeb") },
		"a NUL in the text":  func(j *Job) { j.Text = []byte("a\x00b") },
		"a bare CR in it":    func(j *Job) { j.HTML = []byte("a\rb") },
		"no date":            func(j *Job) { j.Date = Job{}.Date },
		"no sender":          func(j *Job) { j.From = "" },
		"two senders":        func(j *Job) { j.From = "a@example.org, b@example.org" },
		"no list":            func(j *Job) { j.ListID = "" },
		"a list of one word": func(j *Job) { j.ListID = "weekly" },
		"a list too long":    func(j *Job) { j.ListID = strings.Repeat("abcdefghi.", 26) + "org" }, // RFC 2919 3: 255
		"no such week":       func(j *Job) { j.Week = "2031-W60" },
	} {
		job := testJob()
		change(&job)
		if _, err := Compose(job, ada, key); !errors.Is(err, ErrLetter) {
			t.Errorf("%s: %v, want ErrLetter", name, err)
		}
	}
}

// A fault that is in every letter must not be laid at the members' door.
func TestAFaultOfTheEditionBlamesNoMember(t *testing.T) {
	db, c, _ := frozen(t, 2)
	job := testJob()
	job.Week, job.Subject = "2031-W05", strings.Repeat("a", 1000)
	freeze(t, db, job)
	target := newTarget(t)
	if _, err := Send(t.Context(), db, job, options(target.address(), c)); !errors.Is(err, ErrLetter) {
		t.Errorf("error %v, want ErrLetter", err)
	}
	if report, err := Status(t.Context(), db, job.Week); err != nil || report.Total != 0 || report.State != store.Frozen {
		t.Errorf("status %+v, %v; want it frozen still", report, err)
	}
}

func TestADomainOutsideASCIIIsWrittenInIDNA(t *testing.T) {
	job, to := testJob(), ada
	job.From, job.Returns, to.Address = "Bücherei <neu@bücher.example>", "zurück@example.org", "ada@BÜCHER.example"
	if _, err := Compose(job, to, key); !errors.Is(err, ErrLetter) {
		t.Errorf("a local part outside ASCII: %v, want ErrLetter", err)
	}
	job.Returns = ""
	h := header(t, compose(t, job, to))
	if got := h.Get("From"); !strings.HasSuffix(got, "<neu@xn--bcher-kva.example>") {
		t.Errorf("From: %s, want the domain in ASCII", got)
	}
	if got := h.Get("To"); got != `"Ada Fenn" <ada@xn--bcher-kva.example>` {
		t.Errorf("To: %s, want the domain in ASCII", got)
	}
}

// Any two different parts of a letter are written differently before they are
// signed with the key.
func TestTheKeyedNameTellsPartsApart(t *testing.T) {
	if mac(key, "a", "bc") == mac(key, "ab", "c") || mac(key, "a") == mac([]byte("other"), "a") {
		t.Error("two different letters share a name")
	}
}

func FuzzCompose(f *testing.F) {
	f.Add("The floor", "Ada Fenn", "text\n")
	f.Add("=?utf-8?q?x?=", `"quoted" \ (comment) <x@y>`, ".\r\n.\r\n")
	f.Add("multipart/related;", "Zoë", "boundary=\n\n--\n")
	f.Fuzz(func(t *testing.T, subject, name, text string) {
		job, to := testJob(), ada
		job.Subject, job.Text, to.Name = subject, []byte(text), name
		letter, err := Compose(job, to, key)
		if errors.Is(err, ErrLetter) {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		got, _, picture := parts(t, letter, string(textType(job.Text))+"; charset=UTF-8")
		unix := func(s string) string { return strings.ReplaceAll(s, "\r\n", "\n") }
		if unix(string(got)) != unix(text) {
			t.Errorf("text %q came back as %q", text, got)
		}
		if string(picture) != string(job.Pictures[0].JPEG) {
			t.Errorf("picture came back as %q", picture)
		}
		list, err := header(t, letter).AddressList("To")
		if err != nil || len(list) != 1 || list[0].Address != to.Address || list[0].Name != strings.Join(strings.Fields(strings.ReplaceAll(name, `\`, " ")), " ") {
			t.Errorf("name %q: To reads %v, %v", name, list, err)
		}
	})
}
