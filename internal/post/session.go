package post

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"net/netip"
	"net/textproto"
	"net/url"
	"os"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/wneessen/go-mail"
	"github.com/wneessen/go-mail/smtp"
)

// ErrNotLoopback is returned for a mail server that is not this machine.
var ErrNotLoopback = errors.New("letters do not carry a way to leave yet, and nobody may be sent one without it, so they go to this machine alone; use smtp://127.0.0.1:PORT")

// server is where letters are handed over.
type server struct {
	host     string
	port     int
	at       []netip.Addr // where it was found; every one is this machine
	tls      bool         // from the first byte on (RFC 8314 3.3)
	user     string
	password string
	roots    *x509.CertPool
}

func (s server) String() string { return net.JoinHostPort(s.host, strconv.Itoa(s.port)) }

// findServer reads smtp://host:port or smtps://host:port and looks the host up. The
// addresses found are kept: a second look-up could say something else.
func findServer(ctx context.Context, opt Options) (server, error) {
	u, err := url.Parse(opt.SMTP)
	if err != nil || u.Scheme != "smtp" && u.Scheme != "smtps" || u.Hostname() == "" || u.User != nil || u.Path != "" && u.Path != "/" {
		return server{}, errors.New("post.smtp must look like smtp://127.0.0.1:2525 or smtps://127.0.0.1:465")
	}
	if opt.User != "" && opt.Password == "" {
		return server{}, errors.New("post.user has no password; put it in the file that post.password_file names, or in OPENCOWL_SMTP_PASSWORD")
	}
	s := server{host: u.Hostname(), port: 25, tls: u.Scheme == "smtps", user: opt.User, password: opt.Password, roots: opt.Roots}
	if s.tls {
		s.port = 465
	}
	if u.Port() != "" {
		if s.port, err = strconv.Atoi(u.Port()); err != nil || s.port < 1 || s.port > 65535 {
			return server{}, fmt.Errorf("post.smtp has the port %q; write one from 1 to 65535", u.Port())
		}
	}
	if s.at, err = net.DefaultResolver.LookupNetIP(ctx, "ip", s.host); err != nil {
		return server{}, fmt.Errorf("the mail server %s is not to be found: %w", s.host, err)
	}
	for _, ip := range s.at {
		if !ip.Unmap().IsLoopback() {
			return server{}, fmt.Errorf("the mail server %s is at %s: %w", s.host, ip, ErrNotLoopback)
		}
	}
	return s, nil
}

// limits are how long to wait for the server in each phase.
type limits struct{ greeting, mail, rcpt, data, block, final time.Duration }

// RFC 5321 4.5.3.2: the least that a client should wait.
func usualLimits() limits {
	return limits{greeting: 5 * time.Minute, mail: 5 * time.Minute, rcpt: 5 * time.Minute,
		data: 2 * time.Minute, block: 3 * time.Minute, final: 10 * time.Minute}
}

// phase is how far handing over a letter has come.
type phase string

const (
	atConnect phase = "the greeting"
	atSignIn  phase = "signing in"
	atMail    phase = "MAIL"
	atRcpt    phase = "RCPT"
	atData    phase = "DATA"
	atBody    phase = "the letter"
	atDot     phase = "the end of the letter"
)

// fault is what went wrong in a phase. Code is the server's reply, or 0 when
// there was none: the connection broke, nothing came in time, or what came was
// no reply.
type fault struct {
	phase phase
	code  int
	reply string // the code and the enhanced code of RFC 3463: "550 5.1.1"
	words string // the reply in full
	cause error
}

// enhanced is a status code of RFC 3463 at the start of a reply's text.
var enhanced = regexp.MustCompile(`^[245]\.\d{1,3}\.\d{1,3}\b`)

