package post

import (
	"bytes"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	netmail "net/mail"
	"regexp"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/wneessen/go-mail"

	"example.org/opencowl/internal/day"
	"example.org/opencowl/internal/member"
	"example.org/opencowl/internal/store"
)

// Job is one edition as it is to be posted: the frozen bytes, and what the
// settings say about the sender.
type Job struct {
	Week     string // "2031-W07"
	Subject  string
	From     string // RFC 5322 mailbox: "Marram Sound <update@example.org>"
	Returns  string // address that bounces go to; empty: the one of From
	ListID   string // RFC 2919: "weekly.example.org" or "Weekly update <weekly.example.org>"
	HTML     []byte
	Text     []byte
	Pictures []store.Picture
	Date     time.Time // of the letters; whether a member's giving has begun or ended is asked for its day

	PublicURL string // HTTPS address below which links of letters open; empty: one leaves by mail alone
	Tokens    Tokens // for the links, and for the sender on the envelope
}

// ErrLetter is wrapped by errors about what a letter is made from.
var ErrLetter = errors.New("this cannot be made into a letter")

func badLetter(format string, args ...any) error {
	return fmt.Errorf("%w: %s", ErrLetter, fmt.Sprintf(format, args...))
}

// maxLine is the longest line a letter may have, in octets without CRLF (RFC
// 5322 2.1.1, RFC 6532 3.4).
const maxLine = 998

// sender is a job's own side of every letter, checked once.
type sender struct {
	from    netmail.Address
	returns string // envelope sender
	domain  string // of from, in ASCII
	listID  string // with its angle brackets
}

// check reads the sender's side of a job and refuses what must not get into a
// header.
func (j Job) check() (sender, error) {
	if _, err := day.ParseWeek(j.Week); err != nil {
		return sender{}, badLetter("the week is %v", err)
	}
	if err := plain("the sender", j.From); err != nil {
		return sender{}, err
	}
	from, err := netmail.ParseAddress(j.From)
	if err != nil {
		return sender{}, badLetter("the sender %q is no address; write post.from as Name <update@example.org>", j.From)
	}
	if err := plain("the sender's name", from.Name); err != nil {
		return sender{}, err
	}
	if from.Address, err = member.Normalise(from.Address); err != nil {
		return sender{}, badLetter("the sender's address in post.from: %v", err)
	}
	from.Name = displayName(from.Name)
	s := sender{from: *from, returns: from.Address}
	s.domain = from.Address[strings.LastIndex(from.Address, "@")+1:]
	if j.Returns != "" {
		if s.returns, err = member.Normalise(j.Returns); err != nil {
			return sender{}, badLetter("the address in post.returns: %v", err)
		}
	}
	if s.listID, err = listID(j.ListID); err != nil {
		return sender{}, err
	}
	if err := j.checkLeaving(s.returns); err != nil {
		return sender{}, err
	}
	return s, j.checkContent()
}

func (j Job) checkContent() error {
	if strings.TrimSpace(j.Subject) == "" {
		return badLetter("the subject is empty")
	}
	if err := plain("the subject", j.Subject); err != nil {
		return err
	}
	if j.Date.IsZero() {
		return badLetter("it has no date")
	}
	for name, body := range map[string][]byte{"HTML": j.HTML, "text": j.Text} {
		if len(bytes.TrimSpace(body)) == 0 || !utf8.Valid(body) {
			return badLetter("its %s is empty or not UTF-8; freeze the edition again", name)
		}
		if bytes.ContainsFunc(bytes.ReplaceAll(body, []byte("\r\n"), nil), func(r rune) bool { return unicode.IsControl(r) && r != '\n' && r != '\t' }) {
			return badLetter("its %s holds a control character; take it out and freeze the edition again", name)
		}
	}
	for _, p := range j.Pictures {
		if !pictureName.MatchString(p.ContentID) || !pictureName.MatchString(p.Name) {
			return badLetter("the picture %q (%q) has a name with more than letters, digits and . _ @ -", p.Name, p.ContentID)
		}
	}
	return nil
}

var (
	pictureName = regexp.MustCompile(`^[A-Za-z0-9._@-]{1,200}$`)
	// RFC 2919 3: an optional phrase, then the list's name in angle brackets.
	listIDShape = regexp.MustCompile(`^(?:[A-Za-z0-9 '-]+ )?<[A-Za-z0-9-]+(?:\.[A-Za-z0-9-]+)+>$`)
)

