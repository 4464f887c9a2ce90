// Package inbox is an SMTP server on this machine's own address that files each
// letter in a folder, so that an edition can be looked at as its members would
// get it without anything leaving the machine.
//
// It promises that each file holds the bytes that came over the wire, no more
// and no less, and that a letter is accepted only once it is safely on disk. A
// letter that comes twice is filed twice. It must not know who sends.
package inbox

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log"
	"net"
	"net/textproto"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"github.com/emersion/go-smtp"

	"example.org/opencowl/internal/workspace"
)

// maxLetter is the largest letter that is taken; the usual relays take less.
const maxLetter = 64 << 20 // bytes

// Server takes letters until it is closed.
type Server struct {
	dir      string
	listener net.Listener
	smtp     *smtp.Server
	serving  sync.WaitGroup
	filing   sync.Mutex // one letter at a time, so that two never take one name
	served   error
}

// Listen starts a server on a free port of 127.0.0.1 that files letters in dir,
// as NAME.eml after each one's Message-ID. The folder is made if need be.
func Listen(dir string) (*Server, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("the inbox folder %s cannot be made: %w", dir, err)
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, fmt.Errorf("the inbox cannot listen on this machine: %w", err)
	}
	s := &Server{dir: dir, listener: listener}
	s.smtp = smtp.NewServer(smtp.BackendFunc(func(*smtp.Conn) (smtp.Session, error) { return &session{server: s}, nil }))
	s.smtp.Domain = "inbox.localhost"
	s.smtp.MaxMessageBytes = maxLetter
	s.smtp.ErrorLog = log.New(io.Discard, "", 0)
	s.serving.Go(func() { s.served = s.smtp.Serve(listener) })
	return s, nil
}

// Addr is the address to post to, as host:port.
func (s *Server) Addr() string { return s.listener.Addr().String() }

// Close stops the server. A letter being filed is filed first.
func (s *Server) Close() error {
	err := s.smtp.Close()
	// The library does not know its listener until Serve has begun.
	if second := s.listener.Close(); !errors.Is(second, net.ErrClosed) {
		err = errors.Join(err, second)
	}
	s.serving.Wait()
	s.filing.Lock()
	defer s.filing.Unlock()
	return errors.Join(err, s.served)
}

// session is one connection; the envelope is taken as it comes, since letters
// are known by what is in them.
type session struct{ server *Server }

func (*session) Mail(string, *smtp.MailOptions) error { return nil }
func (*session) Rcpt(string, *smtp.RcptOptions) error { return nil }
func (*session) Reset()                               {}
func (*session) Logout() error                        { return nil }

func (s *session) Data(r io.Reader) error {
	letter, err := io.ReadAll(r)
	if err != nil {
		return err // cut short: nothing is filed
	}
	return s.server.file(letter)
}

func (s *Server) file(letter []byte) error {
	s.filing.Lock()
	defer s.filing.Unlock()
	path, err := s.free(name(letter))
	if err != nil {
		return err
	}
	return workspace.Writer{}.WriteFile(path, letter, 0o600)
}

// free returns a path that is not taken: name.eml, then name-2.eml and so on.
func (s *Server) free(name string) (string, error) {
	for n := 1; ; n++ {
		path := filepath.Join(s.dir, name+".eml")
		if n > 1 {
			path = filepath.Join(s.dir, fmt.Sprintf("%s-%d.eml", name, n))
		}
		_, err := os.Lstat(path)
		if errors.Is(err, fs.ErrNotExist) {
			return path, nil
		}
		if err != nil {
			return "", err
		}
	}
}

// name makes a file name from the part before the @ of a letter's Message-ID:
// its ASCII letters and digits, at most 64 of them.
func name(letter []byte) string {
	header, err := textproto.NewReader(bufio.NewReader(bytes.NewReader(letter))).ReadMIMEHeader()
	if err != nil && len(header) == 0 {
		return "letter"
	}
	local, _, _ := strings.Cut(header.Get("Message-Id"), "@")
	plain := strings.Map(func(r rune) rune {
		if 'a' <= r && r <= 'z' || 'A' <= r && r <= 'Z' || '0' <= r && r <= '9' {
			return r
		}
		return -1
	}, local)
	if plain == "" {
		return "letter"
	}
	return plain[:min(len(plain), 64)]
}
