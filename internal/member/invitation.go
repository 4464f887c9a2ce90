package member

import (
	"fmt"
	"strings"
	"time"
)

// Invitation is what the letter says that asks whether the owner of an address wants
// the letters.
type Invitation struct {
	Workshop string // its name
	Address  string // by post
	Link     string // where to confirm; empty: there is no public page, and Code is sent back
	Code     string // the token itself
	Reply    string // whom to send the code to, where there is no link
	Words    string // what they agree to
	Until    time.Time
}

// Letter returns the words of the letter: plain text, paragraphs on one line each,
// nothing about the person but what they need to answer. Whoever gets it by somebody
// else's slip need do nothing.
func (v Invitation) Letter() (subject, text string) {
	day := v.Until.Format("2 January 2006")
	how := fmt.Sprintf("To say yes, open this page and press the button:\n\n%s", v.Link)
	if v.Link == "" {
		how = fmt.Sprintf("To say yes, reply to %s with this line in it:\n\njoin %s", v.Reply, v.Code)
	}
	return "Do you want the update from " + v.Workshop + "?", strings.Join([]string{
		fmt.Sprintf("Somebody asked for the weekly update from %s to be sent to this address. We send nothing more unless you say yes.", v.Workshop),
		how,
		fmt.Sprintf("It counts until %s. If it was not you, or you have changed your mind, do nothing: we do not write again, and your address is deleted after that day.", day),
		"By saying yes you agree to this:",
		strings.TrimSpace(v.Words),
		"You can leave at any time, as simply as you joined: every letter says how.",
		v.Workshop + "\n" + v.Address,
	}, "\n\n") + "\n"
}
