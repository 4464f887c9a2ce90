package main

import (
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The long form is run by hand; that its plants still fit the product is seen here.
func TestPlantsFitTheProduct(t *testing.T) {
	root, err := moduleRoot()
	if err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	if _, err := overlay(root, folder); err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob(filepath.Join(folder, "*.go"))
	if err != nil || len(files) < 8 {
		t.Fatalf("%d patched files, %v", len(files), err)
	}
	for _, file := range files {
		if _, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.SkipObjectResolution); err != nil {
			t.Error(err)
		}
	}
}

func TestEachPlantIsSomewhere(t *testing.T) {
	if n := len(plants()); n < 12 {
		t.Errorf("%d plants, want 12 or more", n)
	}
	for _, p := range plants() {
		if !knows(p.name) {
			t.Errorf("the plant %q is nowhere put in", p.name)
		}
	}
}

func TestMissingTextIsTold(t *testing.T) {
	root := t.TempDir()
	first := patches()[0]
	if err := os.MkdirAll(filepath.Join(root, filepath.Dir(first.file)), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(root, first.file), []byte("package clearance\n\nimport (\n)\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := overlay(root, t.TempDir()); err == nil || !strings.Contains(err.Error(), "correct patches in scripts/tools/noninterference/plants.go") {
		t.Errorf("got %v", err)
	}
}
