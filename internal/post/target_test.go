package post

import (
	"bufio"
	"fmt"
	"net"
	"strings"
	"sync"
	"testing"
)

// What a scripted target may do instead of its usual reply.
const (
	drop    = "drop"    // break the connection
	stall   = "stall"   // say nothing more
	garbage = "garbage" // say something that is no reply
)

// step is one departure from the usual: what the target does the first times
// that it gets to a phase; always, for times below 0.
type step struct {
	at    phase
	do    string // a reply, or one of the words above
	times int
}

// target is a mail server that follows a script. It counts what it has
// delivered: whatever it got whole, unless it then said a 4xx or 5xx.
type target struct {
	listener net.Listener
	conns    sync.WaitGroup
	closed   chan struct{}

	mu        sync.Mutex
	script    []step
	delivered map[string]int // by recipient
	letters   []string
	lines     []string // every command
	open      int      // connections so far
	reached   chan phase
}

func newTarget(t *testing.T, script ...step) *target {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := &target{listener: listener, script: script, delivered: map[string]int{}, closed: make(chan struct{}), reached: make(chan phase, 1000)}
	s.conns.Go(func() {
		for {
			conn, err := listener.Accept()
			if err != nil {
				return
			}
			s.conns.Go(func() { defer conn.Close(); s.serve(conn) })
		}
	})
	t.Cleanup(func() { listener.Close(); close(s.closed); s.conns.Wait() })
	return s
}

func (s *target) address() string { return "smtp://" + s.listener.Addr().String() }

// act returns what to do at a phase, and notes that it was reached.
func (s *target) act(p phase, usual string) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.reached <- p
	for i := range s.script {
		if st := &s.script[i]; st.at == p && st.times != 0 {
			st.times--
			return st.do
		}
	}
	return usual
}

// say carries an action out; it returns false when the connection is over.
func (s *target) say(conn net.Conn, action string) bool {
	switch action {
	case drop:
		return false
	case stall:
		<-s.closed
		return false
	case garbage:
		action = "well, hello"
	}
	_, err := fmt.Fprintf(conn, "%s\r\n", action)
	return err == nil && !strings.HasPrefix(action, "421")
}

func (s *target) serve(conn net.Conn) {
	s.mu.Lock()
	s.open++
	s.mu.Unlock()
	if !s.say(conn, s.act(atConnect, "220 target.localhost")) {
		return
	}
	var to string
	for lines := bufio.NewReader(conn); ; {
		line, err := lines.ReadString('\n')
		if err != nil {
			return
		}
		line = strings.TrimRight(line, "\r\n")
		s.mu.Lock()
		s.lines = append(s.lines, line)
		s.mu.Unlock()
		ok := true
		switch verb, rest, _ := strings.Cut(line, " "); verb {
		case "EHLO":
			ok = s.say(conn, "250-target.localhost\r\n250-8BITMIME\r\n250 SMTPUTF8")
		case "MAIL":
			ok = s.say(conn, s.act(atMail, "250 2.1.0 ok"))
		case "RCPT":
			to = strings.TrimSuffix(strings.TrimPrefix(rest, "TO:<"), ">")
			ok = s.say(conn, s.act(atRcpt, "250 2.1.5 ok"))
		case "DATA":
			action := s.act(atData, "354 go on")
			if ok = s.say(conn, action); !ok || !strings.HasPrefix(action, "354") {
				break
			}
			ok = s.data(conn, lines, to)
		case "RSET":
			ok = s.say(conn, "250 ok")
		case "QUIT":
			s.say(conn, "221 bye")
			return
		default:
			ok = s.say(conn, "500 what?")
		}
		if !ok {
			return
		}
	}
}

func (s *target) data(conn net.Conn, lines *bufio.Reader, to string) bool {
	if action := s.act(atBody, ""); action != "" {
		return s.say(conn, action)
	}
	var letter strings.Builder
	for {
		line, err := lines.ReadString('\n')
		if err != nil {
			return false
		}
		if line == ".\r\n" {
			break
		}
		letter.WriteString(strings.TrimPrefix(line, "."))
	}
	action := s.act(atDot, "250 2.0.0 taken")
	if !strings.HasPrefix(action, "4") && !strings.HasPrefix(action, "5") {
		s.mu.Lock()
		s.delivered[to]++
		s.letters = append(s.letters, letter.String())
		s.mu.Unlock()
	}
	return s.say(conn, action)
}

func (s *target) twice() (found []string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for to, n := range s.delivered {
		if n > 1 {
			found = append(found, fmt.Sprintf("%s %d times", to, n))
		}
	}
	return found
}

func (s *target) total() (n int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, k := range s.delivered {
		n += k
	}
	return n
}