func newFault(p phase, err error) *fault {
	if err == nil {
		return nil
	}
	f := &fault{phase: p, cause: err}
	var answer *textproto.Error
	if errors.As(err, &answer) && answer.Code >= 400 && answer.Code <= 599 {
		f.code, f.reply = answer.Code, strconv.Itoa(answer.Code)
		f.words = f.reply + " " + strings.Join(strings.Fields(answer.Msg), " ")
		if e := enhanced.FindString(answer.Msg); e != "" {
			f.reply += " " + e
		}
	}
	return f
}

// String says what happened without the server's words: from RCPT on they may
// hold the member's address, which must get into no record.
func (f *fault) String() string {
	switch {
	case f.code == 0 && f.phase == atConnect:
		return fmt.Sprintf("the mail server could not be reached (%v); is it running, and is its address right in post.smtp of workshop.yaml?", root(f.cause))
	case f.code == 0 && f.phase == atSignIn:
		return fmt.Sprintf("the mail server was reached, and signing in or TLS came to nothing (%v); see smtp, user and ca_file under post in workshop.yaml", f.cause)
	case f.code == 0:
		return fmt.Sprintf("the mail server was lost at %s", f.phase)
	case f.phase == atSignIn: // its words may hold the name of who signs in
		return fmt.Sprintf("the mail server answered %s at %s; see user and password_file under post in workshop.yaml", f.reply, f.phase)
	case f.phase == atConnect || f.phase == atMail:
		return fmt.Sprintf("the mail server answered %q at %s", f.words, f.phase)
	}
	return fmt.Sprintf("the mail server answered %s at %s", f.reply, f.phase)
}

// root is the part of a connection's error that a person can use: what the
// network said and where, without the names of calls.
func root(err error) error {
	var op *net.OpError
	if !errors.As(err, &op) || op.Addr == nil {
		return err
	}
	var call *os.SyscallError
	if errors.As(op.Err, &call) {
		return fmt.Errorf("%s: %w", op.Addr, call.Err)
	}
	return fmt.Errorf("%s: %w", op.Addr, op.Err)
}

// session is one connection to the server.
type session struct {
	client *smtp.Client
	limits limits
	write  interface{ Close() error } // ends the letter in hand
}

// secure is how the connection is kept secret. The server's certificate must be
// for the host that the settings name.
func (s server) secure() *tls.Config {
	return &tls.Config{ServerName: s.host, RootCAs: s.roots, MinVersion: tls.VersionTLS12}
}

// open connects to one of the server's addresses.
func (s server) open(ctx context.Context, network string) (conn net.Conn, err error) {
	for _, ip := range s.at {
		var d net.Dialer
		if conn, err = d.DialContext(ctx, network, netip.AddrPortFrom(ip, uint16(s.port)).String()); err == nil {
			return conn, nil
		}
	}
	return nil, err
}

// options are the library's for this server. A password goes over TLS or not at
// all; without one, letters stay on this machine and need none.
func (s server) options(helo string, limit time.Duration, dialer mail.DialContextFunc) []mail.Option {
	all := []mail.Option{mail.WithPort(s.port), mail.WithHELO(helo), mail.WithTLSConfig(s.secure()),
		mail.WithoutSMTPUTF8(), mail.WithTimeout(limit), mail.WithDialContextFunc(dialer)}
	switch {
	case s.tls:
		// The dialer has begun TLS, so STARTTLS is not offered; the library looks at
		// what the connection is.
		all = append(all, mail.WithTLSPolicy(mail.TLSOpportunistic))
	case s.user != "":
		all = append(all, mail.WithTLSPolicy(mail.TLSMandatory))
	default:
		all = append(all, mail.WithTLSPolicy(mail.NoTLS))
	}
	if s.user != "" {
		all = append(all, mail.WithSMTPAuth(mail.SMTPAuthAutoDiscover), mail.WithUsername(s.user), mail.WithPassword(s.password))
	}
	return all
}

