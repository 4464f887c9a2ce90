package outgoing

import (
	"bytes"
	"encoding/base64"
	"errors"
	"io"
	"maps"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"net/textproto"
	"slices"
	"strings"
	"unicode/utf8"
)

// readMail returns the texts of a letter as it goes over the wire: its headers
// and theirs of every part, decoded (RFC 2047), the parts by their kind, and the
// names of what is attached.
func readMail(data []byte) ([]Segment, error) {
	m, err := mail.ReadMessage(bytes.NewReader(data))
	if err != nil {
		return nil, unreadable("it is no letter: %v", err)
	}
	return readPart(textproto.MIMEHeader(m.Header), m.Body)
}

func readPart(header textproto.MIMEHeader, body io.Reader) ([]Segment, error) {
	var words mime.WordDecoder
	var all []Segment
	for _, key := range slices.Sorted(maps.Keys(header)) {
		for _, value := range header[key] {
			text, err := words.DecodeHeader(value)
			if err != nil {
				return nil, unreadable("the header %s: %v", key, err)
			}
			all = append(all, Segment{"the header " + key, text})
		}
	}
	kind, parameters, err := mime.ParseMediaType(header.Get("Content-Type"))
	if err != nil {
		return nil, unreadable("the header Content-Type: %v", err)
	}
	if strings.HasPrefix(kind, "multipart/") {
		parts, err := readParts(body, parameters["boundary"])
		return append(all, parts...), err
	}
	content, err := readBody(header.Get("Content-Transfer-Encoding"), body)
	if err != nil {
		return nil, err
	}
	var found []Segment
	switch kind {
	case "text/plain":
		found = readText(content)
	case "text/html":
		found = readMarkup(content)
	case "image/jpeg", "image/png":
		found, err = read("", content)
	default:
		return nil, unreadable("a part is %s, which no letter of ours has", kind)
	}
	if strings.HasPrefix(kind, "text/") && !utf8.Valid(content) {
		return nil, unreadable("a part that is %s is not UTF-8", kind)
	}
	return append(all, found...), err
}

func readParts(body io.Reader, boundary string) ([]Segment, error) {
	var all []Segment
	r := multipart.NewReader(body, boundary)
	for {
		part, err := r.NextRawPart()
		if errors.Is(err, io.EOF) {
			return all, nil
		}
		if err != nil {
			return nil, unreadable("a part of it: %v", err)
		}
		found, err := readPart(part.Header, part)
		if err != nil {
			return nil, err
		}
		all = append(all, found...)
	}
}

func readBody(encoding string, body io.Reader) ([]byte, error) {
	switch strings.ToLower(encoding) {
	case "quoted-printable":
		body = quotedprintable.NewReader(body)
	case "base64":
		body = base64.NewDecoder(base64.StdEncoding, body)
	case "", "7bit", "8bit":
	default:
		return nil, unreadable("a part is encoded as %q", encoding)
	}
	content, err := io.ReadAll(body)
	if err != nil {
		return nil, unreadable("a part of it: %v", err)
	}
	return content, nil
}
