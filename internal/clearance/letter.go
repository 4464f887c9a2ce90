package clearance

import (
	"fmt"
	"regexp"
	"strings"
	"unicode/utf8"

	"example.org/opencowl/internal/wording"
)

// What a list of letters shows of one beside its sender: some 60 characters of the
// subject on a screen, fewer on a phone, and about as many of what follows it
// (common practice, no source).
const (
	subjectLength   = 60
	preheaderLength = 100
)

// pressing are words that hurry readers or count down at them.
var pressing = regexp.MustCompile(`(?i)\b(last chance|only \S+ (left|remain\w*|to go)|\S+ (hours?|days?) (left|to go)|act (now|fast|today)|` +
	`(give|donate|hurry|join|help) (now|today)|hurry up|urgent(ly)?|don['’]t (miss|wait|delay|let us down)|before it['’]?s? (is )?too late|too late to|` +
	`final (reminder|appeal|call|chance|notice)|time is running out|running out of time|now or never|limited time|while you (still )?can|` +
	`(everyone|everybody) else (has|is)|we are counting on you|if you (really )?care|have you forgotten)\b`)

// adviseEdition says what would make the letter easier to meet, and where its words
// press. It stops nothing: an officer may know better.
func adviseEdition(u *Unit, e *wording.Edition) {
	if n := utf8.RuneCountInString(strings.TrimSpace(e.Subject)); n > subjectLength {
		u.advise(e.Doc.At("subject"), "long-subject", fmt.Sprint(n), fmt.Sprintf("the subject has %d characters; lists of letters show about %d, and fewer on a phone", n, subjectLength), "put what matters first, or say it in fewer words")
	}
	n := utf8.RuneCountInString(strings.TrimSpace(e.Preheader))
	switch {
	case n == 0 && strings.TrimSpace(e.Subject) != "":
		u.advise(e.Doc.At("preheader"), "no-preheader", "", "there is no preheader, so lists of letters go on from the subject with the machine's name", "write preheader: and one line on what is in the letter")
	case n > preheaderLength:
		u.advise(e.Doc.At("preheader"), "long-preheader", fmt.Sprint(n), fmt.Sprintf("the preheader has %d characters; lists of letters show about %d", n, preheaderLength), "put what matters first, or say it in fewer words")
	}
	for _, t := range e.Texts() {
		for _, at := range pressing.FindAllStringIndex(t.Value, -1) {
			said := t.Value[at[0]:at[1]]
			u.advise(t.At(at[0]), "pressing", said, fmt.Sprintf("%s: %q presses people who already give", t.Field, said), "say what is needed and why, and leave the rest to them")
		}
	}
}