// dial connects, greets and signs in. Cancelling ctx ends it at once.
func dial(ctx context.Context, to server, helo string, l limits) (*session, *fault) {
	var conn net.Conn
	uncancelled := func() bool { return true }
	dialer := func(limited context.Context, network, _ string) (_ net.Conn, err error) {
		if conn, err = to.open(limited, network); err != nil {
			return nil, err
		}
		// The library waits for the greeting whatever becomes of ctx.
		raw := conn
		uncancelled = context.AfterFunc(ctx, func() { raw.Close() })
		if to.tls {
			secret := tls.Client(conn, to.secure())
			if err = secret.HandshakeContext(limited); err != nil {
				return nil, err
			}
			conn = secret
		}
		return conn, nil
	}
	client, err := mail.NewClient(to.host, to.options(helo, l.greeting, dialer)...)
	if err != nil {
		return nil, newFault(atConnect, err)
	}
	connected, err := client.DialToSMTPClientWithContext(ctx)
	if !uncancelled() {
		err = ctx.Err()
	}
	if err != nil {
		if conn != nil {
			conn.Close() // the library leaves it open after a bad greeting
		}
		return nil, to.notIn(err, conn != nil)
	}
	return &session{client: connected, limits: l}, nil
}

// notIn says why a session did not come about. Once connected, with TLS or somebody
// to sign in, it is about these more often than about the address.
func (s server) notIn(err error, connected bool) *fault {
	f := newFault(atConnect, err)
	var network *net.OpError
	switch {
	case !connected || !s.tls && s.user == "":
	case f.code == 0 && !errors.As(err, &network) && !errors.Is(err, io.EOF) && !errors.Is(err, context.Canceled) && !errors.Is(err, context.DeadlineExceeded):
		f.phase = atSignIn
	case f.code == 454 || f.code >= 530 && f.code <= 538: // RFC 4954 4 and 6
		f.phase = atSignIn
	}
	return f
}

// offer hands over a letter, all but the final dot: until that the server must
// not deliver it (RFC 5321 4.1.1.4).
func (s *session) offer(from, to string, letter []byte) *fault {
	if err := s.within(s.limits.mail, func() error { return s.client.Mail("<" + from + ">") }); err != nil {
		f := newFault(atMail, err)
		if f.code != 0 {
			// The words may name the member by the envelope.
			f.words = strings.ReplaceAll(f.words, from, "the sender")
		}
		return f
	}
	if err := s.within(s.limits.rcpt, func() error { return s.client.Rcpt("<" + to + ">") }); err != nil {
		return newFault(atRcpt, err)
	}
	if err := s.client.UpdateDeadline(s.limits.data); err != nil {
		return newFault(atData, err)
	}
	w, err := s.client.Data()
	if err != nil {
		return newFault(atData, err)
	}
	s.write = w
	const block = 32 << 10 // bytes
	for rest := bytes.NewBuffer(letter); rest.Len() > 0; {
		if err := s.within(s.limits.block, func() error { _, err := w.Write(rest.Next(block)); return err }); err != nil {
			return newFault(atBody, err)
		}
	}
	// What is still in the buffer has to be out before the dot is decided on.
	return newFault(atBody, s.within(s.limits.block, s.client.Text.W.Flush))
}

// dot ends the letter that offer handed over and waits for the server's word.
func (s *session) dot() *fault {
	return newFault(atDot, s.within(s.limits.final, s.write.Close))
}

func (s *session) within(limit time.Duration, do func() error) error {
	if err := s.client.UpdateDeadline(limit); err != nil {
		return err
	}
	return do()
}

// reset readies the connection for another letter after MAIL or RCPT failed.
func (s *session) reset() error { return s.within(s.limits.mail, s.client.Reset) }

// quit ends the connection politely. It must not be used once a letter has
// been begun and not ended: the library would end it, and a cut letter would
// pass for a whole one.
func (s *session) quit() {
	if s.within(10*time.Second, s.client.Quit) != nil {
		s.drop()
	}
}

// drop breaks the connection, so that the server forgets a letter half handed over.
func (s *session) drop() { s.client.Close() }
