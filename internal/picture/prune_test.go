package picture

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"example.org/opencowl/internal/cleared"
)

// filesIn lists a folder.
func filesIn(t testing.TB, dir string) []string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var all []string
	for _, e := range entries {
		all = append(all, e.Name())
	}
	return all
}

// copiesOf asks a cache for copies and returns their names, each once: two uses of
// a small picture may have the same bytes.
func copiesOf(t testing.TB, c *Cache, original []byte, r Recipe) []string {
	t.Helper()
	infos, err := c.Copies(t.Context(), original, r)
	if err != nil {
		t.Fatal(err)
	}
	var all []string
	for _, i := range infos {
		all = append(all, i.Name)
	}
	slices.Sort(all)
	return slices.Compact(all)
}

func TestPruneRemovesWhatNoRecipeWants(t *testing.T) {
	dir := t.TempDir()
	c, times := counted(dir)
	original := asJPEG(t, hangar(500, 300))
	old := copiesOf(t, c, original, Recipe{Alt: "before"})
	kept := copiesOf(t, c, original, Recipe{Alt: "after"})
	strangers := []string{"read me", "0123.jpg", strings.Repeat("g", 32) + ".jpg", ".opencowl-1.part"}
	for _, name := range strangers {
		if err := os.WriteFile(filepath.Join(dir, name), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	there, err := LookAt(dir)
	if err != nil {
		t.Fatal(err)
	}
	later := copiesOf(t, c, original, Recipe{Alt: "made since"})
	var bytes int64
	for _, name := range old {
		info, err := os.Stat(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		bytes += info.Size()
	}
	gone, err := there.Prune(func(name string) bool { return slices.Contains(kept, name) })
	if err != nil || gone != (Pruned{len(old), bytes}) {
		t.Errorf("got %+v, %v; want %d copies of %d bytes", gone, err, len(old), bytes)
	}
	left := filesIn(t, dir)
	for _, name := range slices.Concat(kept, later, strangers) {
		if !slices.Contains(left, name) {
			t.Errorf("%s is gone", name)
		}
	}
	for _, name := range old {
		if slices.Contains(left, name) {
			t.Errorf("%s is still there", name)
		}
	}
	if want := len(kept) + len(later) + len(strangers) + 2; len(left) != want {
		t.Errorf("%d files are left, want %d: the list of the old copies goes with them", len(left), want)
	}
	*times = 0
	copiesOf(t, c, original, Recipe{Alt: "after"})
	copiesOf(t, c, original, Recipe{Alt: "made since"})
	if *times != 0 {
		t.Errorf("copies that stayed were made again, %d times", *times)
	}
	if gone, err := there.Prune(func(name string) bool { return slices.Contains(kept, name) }); err != nil || gone != (Pruned{}) {
		t.Errorf("pruning again gives %+v, %v; want nothing", gone, err)
	}
}

func TestPruneTakesDamagedListsAndNoFolder(t *testing.T) {
	there, err := LookAt(filepath.Join(t.TempDir(), "none"))
	if err != nil {
		t.Fatal(err)
	}
	if gone, err := there.Prune(func(string) bool { return false }); err != nil || gone != (Pruned{}) {
		t.Errorf("no folder: got %+v, %v", gone, err)
	}
	dir := t.TempDir()
	broken := strings.Repeat("0", 64) + ".list"
	if err := os.WriteFile(filepath.Join(dir, broken), []byte("half a li"), 0o600); err != nil {
		t.Fatal(err)
	}
	if there, err = LookAt(dir); err != nil {
		t.Fatal(err)
	}
	if _, err := there.Prune(func(string) bool { return true }); err != nil || len(filesIn(t, dir)) > 0 {
		t.Errorf("a broken list stays (%v)", err)
	}
}

// The tags of a moment, for the two processes below: some recipes of one photo.
const asked = 4

func recipeAt(turn, i int) Recipe {
	return Recipe{Alt: fmt.Sprintf("recipe %d of %d", i, turn), Uses: []cleared.Use{cleared.Web400, cleared.Thumbnail}}
}

// maker is the other process. At each line it reads, it makes and opens the copies
// of that turn, over and over until it has done so as often as the line says.
func maker(dir string) error {
	original, err := os.ReadFile(os.Getenv("OPENCOWL_TEST_ORIGINAL"))
	if err != nil {
		return err
	}
	in := bufio.NewScanner(os.Stdin)
	for in.Scan() {
		var turn, times int
		if _, err := fmt.Sscan(in.Text(), &turn, &times); err != nil {
			return err
		}
		for range times {
			for i := range asked {
				infos, err := NewCache(dir, nil).Copies(context.Background(), original, recipeAt(turn, i))
				if err != nil {
					return err
				}
				for _, info := range infos {
					if _, err := info.Open(); err != nil {
						return fmt.Errorf("turn %d: %w", turn, err)
					}
				}
			}
		}
		fmt.Println("done", turn)
	}
	return in.Err()
}

func TestMain(m *testing.M) {
	if dir := os.Getenv("OPENCOWL_TEST_MAKER"); dir != "" {
		if err := maker(dir); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// Another process makes and opens copies while this one prunes by the same tags:
// it never finds one gone, and what the tags asked for a turn before goes.
func TestPruneBesideAnotherProcess(t *testing.T) {
	dir := t.TempDir()
	original := asJPEG(t, hangar(450, 300))
	file := filepath.Join(t.TempDir(), "original.jpg")
	if err := os.WriteFile(file, original, 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), os.Args[0])
	cmd.Env = append(os.Environ(), "OPENCOWL_TEST_MAKER="+dir, "OPENCOWL_TEST_ORIGINAL="+file)
	var said strings.Builder
	cmd.Stderr = &said
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	pipe, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	answers := make(chan string)
	go func() {
		defer close(answers)
		for lines := bufio.NewScanner(pipe); lines.Scan(); {
			answers <- lines.Text()
		}
	}()
	ours := NewCache(dir, nil)
	removed := 0
	for turn := range 5 {
		fmt.Fprintln(in, turn, 10)
		prunes := 0
		for busy := true; busy; prunes++ {
			there, err := LookAt(dir)
			if err != nil {
				t.Fatal(err)
			}
			wanted := map[string]bool{}
			for i := range asked {
				for _, name := range copiesOf(t, ours, original, recipeAt(turn, i)) {
					wanted[name] = true
				}
			}
			gone, err := there.Prune(func(name string) bool { return wanted[name] })
			if err != nil {
				t.Fatal(err)
			}
			removed += gone.Copies
			select {
			case _, open := <-answers:
				if busy = false; !open {
					t.Fatalf("the other process failed in turn %d: %v: %s", turn, cmd.Wait(), said.String())
				}
			default:
			}
		}
		t.Logf("turn %d: pruned %d times", turn, prunes)
	}
	if err := in.Close(); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil {
		t.Fatalf("the other process: %v: %s", err, said.String())
	}
	// One last look, now that nobody makes anything.
	there, err := LookAt(dir)
	if err != nil {
		t.Fatal(err)
	}
	wanted := map[string]bool{}
	for i := range asked {
		for _, name := range copiesOf(t, ours, original, recipeAt(4, i)) {
			wanted[name] = true
		}
	}
	gone, err := there.Prune(func(name string) bool { return wanted[name] })
	if err != nil {
		t.Fatal(err)
	}
	if removed += gone.Copies; removed < 4*len(wanted) {
		t.Errorf("removed %d copies in all, want the %d of each of four turns", removed, len(wanted))
	}
	if left := filesIn(t, dir); len(left) != len(wanted)+asked {
		t.Errorf("left over: %d files, want %d copies and %d lists", len(left), len(wanted), asked)
	}
}
