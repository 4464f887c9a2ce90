package post

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"log"
	"math/big"
	"net"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	msgauth "github.com/emersion/go-msgauth/dkim"
	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"

	"example.org/opencowl/internal/post/dkim"
	"example.org/opencowl/internal/testtool"
)

// closedServer is a mail server that takes letters over TLS, from those who sign in.
type closedServer struct {
	addr  string
	roots *x509.CertPool

	mu      sync.Mutex
	letters []string
	signed  []string // who signed in
	plain   bool     // a letter or a password came without TLS
}

// what a closed server is like.
type closedLike struct {
	implicit, noTLS, noAuth bool
	host                    string // on the certificate; empty: 127.0.0.1
}

func newClosedServer(t *testing.T, like closedLike) *closedServer {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{SerialNumber: big.NewInt(1), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign}
	if like.host == "" {
		template.IPAddresses = []net.IP{net.IPv4(127, 0, 0, 1)}
	} else {
		template.DNSNames = []string{like.host}
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, private.Public(), private)
	if err != nil {
		t.Fatal(err)
	}
	certificate, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	c := &closedServer{roots: x509.NewCertPool()}
	c.roots.AddCert(certificate)
	config := &tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{der}, PrivateKey: private}}}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	c.addr = listener.Addr().String()
	server := smtp.NewServer(smtp.BackendFunc(func(conn *smtp.Conn) (smtp.Session, error) {
		s := &closedSession{server: c, conn: conn}
		if like.noAuth {
			return s, nil
		}
		return &signedSession{s}, nil
	}))
	server.Domain, server.ErrorLog = "closed.localhost", log.New(io.Discard, "", 0)
	server.AllowInsecureAuth = true // that nobody uses it is what the tests look at
	switch {
	case like.implicit:
		listener = tls.NewListener(listener, config)
	case !like.noTLS:
		server.TLSConfig = config
	}
	var serving sync.WaitGroup
	serving.Go(func() { server.Serve(listener) })
	t.Cleanup(func() { server.Close(); listener.Close(); serving.Wait() })
	return c
}

type closedSession struct {
	server *closedServer
	conn   *smtp.Conn
	in     bool
}

func (s *closedSession) note(change func(*closedServer)) {
	s.server.mu.Lock()
	defer s.server.mu.Unlock()
	if _, secret := s.conn.TLSConnectionState(); !secret {
		s.server.plain = true
	}
	change(s.server)
}

func (*closedSession) Reset()                               {}
func (*closedSession) Logout() error                        { return nil }
func (*closedSession) Rcpt(string, *smtp.RcptOptions) error { return nil }
func (s *closedSession) Mail(string, *smtp.MailOptions) error {
	if !s.in {
		return smtp.ErrAuthRequired
	}
	return nil
}
func (s *closedSession) Data(r io.Reader) error {
	letter, err := io.ReadAll(r)
	s.note(func(c *closedServer) { c.letters = append(c.letters, string(letter)) })
	return err
}

type signedSession struct{ *closedSession }

func (*signedSession) AuthMechanisms() []string { return []string{sasl.Plain} }
func (s *signedSession) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, user, password string) error {
		s.note(func(c *closedServer) { c.signed = append(c.signed, user) })
		if s.in = user == "update" && password == "a secret word"; !s.in {
			return smtp.ErrAuthFailed
		}
		return nil
	}), nil
}

func signedIn(scheme string, c *closedServer, now *clock) Options {
	opt := options(scheme+"://"+c.addr, now)
	opt.User, opt.Password, opt.Roots = "update", "a secret word", c.roots
	return opt
}

func TestSigningInOverTLS(t *testing.T) {
	for scheme, like := range map[string]closedLike{"smtp": {}, "smtps": {implicit: true}} {
		db, now, _ := frozen(t, 3)
		server := newClosedServer(t, like)
		report := send(t, db, signedIn(scheme, server, now))
		if got := states(report); got != "sent 3" || len(server.letters) != 3 || len(server.signed) != 1 || server.plain {
			t.Errorf("%s: %s (%s), %d letters, signed in %v, without TLS %v", scheme, got, report.Why, len(server.letters), server.signed, server.plain)
		}
	}
}

// Nothing leaves when the server is not who it should be, or the password is wrong,
// and it is told as what it is.
func TestWhoCannotSignInSendsNothing(t *testing.T) {
	for name, c := range map[string]struct {
		scheme string
		like   closedLike
		change func(*Options)
		want   string
	}{
		"another password":        {"smtp", closedLike{}, func(o *Options) { o.Password = "wrong word" }, "535 5.7.8 at signing in"},
		"no TLS there":            {"smtp", closedLike{noTLS: true}, nil, "STARTTLS"},
		"nobody can sign in":      {"smtp", closedLike{noAuth: true}, nil, "AUTH"},
		"an unknown certificate":  {"smtp", closedLike{}, func(o *Options) { o.Roots = x509.NewCertPool() }, "certificate"},
		"unknown, TLS at once":    {"smtps", closedLike{implicit: true}, func(o *Options) { o.Roots = x509.NewCertPool() }, "certificate"},
		"another's certificate":   {"smtp", closedLike{host: "mail.example.com"}, nil, "certificate"},
		"another's, TLS at once":  {"smtps", closedLike{implicit: true, host: "mail.example.com"}, nil, "certificate"},
		"TLS at once, not spoken": {"smtps", closedLike{}, nil, "TLS"},
	} {
		db, now, _ := frozen(t, 2)
		server := newClosedServer(t, c.like)
		opt := signedIn(c.scheme, server, now)
		if c.change != nil {
			c.change(&opt)
		}
		report, err := Send(context.Background(), db, testJob(), opt)
		if err != nil || !report.Stopped || report.Waiting != 2 || len(server.letters) != 0 || server.plain {
			t.Errorf("%s: %+v, %v, %d letters, something without TLS: %v; want it stopped with two waiting", name, report, err, len(server.letters), server.plain)
		}
		if !strings.Contains(report.Why, c.want) || strings.Contains(report.Why, "wrong word") || strings.Contains(report.Why, "a secret word") || strings.Contains(report.Why, "is it running") {
			t.Errorf("%s: stopped with %q, want %q in it and no password", name, report.Why, c.want)
		}
	}
}

