package testtool

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode"

	"github.com/tdewolff/parse/v2"
	"github.com/tdewolff/parse/v2/css"
	"golang.org/x/net/html"
)

// Gap is a feature of a letter that a mail reader shows in part or not at all.
type Gap struct {
	Feature string // by its name in the data of caniemail.com: "css-border-radius"
	Client  string // "outlook/windows"
	Support string // as the data has it: "n", or "a #1" with the number of a note
	Sheet   bool   // it stands in the page's style sheet alone, which may be dropped whole
}

// majorClients are the families of mail readers that a letter is held to.
var majorClients = []string{"apple-mail", "gmail", "outlook", "yahoo", "aol", "samsung-email", "thunderbird", "protonmail", "fastmail", "gmx", "web-de", "hey"}

// Mailboxes lists what in a letter's HTML the major mail readers do not fully show,
// by the data of caniemail.com as the npm package caniemail carries it (MIT). A client
// counts by its newest version there. unknown are elements, attributes and properties
// on which there is no data.
func Mailboxes(t testing.TB, page []byte) (gaps []Gap, unknown []string) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(NeedPackage(t, "caniemail"), "data", "caniemail.json"))
	if err != nil {
		t.Fatal(err)
	}
	var known struct {
		Data []struct {
			Slug  string
			Stats map[string]map[string]map[string]string
		}
	}
	if err := json.Unmarshal(data, &known); err != nil || len(known.Data) < 200 {
		t.Fatalf("caniemail.json holds %d features (%v)", len(known.Data), err)
	}
	used, err := featuresOf(page)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range known.Data {
		where, is := used[f.Slug]
		if !is {
			continue
		}
		delete(used, f.Slug)
		for _, family := range majorClients {
			for platform, versions := range f.Stats[family] {
				newest := ""
				for version := range versions {
					if newest == "" || laterVersion(version, newest) {
						newest = version
					}
				}
				if s := versions[newest]; !strings.HasPrefix(s, "y") && !strings.HasPrefix(s, "u") {
					gaps = append(gaps, Gap{f.Slug, family + "/" + platform, s, where == inSheet})
				}
			}
		}
	}
	for slug := range used {
		unknown = append(unknown, slug)
	}
	slices.Sort(unknown)
	slices.SortFunc(gaps, func(a, b Gap) int {
		return cmp.Or(strings.Compare(a.Feature, b.Feature), strings.Compare(a.Client, b.Client))
	})
	return gaps, unknown
}

// laterVersion compares versions and months number by number: "16.80" is after
// "2019-10" in neither sense, but no client has both at once but Outlook on macOS,
// whose months came first.
func laterVersion(a, b string) bool {
	dated := func(s string) bool { return len(s) >= 7 && s[4] == '-' }
	if dated(a) != dated(b) {
		return dated(b)
	}
	numbers := func(s string) []string {
		return strings.FieldsFunc(s, func(r rune) bool { return !unicode.IsDigit(r) })
	}
	return slices.CompareFunc(numbers(a), numbers(b), func(x, y string) int {
		return cmp.Or(len(x)-len(y), strings.Compare(x, y))
	}) > 0
}

// elementFeatures are the elements that the data has under another name than their own.
var elementFeatures = map[string]string{"ul": "html-lists", "ol": "html-lists", "li": "html-lists", "dl": "html-lists", "dt": "html-lists", "dd": "html-lists",
	"h1": "html-h1-h6", "h2": "html-h1-h6", "h3": "html-h1-h6", "h4": "html-h1-h6", "h5": "html-h1-h6", "h6": "html-h1-h6",
	"thead": "html-table", "tbody": "html-table", "tr": "html-table", "th": "html-table", "td": "html-table",
	"section": "html-semantics", "article": "html-semantics", "header": "html-semantics", "footer": "html-semantics", "main": "html-semantics", "nav": "html-semantics", "figure": "html-semantics"}

// place is where a feature is used.
type place int

const (
	inSheet place = iota + 1 // in the style sheet alone
	inPage
)

// features are those of a page, by their names in the data.
type features map[string]place

func (f features) add(name string, at place) { f[name] = max(f[name], at) }

