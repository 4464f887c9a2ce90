// Package internal_test holds the shape of the code: which room may know which.
package internal_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

const module = "example.org/opencowl/internal/"

// reaches lists all packages that a package imports, directly or not.
func reaches(t *testing.T, room string) []string {
	t.Helper()
	out, err := exec.Command("go", "list", "-deps", "./"+room).CombinedOutput()
	if err != nil {
		t.Fatalf("go list -deps ./%s: %v\n%s", room, err, out)
	}
	return strings.Fields(string(out))
}

func TestRenderersDoNotKnowTheRecord(t *testing.T) {
	for _, c := range []struct {
		rooms, not []string
		why        string
	}{
		{[]string{"site", "card", "chart", "picture", "edition", "tour", "post"}, []string{"worklog", "wording", "clearance", "record", "photo"},
			"what leaves is made from cleared values, which clearance hands over"},
		{[]string{"wording"}, []string{"worklog", "measure", "clearance", "store"},
			"public words are read without the record beside them; clearance fills in released facts"},
		{[]string{"cleared", "day", "reading", "measure", "store", "member", "workspace", "table", "tongue", "backup"}, []string{"worklog", "wording", "clearance", "record", "photo"},
			"it serves both sides and belongs to neither"},
		{[]string{"forecast"}, []string{"cleared", "day", "edition", "chart", "worklog", "wording", "clearance", "store"},
			"it knows weekly counts and nothing else"},
		{[]string{"outgoing"}, []string{"worklog", "wording", "clearance", "leak", "card", "site", "post", "picture"},
			"it reads finished bytes as a stranger would, and trusts nobody who wrote them"},
		{[]string{"worklog", "record"}, []string{"wording", "clearance", "cleared", "store"},
			"the record does not bend to what is told about it"},
		{[]string{"photo"}, []string{"wording", "clearance", "store", "record"},
			"whoever tags a photo needs neither what is told of it nor what was decided"},
	} {
		for _, room := range c.rooms {
			for _, dep := range reaches(t, room) {
				if name, ours := strings.CutPrefix(dep, module); ours && slices.Contains(c.not, name) {
					t.Errorf("internal/%s reaches internal/%s: %s", room, name, c.why)
				}
			}
		}
	}
}

func TestOneOwnerForEachHeavyDependency(t *testing.T) {
	owners := map[string][]string{
		"github.com/gohugoio/hugo":              {"site"},
		"github.com/wneessen/go-mail":           {"post"},
		"github.com/disintegration/imaging":     {"picture"},
		"modernc.org/sqlite":                    {"store"},
		"github.com/pressly/goose":              {"store"},
		"github.com/go-text/typesetting":        {"card"},
		"github.com/boombuler/barcode":          {"card"},
		"github.com/adrg/frontmatter":           {"reading"},
		"github.com/goccy/go-yaml":              {"reading"},
		"example.org/opencowl/internal/worklog": {"clearance", "record", "worklog", "photo"},
		"github.com/xuri/excelize":              {"table"},
		"github.com/ledongthuc/pdf":             {"outgoing"},
		"github.com/esimov/pigo":                {"photo"},
		"github.com/vanng822/go-premailer":      {"site"},
		"gonum.org/v1/plot":                     {"chart"},
		"gonum.org/v1/gonum":                    {"forecast"},
	}
	eachFile(t, func(room, file string, f *ast.File) {
		for _, spec := range f.Imports {
			path := strings.Trim(spec.Path.Value, `"`)
			for dep, rooms := range owners {
				if (path == dep || strings.HasPrefix(path, dep+"/")) && !slices.Contains(rooms, room) {
					t.Errorf("%s imports %s, which is for internal/%s alone", file, path, strings.Join(rooms, " and internal/"))
				}
			}
		}
	})
}

func TestClearanceAloneMakesClearedValues(t *testing.T) {
	callers := 0
	eachFile(t, func(room, file string, f *ast.File) {
		ast.Inspect(f, func(n ast.Node) bool {
			sel, ok := n.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			if pkg, ok := sel.X.(*ast.Ident); ok && pkg.Name == "cleared" && strings.HasPrefix(sel.Sel.Name, "New") {
				if callers++; room != "clearance" {
					t.Errorf("%s calls cleared.%s; only internal/clearance may say that something is cleared", file, sel.Sel.Name)
				}
			}
			return true
		})
	})
	if callers == 0 {
		t.Error("no caller of cleared.New… was found; this test looks at nothing")
	}
}

func TestOnlyRenderersOpenDrafts(t *testing.T) {
	allowed := map[string][]string{"Preview": {"card", "site", "edition", "tour"}, "Show": {"site"}}
	eachFile(t, func(room, file string, f *ast.File) {
		ast.Inspect(f, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok || len(call.Args) > 0 {
				return true
			}
			if sel, ok := call.Fun.(*ast.SelectorExpr); ok {
				if rooms, is := allowed[sel.Sel.Name]; is && !slices.Contains(rooms, room) {
					t.Errorf("%s opens a draft with %s(); only internal/%s may, and stamp DRAFT", file, sel.Sel.Name, strings.Join(rooms, ", internal/"))
				}
			}
			return true
		})
	})
}

// eachFile walks the files of all rooms, tests apart. The room of a file in
// internal/card/pdf is card.
func eachFile(t *testing.T, do func(room, file string, f *ast.File)) {
	t.Helper()
	count := 0
	err := filepath.WalkDir(".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			return err
		}
		count++
		room, _, _ := strings.Cut(filepath.ToSlash(path), "/")
		do(room, path, f)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if count < 40 {
		t.Fatalf("only %d files were looked at", count)
	}
}
