package inbox

import (
	"bytes"
	"fmt"
	"net/smtp"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func listen(t *testing.T) (*Server, string) {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "inbox")
	s, err := Listen(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() }) // an error the second time, where the test has closed it
	return s, dir
}

func send(t *testing.T, s *Server, letter string) {
	t.Helper()
	if err := smtp.SendMail(s.Addr(), nil, "update@example.org", []string{"ada@example.org"}, []byte(letter)); err != nil {
		t.Fatal(err)
	}
}

func names(t *testing.T, dir string) (found []string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		found = append(found, e.Name())
	}
	return found
}

func TestALetterIsFiledByteForByte(t *testing.T) {
	s, dir := listen(t)
	// Dots that begin a line are doubled on the wire and single again in the file
	// (RFC 5321 4.5.2).
	letter := "Message-ID: <abc123@example.org>\r\nSubject: dots\r\n\r\n.\r\n..two\r\n.one\r\nlast\r\n"
	send(t, s, letter)
	got, err := os.ReadFile(filepath.Join(dir, "abc123.eml"))
	if err != nil || !bytes.Equal(got, []byte(letter)) {
		t.Errorf("filed %q, %v; want %q", got, err, letter)
	}
}

func TestALetterThatComesTwiceIsFiledTwice(t *testing.T) {
	s, dir := listen(t)
	for range 3 {
		send(t, s, "Message-ID: <abc@example.org>\r\n\r\nx\r\n")
	}
	if got, want := fmt.Sprint(names(t, dir)), "[abc-2.eml abc-3.eml abc.eml]"; got != want {
		t.Errorf("files %s, want %s", got, want)
	}
}

func TestAMessageIDCannotChooseTheFolder(t *testing.T) {
	for id, want := range map[string]string{
		"<../../etc/x@example.org>": "etcx", "<@example.org>": "letter", "": "letter", `<"a b"@x>`: "ab",
		"<" + strings.Repeat("y", 70) + "@x>": strings.Repeat("y", 64),
	} {
		if got := name([]byte("Message-ID: " + id + "\r\n\r\nx\r\n")); got != want {
			t.Errorf("name for %s = %q, want %q", id, got, want)
		}
	}
	if got := name([]byte("no header at all")); got != "letter" {
		t.Errorf("name without a header = %q, want letter", got)
	}
}

func TestALetterCutShortIsNotFiled(t *testing.T) {
	s, dir := listen(t)
	c, err := smtp.Dial(s.Addr())
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Mail("update@example.org"); err != nil {
		t.Fatal(err)
	}
	if err := c.Rcpt("ada@example.org"); err != nil {
		t.Fatal(err)
	}
	w, err := c.Data()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Write([]byte("Message-ID: <cut@example.org>\r\n\r\n" + strings.Repeat("half a letter\r\n", 1000))); err != nil {
		t.Fatal(err)
	}
	if err := c.Close(); err != nil {
		t.Fatal(err)
	}
	send(t, s, "Message-ID: <whole@example.org>\r\n\r\nx\r\n")
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if got := fmt.Sprint(names(t, dir)); got != "[whole.eml]" {
		t.Errorf("files %s, want [whole.eml] alone", got)
	}
}

func TestItListensOnThisMachineAlone(t *testing.T) {
	s, _ := listen(t)
	if !strings.HasPrefix(s.Addr(), "127.0.0.1:") {
		t.Errorf("address %s, want one of 127.0.0.1", s.Addr())
	}
}