// featuresOf names the features of a page as the data does.
func featuresOf(page []byte) (features, error) {
	used := features{}
	z := html.NewTokenizer(bytes.NewReader(page))
	inStyle := false
	for {
		switch z.Next() {
		case html.ErrorToken:
			if !errors.Is(z.Err(), io.EOF) {
				return nil, z.Err()
			}
			return used, nil
		case html.DoctypeToken:
			used.add("html-doctype", inPage)
		case html.CommentToken:
			used.add("html-comments", inPage)
		case html.TextToken:
			if inStyle {
				if err := sheetFeatures(used, z.Raw(), inSheet); err != nil {
					return nil, err
				}
			}
		case html.EndTagToken:
			inStyle = false
		case html.StartTagToken, html.SelfClosingTagToken:
			token := z.Token()
			inStyle = token.Data == "style"
			used.add(cmp.Or(elementFeatures[token.Data], "html-"+token.Data), inPage)
			for _, a := range token.Attr {
				if err := attributeFeatures(used, token, a); err != nil {
					return nil, err
				}
			}
		}
	}
}

func attributeFeatures(used features, of html.Token, a html.Attribute) error {
	switch a.Key {
	case "style":
		return sheetFeatures(used, []byte(a.Val), inPage)
	case "href":
		switch {
		case strings.HasPrefix(a.Val, "mailto:"):
			used.add("html-mailto-links", inPage)
		case strings.HasPrefix(a.Val, "#"):
			used.add("html-anchor-links", inPage)
		}
	case "src":
		kind := "jpg" // by content-id, an address has no ending
		if _, ending, named := strings.Cut(filepath.Ext(a.Val), "."); named && !strings.HasPrefix(a.Val, "cid:") {
			kind = ending
		}
		used.add("image-"+kind, inPage)
	case "name":
		used.add("html-meta-"+a.Val, inPage)
	case "class", "alt", "charset", "content", "type", "scope", "start": // no more than names, and what goes with them
	default:
		used.add("html-"+a.Key, inPage)
	}
	return nil
}

// longhands are the properties that the data has under a shorter name.
var longhands = []string{"margin", "padding", "border-collapse", "border-spacing", "border-radius", "border", "list-style", "overflow"}

// sheetFeatures reads a style sheet, or the declarations of an element.
func sheetFeatures(used features, sheet []byte, at place) error {
	p := css.NewParser(parse.NewInputBytes(bytes.Clone(sheet)), at == inPage)
	for {
		grammar, _, data := p.Next()
		switch grammar {
		case css.ErrorGrammar:
			if errors.Is(p.Err(), io.EOF) {
				return nil
			}
			return fmt.Errorf("%w in %s", p.Err(), sheet)
		case css.BeginAtRuleGrammar, css.AtRuleGrammar:
			used.add("css-at-"+string(data[1:]), at)
			for _, v := range p.Values() {
				if v.TokenType == css.IdentToken && strings.HasPrefix(string(v.Data), "prefers-") {
					used.add("css-at-media-"+string(v.Data), at)
				}
			}
		case css.QualifiedRuleGrammar:
			used.add("css-selector-grouping", at)
			selectorFeatures(used, p.Values(), at)
		case css.BeginRulesetGrammar:
			selectorFeatures(used, p.Values(), at)
		case css.DeclarationGrammar:
			property := string(data)
			for _, short := range longhands {
				if strings.HasPrefix(property, short+"-") || property == short {
					property = short
					break
				}
			}
			used.add("css-"+property, at)
			valueFeatures(used, property, p.Values(), at)
		}
	}
}

func selectorFeatures(used features, tokens []css.Token, at place) {
	before := func(i int) string {
		if i == 0 {
			return " "
		}
		return string(tokens[i-1].Data)
	}
	for i, t := range tokens {
		switch {
		case t.TokenType == css.IdentToken && before(i) == ".":
		case t.TokenType == css.IdentToken:
			used.add("css-selector-type", at)
		case t.TokenType == css.DelimToken && string(t.Data) == ".":
			used.add("css-selector-class", at)
			if strings.TrimSpace(before(i)) != "" && before(i) != "," {
				used.add("css-selector-chaining", at)
			}
		case t.TokenType == css.WhitespaceToken && before(i) != ",":
			used.add("css-selector-descendant", at)
		case t.TokenType == css.CommaToken || t.TokenType == css.WhitespaceToken:
		default:
			used.add("css-selector-"+string(t.Data), at)
		}
	}
}

func valueFeatures(used features, property string, tokens []css.Token, at place) {
	for _, t := range tokens {
		value := string(t.Data)
		switch {
		case t.TokenType == css.PercentageToken:
			used.add("css-unit-percent", at)
		case t.TokenType == css.DimensionToken:
			used.add("css-unit-"+strings.TrimLeft(value, "-.0123456789"), at)
		case t.TokenType == css.FunctionToken:
			used.add("css-function-"+strings.TrimSuffix(value, "("), at)
		case t.TokenType == css.DelimToken && value == "!":
			used.add("css-important", at)
		case property == "display" && value == "none":
			used.add("css-display-none", at)
		}
	}
}