func listID(id string) (string, error) {
	if !strings.Contains(id, "<") {
		id = "<" + id + ">"
	}
	if !listIDShape.MatchString(id) || len(id) > 255 {
		return "", badLetter("the list's name %q must look like weekly.example.org or Weekly update <weekly.example.org>", id)
	}
	return id, nil
}

// plain refuses text that would end a header line or cannot be seen: the
// library writes some headers as they come.
func plain(what, text string) error {
	for _, r := range text {
		if unicode.IsControl(r) || r == '\u2028' || r == '\u2029' || r == utf8.RuneError {
			return badLetter("%s holds a line break or another character that cannot be seen (U+%04X); type it again", what, r)
		}
	}
	return nil
}

// Compose writes the letter of one member, ready for the wire: 7-bit, lines
// ended by CRLF. The key makes the Message-ID and the boundaries, so that the
// same letter has the same bytes however often it is made.
func Compose(job Job, to member.Member, key []byte) ([]byte, error) {
	s, err := job.check()
	if err != nil {
		return nil, err
	}
	w, err := s.compose(job, to, key)
	return w.letter, err
}

// written is a letter with what is known of it.
type written struct {
	letter   []byte
	envelope string   // the sender on its way
	own      []string // what this letter alone may tell: the member's name, address and links
}

func (s sender) compose(job Job, to member.Member, key []byte) (written, error) {
	if err := plain("the member's name", to.Name); err != nil {
		return written{}, err
	}
	address, err := member.Normalise(to.Address)
	if err != nil {
		return written{}, badLetter("the member's address: %v", err)
	}
	list, err := s.leaving(job, to.ID)
	if err != nil {
		return written{}, err
	}
	envelope, err := s.envelope(job, to.ID)
	if err != nil {
		return written{}, err
	}
	msg := mail.NewMsg(mail.WithNoDefaultUserAgent())
	msg.SetAddrHeaderFromMailAddress(mail.HeaderFrom, &s.from)
	msg.SetAddrHeaderFromMailAddress(mail.HeaderTo, &netmail.Address{Name: displayName(to.Name), Address: address})
	if words := encodedWords(oneSpaced(job.Subject), len("Subject: ")); words != "" {
		msg.SetGenHeaderPreformatted(mail.HeaderSubject, words)
	} else {
		msg.Subject(oneSpaced(job.Subject))
	}
	msg.SetDateWithValue(job.Date)
	msg.SetMessageIDWithValue(mac(key, "message-id", job.Week, to.ID)[:32] + "@" + s.domain)
	msg.SetGenHeader("List-Id", s.listID)
	msg.SetGenHeader("List-Post", "NO") // RFC 2369 3.4
	msg.SetGenHeaderPreformatted("List-Unsubscribe", list.unsubscribe())
	if list.oneClick {
		msg.SetGenHeader("List-Unsubscribe-Post", "List-Unsubscribe=One-Click") // RFC 8058 3.1
	}
	msg.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834 5: no out-of-office replies
	msg.SetBodyString(textType(job.Text), string(job.Text))
	msg.AddAlternativeString(mail.TypeTextHTML, string(job.HTML)) // the richest last (RFC 2046 5.1.4)
	for _, p := range job.Pictures {
		if err := msg.EmbedReader(p.Name, bytes.NewReader(p.JPEG),
			mail.WithFileContentID("<"+p.ContentID+">"), mail.WithFileContentType(pictureType(p.JPEG))); err != nil {
			return written{}, badLetter("the picture %s: %v", p.Name, err)
		}
	}
	var wire bytes.Buffer
	if _, err := msg.WriteTo(&wire); err != nil {
		return written{}, badLetter("%v", err)
	}
	letter := fixBoundaries(wire.Bytes(), key, job.Week, to.ID)
	return written{letter, envelope, append([]string{to.Name, to.Address, address}, list.addresses...)}, checkWire(letter)
}

// textType says of a text whether its lines flow (RFC 3676): only then does one end
// in a space. Texts of editions frozen earlier do not.
func textType(text []byte) mail.ContentType {
	if bytes.Contains(text, []byte(" \n")) {
		return mail.TypeTextPlain + "; format=flowed; delsp=no"
	}
	return mail.TypeTextPlain
}

