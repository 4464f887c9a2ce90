package member

import (
	"bytes"
	"encoding/base64"
	"html"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf16"
	"unicode/utf8"

	"golang.org/x/net/idna"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/unicode/norm"
)

// seeker finds an address in the bytes of files, however a program wrote it down: in
// any case, its domain in Unicode or in ASCII (IDNA), as UTF-8, UTF-16 or
// Windows-1252, in quoted-printable, base64, or escaped for the web or for JSON, and
// in one of these inside another. What is compressed or encrypted it cannot see.
//
// Somebody else's address that ends or begins like it is not taken for it, except in
// files that are not text: there nothing parts one value from the next.
type seeker struct {
	local string   // before the @, in lower case
	forms []string // the whole address, in lower case
}

func seekerOf(address string) seeker {
	address = fold(address)
	at := strings.LastIndexByte(address, '@')
	s := seeker{local: address[:at+1], forms: []string{address}}
	shown, err := idna.Display.ToUnicode(address[at+1:])
	if err == nil && shown != address[at+1:] {
		for _, form := range []string{norm.NFC.String(shown), norm.NFD.String(shown)} {
			s.forms = append(s.forms, s.local+strings.ToLower(form))
		}
		if western, err := charmap.Windows1252.NewEncoder().String(norm.NFC.String(shown)); err == nil {
			s.forms = append(s.forms, s.local+strings.ToLower(western))
		}
	}
	slices.Sort(s.forms)
	s.forms = slices.Compact(s.forms)
	return s
}

// window is how much of a file is looked at once, and overlap how much of it is
// looked at again with the next: more than an address takes in any writing.
const (
	window  = 1 << 20
	overlap = 16 << 10
)

// in looks through a file.
func (s seeker) in(r io.Reader) (bool, error) {
	buf := make([]byte, 0, window)
	for {
		n, err := io.ReadFull(r, buf[len(buf):window])
		buf = buf[:len(buf)+n]
		binary, depth := bytes.IndexByte(buf, 0) >= 0, nested
		if binary {
			depth = 1 // photos are large, and anything looks like an escape in them
		}
		if s.within(buf, depth, binary) {
			return true, nil
		}
		if err == io.EOF || err == io.ErrUnexpectedEOF {
			return false, nil
		}
		if err != nil {
			return false, err
		}
		buf = buf[:copy(buf, buf[window-overlap:])]
	}
}

// nested is how many ways of writing are looked for inside one another: base64 of
// quoted-printable of a link is three.
const nested = 3

