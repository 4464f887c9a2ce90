package site

import (
	"fmt"
	"slices"
	"strings"
	"text/template/parse"
)

// Some of Hugo's template functions read the disk, the environment, the clock or
// the network, whatever file system Hugo is given. So a theme may call only the
// functions on these two lists, which work on their arguments alone. Names: the
// function reference of Hugo 0.165.

// plainFunctions are called by a bare name.
var plainFunctions = strings.Fields(`
	and call html index len not or print printf println slice urlquery eq ge gt le lt ne break continue
	float int string
	after append complement delimit dict first group in intersect isSet isset keyVals last merge newScratch
	querify seq sort symdiff union uniq where cond default
	hmac md5 sha1 sha256 base64Decode base64Encode jsonify errorf erroridf warnf warnidf
	humanize pluralize singularize add div mod modBool mul pow sub
	partial partialCached return templates
	safeCSS safeHTML safeHTMLAttr safeURL try
	chomp countrunes countwords findRE findRESubmatch hasPrefix hasSuffix replace replaceRE slicestr split substr title
	lower upper trim truncate duration dateFormat
	htmlEscape htmlUnescape markdownify plainify
	absLangURL absURL anchorize relLangURL relURL urlize
	site page true false nil`)

// groupedFunctions are called as group.Name. An empty list allows the group.
var groupedFunctions = map[string][]string{
	"cast": nil, "collections": nil, "compare": nil, "crypto": nil, "encoding": nil, "fmt": nil, "hash": nil,
	"inflect": nil, "path": nil, "reflect": nil, "safe": nil, "strings": nil, "urls": nil,
	"lang":      {"FormatNumber", "FormatNumberCustom", "FormatPercent", "FormatCurrency"},
	"math":      {"Abs", "Add", "Ceil", "Div", "Floor", "Log", "Max", "Min", "Mod", "ModBool", "Mul", "Pow", "Product", "Round", "Sqrt", "Sub", "Sum"},
	"partials":  {"Include", "IncludeCached"},
	"templates": {"Exists", "Inner"},
	"time":      {"AsTime", "Duration", "Format", "ParseDuration"},
	"transform": {"HTMLEscape", "HTMLUnescape", "HTMLToMarkdown", "Markdownify", "Plainify", "XMLEscape"},
}

// closedFields are methods that lead out of the build, whatever they hang on.
var closedFields = []string{
	"Apply", "Babel", "Batch", "Build", "CodeOwners", "Copy", "ExecuteAsTemplate", "FromString", "Getenv", "GetRemote", "GitInfo",
	"Hugo", "Now", "PostCSS", "PostProcess", "ReadDir", "ReadFile", "Rand", "Sass", "Shuffle", "TailwindCSS", "ToMath", "Concat",
}

// scan reads a layout and refuses the first function that is not on the lists.
// shown is the file's name for the message.
func scan(shown, text string) error {
	tree := parse.New(shown)
	tree.Mode = parse.SkipFuncCheck
	set := map[string]*parse.Tree{}
	if _, err := tree.Parse(text, "", "", set); err != nil {
		return fmt.Errorf("%w; mend the layout", err)
	}
	set[shown] = tree
	s := scanner{shown: shown, text: text}
	for _, t := range set {
		if t.Root != nil {
			s.nodes(t.Root.Nodes)
		}
	}
	if len(s.refused) == 0 {
		return nil
	}
	slices.SortFunc(s.refused, func(a, b refusal) int { return a.line - b.line })
	r := s.refused[0]
	return fmt.Errorf("%s:%d: %s may not be used in a theme, because it can reach beyond the page (files, network, clock or other programs); remove it", shown, r.line, r.name)
}

type refusal struct {
	line int
	name string
}

type scanner struct {
	shown, text string
	refused     []refusal
}

func (s *scanner) refuse(at parse.Pos, name string) {
	line := 1 + strings.Count(s.text[:min(int(at), len(s.text))], "\n")
	s.refused = append(s.refused, refusal{line, name})
}

func (s *scanner) nodes(list []parse.Node) {
	for _, n := range list {
		s.node(n)
	}
}

func (s *scanner) list(l *parse.ListNode) {
	if l != nil {
		s.nodes(l.Nodes)
	}
}

func (s *scanner) branch(b *parse.BranchNode) {
	s.pipe(b.Pipe)
	s.list(b.List)
	s.list(b.ElseList)
}

func (s *scanner) pipe(p *parse.PipeNode) {
	if p == nil {
		return
	}
	for _, c := range p.Cmds {
		s.nodes(c.Args)
	}
}

func (s *scanner) node(n parse.Node) {
	switch n := n.(type) {
	case *parse.ListNode:
		s.list(n)
	case *parse.ActionNode:
		s.pipe(n.Pipe)
	case *parse.PipeNode:
		s.pipe(n)
	case *parse.IfNode:
		s.branch(&n.BranchNode)
	case *parse.RangeNode:
		s.branch(&n.BranchNode)
	case *parse.WithNode:
		s.branch(&n.BranchNode)
	case *parse.TemplateNode:
		s.pipe(n.Pipe)
	case *parse.IdentifierNode:
		if !slices.Contains(plainFunctions, n.Ident) {
			s.refuse(n.Pos, n.Ident)
		}
	case *parse.ChainNode:
		s.chain(n)
	case *parse.FieldNode:
		s.fields(n.Pos, n.Ident)
	case *parse.VariableNode:
		s.fields(n.Pos, n.Ident[1:])
	}
}

// chain is an operand with fields behind it: strings.Trim, (index .x 0).Title.
func (s *scanner) chain(n *parse.ChainNode) {
	group, ok := n.Node.(*parse.IdentifierNode)
	if !ok {
		s.node(n.Node)
		s.fields(n.Pos, n.Field)
		return
	}
	if group.Ident == "site" || group.Ident == "page" {
		s.fields(n.Pos, n.Field)
		return
	}
	allowed, known := groupedFunctions[group.Ident]
	if !known || allowed != nil && !slices.Contains(allowed, n.Field[0]) {
		s.refuse(group.Pos, group.Ident+"."+n.Field[0])
		return
	}
	s.fields(n.Pos, n.Field)
}

func (s *scanner) fields(at parse.Pos, names []string) {
	for _, name := range names {
		if slices.Contains(closedFields, name) {
			s.refuse(at, "."+name)
		}
	}
}