// pictureType is the media type of a picture: a chart's is image/png.
func pictureType(data []byte) mail.ContentType {
	if bytes.HasPrefix(data, []byte("\x89PNG")) {
		return "image/png"
	}
	return "image/jpeg"
}

// longestWord is the most an encoded word may have (RFC 2047 2), in octets; its
// line may have one more.
const longestWord = 75

// encodedWords writes text outside ASCII as the encoded words of a header, the
// first of them on the header's own line, of which taken octets are used. The
// library begins with an empty line there, which some mail readers show as a
// space or as no subject at all. It returns "" for text in ASCII.
func encodedWords(text string, taken int) string {
	if !strings.ContainsFunc(text, func(r rune) bool { return r > unicode.MaxASCII }) {
		return ""
	}
	var words []string
	var word string
	room := longestWord + 1 - taken
	for _, r := range text {
		if longer := word + string(r); len(quoted(longer)) <= room {
			word = longer
			continue
		}
		words, word, room = append(words, quoted(word)), string(r), longestWord
	}
	return strings.Join(append(words, quoted(word)), "\r\n ")
}

// quoted is one encoded word in the Q encoding (RFC 2047 4.2), whatever is in it.
func quoted(text string) string {
	var b strings.Builder
	b.WriteString("=?UTF-8?q?")
	for _, c := range []byte(text) {
		switch {
		case c == ' ':
			b.WriteByte('_')
		case 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z' || '0' <= c && c <= '9':
			b.WriteByte(c)
		default:
			fmt.Fprintf(&b, "=%02X", c)
		}
	}
	return b.String() + "?="
}

// oneSpaced writes text with one space between words: a longer gap could be
// folded into a header line that is all space (RFC 5322 3.2.2).
func oneSpaced(s string) string { return strings.Join(strings.Fields(s), " ") }

// displayName writes a name for an address header. A backslash goes: net/mail
// leaves it in an encoded word, where RFC 2047 5(3) allows none.
func displayName(name string) string { return oneSpaced(strings.ReplaceAll(name, `\`, " ")) }

// mac returns 64 hexadecimal digits that only this workspace can make.
func mac(key []byte, parts ...string) string {
	h := hmac.New(sha256.New, key)
	for _, p := range parts {
		fmt.Fprintf(h, "%d:%s", len(p), p)
	}
	return hex.EncodeToString(h.Sum(nil))
}

// A multipart header as the library writes it. Nothing else can look like one:
// a folded header goes on after a space, and in a body "=" is written "=3D"
// (quoted-printable) or stands at the end alone (base64).
var multipartHeader = regexp.MustCompile(`\r\nContent-Type: multipart/(related|alternative);\r\n boundary=([0-9a-f]{60})\r\n`)

// fixBoundaries puts boundaries of our own in place of the library's random
// ones; it lets us choose only a single one, which nested parts must not share.
// It also says what a related part begins with, as RFC 2387 3.1 asks.
func fixBoundaries(letter, key []byte, week, id string) []byte {
	for _, found := range multipartHeader.FindAllSubmatch(letter, -1) {
		kind := string(found[1])
		boundary := mac(key, "boundary", week, id, kind)[:60]
		first := ""
		if kind == "related" {
			first = " type=\"multipart/alternative\";\r\n"
		}
		header := fmt.Sprintf("\r\nContent-Type: multipart/%s;\r\n%s boundary=%s\r\n", kind, first, boundary)
		letter = bytes.Replace(letter, found[0], []byte(header), 1)
		letter = bytes.ReplaceAll(letter, found[2], []byte(boundary))
	}
	return letter
}

// checkWire holds a finished letter to what SMTP can carry anywhere, whatever
// the library made of it.
func checkWire(letter []byte) error {
	if !bytes.HasSuffix(letter, []byte("\r\n")) {
		return badLetter("it does not end with a line end")
	}
	for line := range bytes.SplitSeq(letter, []byte("\r\n")) {
		if len(line) > maxLine {
			return badLetter("a line of it is longer than %d characters; shorten the subject or the name", maxLine)
		}
		for _, b := range line {
			if b == '\r' || b == '\n' || b == 0 || b > 127 {
				return badLetter("a line of it holds the byte %#02x", b)
			}
		}
	}
	return nil
}