// within looks for the address in bytes, and in what they may stand for.
func (s seeker) within(b []byte, depth int, binary bool) bool {
	if s.plain(b, binary) || s.sixteen(b) {
		return true
	}
	if depth == 0 {
		return false
	}
	for _, d := range []struct {
		mark   string // without it, there is nothing to decode
		decode func([]byte) []byte
	}{{"=", fromQuotedPrintable}, {"=?", fromEncodedWord}, {"%", fromPercent}, {"&", fromHTML}, {`\`, fromBackslash}} {
		if bytes.Contains(b, []byte(d.mark)) {
			if out := d.decode(b); !bytes.Equal(out, b) && s.within(out, depth-1, binary) {
				return true
			}
		}
	}
	return s.base64(b, depth)
}

// plain looks for the address as it stands.
func (s seeker) plain(b []byte, binary bool) bool {
	lower := asciiLower(b)
	if !bytes.Contains(lower, []byte(s.local)) {
		return false
	}
	// A domain in Unicode has more capitals than A to Z; bytes that are not UTF-8 do
	// not live through ToLower.
	text := [][]byte{lower, bytes.ToLower(b)}
	for _, t := range text {
		for _, form := range s.forms {
			for from := 0; ; {
				i := bytes.Index(t[from:], []byte(form))
				if i < 0 {
					break
				}
				i += from
				if binary || !goesOnBefore(t[:i]) && !goesOnAfter(t[i+len(form):]) {
					return true
				}
				from = i + 1
			}
		}
	}
	return false
}

func asciiLower(b []byte) []byte {
	lower := slices.Clone(b)
	for i, c := range lower {
		if 'A' <= c && c <= 'Z' {
			lower[i] = c + 'a' - 'A'
		}
	}
	return lower
}

// goesOnBefore says whether the part before the @ is longer than what was found. Of
// the marks that may stand there, those are taken for a part of it that people use;
// any other may as well be a quotation mark or the like.
func goesOnBefore(b []byte) bool {
	if len(b) == 0 {
		return false
	}
	c := b[len(b)-1]
	return 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z' || '0' <= c && c <= '9' || strings.IndexByte("._+-", c) >= 0
}

// goesOnAfter says whether the domain is longer than what was found.
func goesOnAfter(b []byte) bool {
	if len(b) > 1 && (b[0] == '.' || b[0] == '-') {
		r, _ := utf8.DecodeRune(b[1:])
		return r != utf8.RuneError && (unicode.IsLetter(r) || unicode.IsDigit(r))
	}
	return len(b) > 0 && ('a' <= b[0] && b[0] <= 'z' || 'A' <= b[0] && b[0] <= 'Z' || '0' <= b[0] && b[0] <= '9')
}

// sixteen looks for the address in UTF-16 of either order.
func (s seeker) sixteen(b []byte) bool {
	lower := asciiLower(b)
	for _, big := range []bool{false, true} {
		local := make([]byte, 0, 2*len(s.local))
		for _, c := range []byte(s.local) {
			if big {
				local = append(local, 0, c)
			} else {
				local = append(local, c, 0)
			}
		}
		for from := 0; ; {
			i := bytes.Index(lower[from:], local)
			if i < 0 {
				break
			}
			i += from
			// From a little before the find to the end of the longest domain.
			start := i - min(i, 8)&^1
			piece := b[start:min(len(b), i+len(local)+2*maxPath)]
			units := make([]uint16, 0, len(piece)/2)
			for j := 0; j+1 < len(piece); j += 2 {
				lo, hi := piece[j], piece[j+1]
				if big {
					lo, hi = hi, lo
				}
				units = append(units, uint16(lo)|uint16(hi)<<8)
			}
			if s.plain([]byte(string(utf16.Decode(units))), false) {
				return true
			}
			from = i + 1
		}
	}
	return false
}

// base64 decodes whatever may be base64, in either alphabet (RFC 4648 4 and 5), with
// or without line ends, from each place where a group of four may begin.
func (s seeker) base64(b []byte, depth int) bool {
	short := base64.RawStdEncoding.EncodedLen(len(s.forms[0])) - 2 // of the shortest form; the ends may share letters with others
	var run []byte
	look := func() bool {
		defer func() { run = run[:0] }()
		if len(run) < short {
			return false
		}
		for skip := range 4 {
			part := run[min(skip, len(run)):]
			if len(part)%4 == 1 {
				part = part[:len(part)-1] // a letter alone stands for less than a byte
			}
			out := make([]byte, base64.RawStdEncoding.DecodedLen(len(part)))
			n, _ := base64.RawStdEncoding.Decode(out, part)
			if s.within(out[:n], depth-1, false) {
				return true
			}
		}
		return false
	}
	for _, c := range b {
		switch {
		case 'A' <= c && c <= 'Z' || 'a' <= c && c <= 'z' || '0' <= c && c <= '9' || c == '+' || c == '/':
			run = append(run, c)
		case c == '-':
			run = append(run, '+')
		case c == '_':
			run = append(run, '/')
		case c == '\r' || c == '\n':
		default:
			if look() {
				return true
			}
		}
	}
	return look()
}

// fromEncodedWord undoes the Q of encoded words (RFC 2047 4.2), where a space is
// written as an underscore.
func fromEncodedWord(b []byte) []byte {
	return fromQuotedPrintable(bytes.ReplaceAll(b, []byte("_"), []byte(" ")))
}

// fromQuotedPrintable undoes quoted-printable (RFC 2045 6.7), and leaves alone what is
// none.
func fromQuotedPrintable(b []byte) []byte {
	out := make([]byte, 0, len(b))
	for i := 0; i < len(b); i++ {
		if b[i] != '=' {
			out = append(out, b[i])
			continue
		}
		rest := b[i+1:]
		switch c, ok := hexByte(rest); {
		case ok:
			out = append(out, c)
			i += 2
		case bytes.HasPrefix(rest, []byte("\r\n")):
			i += 2
		case bytes.HasPrefix(rest, []byte("\n")):
			i++
		default:
			out = append(out, '=')
		}
	}
	return out
}

func fromPercent(b []byte) []byte {
	out := make([]byte, 0, len(b))
	for i := 0; i < len(b); i++ {
		if c, ok := hexByte(b[i+1:]); b[i] == '%' && ok {
			out = append(out, c)
			i += 2
			continue
		}
		out = append(out, b[i])
	}
	return out
}

func hexByte(b []byte) (byte, bool) {
	if len(b) < 2 {
		return 0, false
	}
	n, err := strconv.ParseUint(string(b[:2]), 16, 8)
	return byte(n), err == nil
}

func fromHTML(b []byte) []byte { return []byte(html.UnescapeString(string(b))) }

// fromBackslash undoes the escapes of JSON (RFC 8259 7), and so those of YAML and of
// most programs' logs.
func fromBackslash(b []byte) []byte {
	out := make([]byte, 0, len(b))
	for i := 0; i < len(b); i++ {
		if b[i] != '\\' || i+1 == len(b) {
			out = append(out, b[i])
			continue
		}
		i++
		digits := map[byte]int{'x': 2, 'u': 4, 'U': 8}[b[i]]
		if digits > 0 && i+digits < len(b) {
			if n, err := strconv.ParseUint(string(b[i+1:i+1+digits]), 16, 32); err == nil {
				out = utf8.AppendRune(out, rune(n))
				i += digits
				continue
			}
		}
		switch b[i] {
		case 'n', 'r', 't', 'b', 'f':
			out = append(out, ' ')
		default:
			out = append(out, b[i])
		}
	}
	return out
}
