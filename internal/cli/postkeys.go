package cli

import (
	"crypto/x509"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"

	"example.org/opencowl/internal/clearance"
	"example.org/opencowl/internal/post"
	"example.org/opencowl/internal/post/dkim"
	"example.org/opencowl/internal/workspace"
)

// passwordVariable holds the password of post.user, before the file that the
// settings name.
const passwordVariable = "OPENCOWL_SMTP_PASSWORD"

// secrets fills in what the settings name and do not hold: the keys that sign, the
// password, and whose certificates are trusted.
func (s *session) secrets(opt *post.Options) (err error) {
	p := s.ws.Settings.Post
	if opt.Keys, err = s.signingKeys(); err != nil {
		return err
	}
	if opt.User = p.User; p.User != "" {
		if opt.Password, err = s.password(p.PasswordFile); err != nil {
			return err
		}
	}
	if p.CAFile != "" {
		if opt.Roots, err = roots(s.ws.SecretFile(p.CAFile)); err != nil {
			return err
		}
	}
	return nil
}

// signingKeys loads the keys that letters are signed with; none where the settings
// name none.
func (s *session) signingKeys() ([]dkim.Key, error) {
	d := s.ws.Settings.Post.DKIM
	var all []dkim.Key
	for _, named := range d.Keys() {
		k, err := dkim.Load(d.Domain, named.Selector, s.ws.SecretFile(named.KeyFile))
		if errors.Is(err, fs.ErrNotExist) {
			return nil, fmt.Errorf("%w; make it with opencowl post --dkim-key --by WHO, or put back the one you had", err)
		}
		if err != nil {
			return nil, err
		}
		all = append(all, k)
	}
	return all, nil
}

// password is that of post.user.
func (s *session) password(file string) (string, error) {
	if p := os.Getenv(passwordVariable); p != "" {
		return p, nil
	}
	if file == "" {
		return "", fmt.Errorf("post.user has no password; name a file that holds it as password_file under post in %s, or set %s", workspace.SettingsFile, passwordVariable)
	}
	text, err := os.ReadFile(s.ws.SecretFile(file))
	if err != nil {
		return "", fmt.Errorf("the file of the password: %w", err)
	}
	p := strings.TrimRight(string(text), "\r\n")
	if p == "" || strings.ContainsAny(p, "\r\n\x00") {
		return "", fmt.Errorf("%s must hold the password in one line, and nothing else", s.ws.SecretFile(file))
	}
	return p, nil
}

// roots are the system's certificates and those of a file.
func roots(path string) (*x509.CertPool, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("the file of certificates: %w", err)
	}
	pool, err := x509.SystemCertPool()
	if err != nil {
		pool = x509.NewCertPool()
	}
	if !pool.AppendCertsFromPEM(text) {
		return nil, fmt.Errorf("%s holds no certificate in PEM", path)
	}
	return pool, nil
}

// dkimSettings are the keys' settings, or the remedy where there are none.
func (s *session) dkimSettings() (*workspace.DKIM, error) {
	if d := s.ws.Settings.Post.DKIM; d != nil {
		return d, nil
	}
	return nil, fmt.Errorf("post.dkim is missing in %s; write it, for instance dkim: {domain: example.org, selector: s1, key_file: keys/dkim-s1.pem}", workspace.SettingsFile)
}

// makeDKIM makes the keys that are not there yet. One that is stays: letters signed
// with it are still on their way.
func (s *session) makeDKIM(by string) error {
	if err := somebody(s.ws.Settings, by); err != nil {
		return err
	}
	if p, _ := s.ws.Settings.PersonByID(by); !p.Has(workspace.Keeper) {
		return fmt.Errorf("%s %w: a keeper makes keys", by, clearance.ErrMayNot)
	}
	d, err := s.dkimSettings()
	if err != nil {
		return err
	}
	for _, named := range d.Keys() {
		switch err := dkim.Make(s.ws.SecretFile(named.KeyFile), named.Kind); {
		case errors.Is(err, fs.ErrExist):
			s.app.say("%s is there already, and stays; for another key give it another file and another selector", named.KeyFile)
		case err != nil:
			return err
		default:
			s.app.say("made %s, which only you may read; keep it out of what others get, and keep a copy in a safe place", named.KeyFile)
		}
	}
	return s.tellDKIM()
}

// tellDKIM prints what has to stand in DNS.
func (s *session) tellDKIM() error {
	if _, err := s.dkimSettings(); err != nil {
		return err
	}
	keys, err := s.signingKeys()
	if err != nil {
		return err
	}
	var records []dkim.Record
	for _, k := range keys {
		r, err := k.Record()
		if err != nil {
			return err
		}
		records = append(records, r)
	}
	s.app.say("whoever runs your DNS enters this; a form that asks for the text in one piece wants it without the quotes between:")
	if s.app.json {
		return s.app.print(records)
	}
	for _, r := range records {
		if _, err := fmt.Fprintln(s.app.Out, r); err != nil {
			return err
		}
	}
	return nil
}
