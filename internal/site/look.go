package site

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"

	"github.com/andybalholm/cascadia"
	"github.com/tdewolff/parse/v2"
	"github.com/tdewolff/parse/v2/css"
	"github.com/vanng822/go-premailer/premailer"
)

// lookFile is the letter's style sheet in the themes.
const lookFile = "letter/letter.css"

// readLook reads the letter's style sheet and refuses what could not be written
// into the elements, or would have a mailbox fetch something.
func readLook(themes fs.FS) ([]byte, error) {
	look, err := fs.ReadFile(themes, lookFile)
	if err != nil {
		return nil, fmt.Errorf("site: themes/%s: %w; a letter needs its style sheet", lookFile, err)
	}
	if err := checkLook(look); err != nil {
		return nil, fmt.Errorf("site: themes/%s:%w", lookFile, err)
	}
	return look, nil
}

// checkLook holds a style sheet to plain rules and @media. The library that writes
// it into the elements passes over in silence what it does not understand.
func checkLook(look []byte) error {
	p := css.NewParser(parse.NewInputBytes(bytes.Clone(look)), false)
	fault := func(format string, args ...any) error {
		line, _, _ := parse.Position(bytes.NewReader(look), p.Offset())
		return fmt.Errorf("%d: %s", line, fmt.Sprintf(format, args...))
	}
	if bytes.Contains(look, []byte("</")) {
		return errors.New("1: </ would end the style sheet; take it out")
	}
	depth := 0
	for {
		grammar, _, data := p.Next()
		switch grammar {
		case css.ErrorGrammar:
			if !errors.Is(p.Err(), io.EOF) || p.HasParseError() {
				return fault("this is not a style sheet: %v", firstLine(p.Err()))
			}
			if open := openBraces(look); open > 0 { // the parser closes them by itself
				return fault("a brace is not closed; close it")
			}
			return nil
		case css.BeginAtRuleGrammar, css.AtRuleGrammar:
			if string(data) != "@media" || grammar == css.AtRuleGrammar || depth > 0 {
				return fault("%s cannot be used here; a letter's style sheet holds plain rules and @media", data)
			}
			depth++
		case css.QualifiedRuleGrammar, css.BeginRulesetGrammar:
			selector := written(p.Values())
			if _, err := cascadia.ParseGroup(selector); err != nil {
				return fault("the selector %q is not one that a letter can follow (%v); use elements and classes", selector, err)
			}
			if grammar == css.BeginRulesetGrammar {
				depth++
			}
		case css.EndRulesetGrammar, css.EndAtRuleGrammar:
			depth--
		case css.DeclarationGrammar:
			if value := strings.ToLower(written(p.Values())); strings.Contains(value, "url(") || strings.Contains(value, "expression(") {
				return fault("%s: %s would have a mailbox fetch or run something; use colours and sizes alone", data, value)
			}
		case css.CommentGrammar:
		default:
			return fault("%q is no rule; write a selector and its declarations", data)
		}
	}
}

func openBraces(look []byte) int {
	open := 0
	l := css.NewLexer(parse.NewInputBytes(bytes.Clone(look)))
	for {
		switch kind, _ := l.Next(); kind {
		case css.ErrorToken:
			return open
		case css.LeftBraceToken:
			open++
		case css.RightBraceToken:
			open--
		}
	}
}

// written puts the tokens of a rule together as they were.
func written(tokens []css.Token) string {
	var b strings.Builder
	for _, t := range tokens {
		b.Write(t.Data)
	}
	return strings.TrimSpace(b.String())
}

// firstLine leaves out the excerpt that a parser shows below its message.
func firstLine(err error) string {
	message, _, _ := strings.Cut(err.Error(), "\n")
	return message
}

// dress writes the style sheet into the page's elements. What stands under @media
// is left in the head, each declaration marked important, or it would lose to those
// in the elements.
func dress(page, look []byte) ([]byte, error) {
	at := bytes.Index(page, []byte("</head>"))
	if at < 0 {
		return nil, errors.New("site: themes/letter/layouts/letter.letterhtml.html has no </head>, where the letter's look is kept; put one in")
	}
	sheet := bytes.Join([][]byte{page[:at], []byte("<style>"), look, []byte("</style>\n"), page[at:]}, nil)
	p, err := premailer.NewPremailerFromBytes(sheet, premailer.NewOptions(premailer.WithCssToAttributes(false)))
	if err != nil {
		return nil, fmt.Errorf("site: the letter's look: %w", err)
	}
	dressed, err := p.Transform()
	if err != nil {
		return nil, fmt.Errorf("site: the letter's look: %w", err)
	}
	return []byte(dressed), nil
}