func TestAUserWithoutAPasswordIsRefused(t *testing.T) {
	db, now, _ := frozen(t, 1)
	opt := options("smtp://127.0.0.1:1", now)
	opt.User = "update"
	if _, err := Send(t.Context(), db, testJob(), opt); err == nil || !strings.Contains(err.Error(), "OPENCOWL_SMTP_PASSWORD") {
		t.Errorf("%v, want the remedy", err)
	}
}

// What arrives verifies, by other code than signed it.
func TestWhatArrivesIsSigned(t *testing.T) {
	var keys []dkim.Key
	records := map[string]string{}
	for selector, kind := range map[string]string{"s1": dkim.RSA, "s2": dkim.Ed25519} {
		path := t.TempDir() + "/" + selector + ".pem"
		if err := dkim.Make(path, kind); err != nil {
			t.Fatal(err)
		}
		k, err := dkim.Load("example.org", selector, path)
		if err != nil {
			t.Fatal(err)
		}
		r, err := k.Record()
		if err != nil {
			t.Fatal(err)
		}
		keys, records[r.Name] = append(keys, k), r.Value
	}
	db, now, _ := frozen(t, 3)
	target := newTarget(t)
	opt := options(target.address(), now)
	opt.Keys = keys
	gated := 0
	opt.Gate = func(letter []byte, own ...string) error {
		// Links are drawn by lot, and may look like something by chance.
		for address := range strings.SplitSeq(header(t, letter).Get("List-Unsubscribe"), ", ") {
			if !slices.Contains(own, strings.Trim(address, "<>")) {
				t.Errorf("%s is not among what the letter may tell: %q", address, own)
			}
		}
		if gated++; bytes.Contains(letter, []byte("DKIM-Signature")) {
			t.Error("the gate was asked about a letter that is signed already")
		}
		return nil
	}
	if got := states(send(t, db, opt)); got != "sent 3" || gated != 4 {
		t.Fatalf("%s, %d asked about; want 3 sent and a trial", got, gated)
	}
	if err := SendProof(t.Context(), testJob(), "nell@example.org", opt); err != nil {
		t.Fatal(err)
	}
	for _, letter := range target.letters {
		found, err := msgauth.VerifyWithOptions(strings.NewReader(letter), &msgauth.VerifyOptions{
			LookupTXT: func(name string) ([]string, error) { return []string{records[name]}, nil }})
		if err != nil || len(found) != 2 || found[0].Err != nil || found[1].Err != nil {
			t.Fatalf("%v, %v in\n%.2500s", found, err, letter)
		}
		for _, v := range found {
			covered := strings.Join(v.HeaderKeys, " ")
			for _, name := range []string{"list-unsubscribe", "list-unsubscribe-post", "from", "subject", "date", "to", "message-id", "mime-version", "content-type"} {
				if strings.Count(" "+covered+" ", " "+name+" ") != 2 {
					t.Errorf("%s is covered %d times, want 2: once, and once against another", name, strings.Count(" "+covered+" ", " "+name+" "))
				}
			}
		}
	}
	pythonVerifies(t, target.letters[0], records)
	pythonVerifies(t, target.letters[len(target.letters)-1], records)
}

// Debian's python3-dkim and Python's own email package say the same of it.
func pythonVerifies(t *testing.T, letter string, records map[string]string) {
	t.Helper()
	python := testtool.Need(t, "/usr/bin/python3")
	if exec.Command(python, "-c", "import dkim, nacl").Run() != nil {
		testtool.Need(t, "dkimverify of python3-dkim") // is not found, and says so
	}
	var dns strings.Builder
	for name, value := range records {
		fmt.Fprintf(&dns, "%s\t%s\n", name, value)
	}
	dir := t.TempDir()
	if err := errors.Join(os.WriteFile(dir+"/dns", []byte(dns.String()), 0o600), os.WriteFile(dir+"/letter.eml", []byte(letter), 0o600)); err != nil {
		t.Fatal(err)
	}
	got, err := exec.Command(python, "dkim/testdata/verify.py", dir+"/dns", dir+"/letter.eml").CombinedOutput()
	if want := "[True, True] []"; err != nil || strings.TrimSpace(string(got)) != want {
		t.Errorf("%v, %s; want %s of\n%.2500s", err, got, want, letter)
	}
}

func TestAKeyOfAnotherDomainIsRefused(t *testing.T) {
	path := t.TempDir() + "/key.pem"
	if err := dkim.Make(path, dkim.Ed25519); err != nil {
		t.Fatal(err)
	}
	k, err := dkim.Load("example.com", "s1", path)
	if err != nil {
		t.Fatal(err)
	}
	db, now, _ := frozen(t, 1)
	opt := options("smtp://127.0.0.1:1", now)
	opt.Keys = []dkim.Key{k}
	if _, err := Send(t.Context(), db, testJob(), opt); err == nil || !strings.Contains(err.Error(), "write domain: example.org") {
		t.Errorf("sending: %v, want the remedy", err)
	}
	if err := SendProof(t.Context(), testJob(), "nell@example.org", opt); err == nil || !strings.Contains(err.Error(), "write domain: example.org") {
		t.Errorf("a proof: %v, want the remedy", err)
	}
}
