package cli_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/disintegration/imaging"
	"github.com/rogpeppe/go-internal/testscript"

	"example.org/opencowl/internal/cli"
	"example.org/opencowl/internal/post/inbox"
	"example.org/opencowl/internal/testtool"
)

// clock stands still on a day that no demo knows, so that nothing hangs on the
// day on which tests are run.
func clock() time.Time { return time.Date(2033, 3, 3, 9, 30, 0, 0, time.UTC) }

func TestMain(m *testing.M) {
	testscript.Main(tidy{m}, map[string]func(){
		"opencowl": func() {
			os.Exit(cli.Run(context.Background(), os.Args[1:], cli.Streams{In: os.Stdin, Out: os.Stdout, Err: os.Stderr}, clock))
		},
	})
}

// tidy runs the tests and takes away the demo that they shared.
type tidy struct{ *testing.M }

func (t tidy) Run() int {
	code := t.M.Run()
	if dir, err := demo(); err == nil {
		os.RemoveAll(filepath.Dir(dir))
	}
	return code
}

// demo is a demo workspace that is made once and copied for each script.
var demo = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "opencowl-demo-")
	if err != nil {
		return "", err
	}
	var messages bytes.Buffer
	workspace := filepath.Join(dir, "demo")
	if code := cli.Run(context.Background(), []string{"new", workspace, "--demo"}, cli.Streams{Out: &messages, Err: &messages}, clock); code != 0 {
		return "", fmt.Errorf("opencowl new --demo: exit code %d\n%s", code, &messages)
	}
	return workspace, nil
})

func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"code": exitCode, "demo": makeDemo, "edit": editFile, "big": bigFile, "draw": drawPhoto, "mailserver": mailServer, "takeletter": takeLetter, "spoil": spoilFile, "letters": lettersTo,
		},
		Condition: func(cond string) (bool, error) {
			if cond == "links" {
				return runtime.GOOS != "windows", nil
			}
			return false, fmt.Errorf("unknown condition %q", cond)
		},
	})
}

// exitCode runs a command that must end with an exit code: code 2 opencowl ...
func exitCode(ts *testscript.TestScript, _ bool, args []string) {
	err := ts.Exec(args[1], args[2:]...)
	got := 0
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		got = exit.ExitCode()
	} else if err != nil {
		ts.Fatalf("%v: %v", args[1:], err)
	}
	if fmt.Sprint(got) != args[0] {
		ts.Fatalf("exit code %d, want %s", got, args[0])
	}
}

// makeDemo puts a copy of the demo in a folder: demo DIR.
func makeDemo(ts *testscript.TestScript, _ bool, args []string) {
	from, err := demo()
	ts.Check(err)
	ts.Check(os.CopyFS(ts.MkAbs(args[0]), os.DirFS(from)))
}

// editFile replaces text that must be there: edit FILE OLD NEW. \n is a line end.
func editFile(ts *testscript.TestScript, _ bool, args []string) {
	text := ts.ReadFile(args[0])
	lines := strings.NewReplacer(`\n`, "\n")
	old, next := lines.Replace(args[1]), lines.Replace(args[2])
	if !strings.Contains(text, old) {
		ts.Fatalf("%s does not hold %q", args[0], old)
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(strings.Replace(text, old, next, 1)), 0o644))
}

// bigFile writes 50 MB of front matter: big FILE.
func bigFile(ts *testscript.TestScript, _ bool, args []string) {
	f, err := os.Create(ts.MkAbs(args[0]))
	ts.Check(err)
	defer f.Close()
	fmt.Fprintln(f, "---")
	line := []byte("title: " + strings.Repeat("x", 1000) + "\n")
	for range 50 << 10 {
		_, err := f.Write(line)
		ts.Check(err)
	}
	fmt.Fprintln(f, "---")
}

// drawPhoto draws a photo of a bench: draw FILE, with somebody at it: draw FILE face,
// or out of focus: draw FILE blur.
func drawPhoto(ts *testscript.TestScript, _ bool, args []string) {
	var img image.Image
	bench := testtool.DrawBench(1500, 1000, 2)
	img = bench
	switch what := strings.Join(args[1:], " "); what {
	case "":
	case "face":
		testtool.DrawFace(bench, 600, 400, 200)
	case "blur":
		img = imaging.Blur(bench, 8)
	default:
		ts.Fatalf("draw: what is %q?", what)
	}
	var out bytes.Buffer
	ts.Check(jpeg.Encode(&out, img, &jpeg.Options{Quality: 85}))
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), out.Bytes(), 0o644))
}

// mailServer files what it gets in a folder, and has the workspace's settings
// name it: mailserver WORKSPACE FOLDER.
func mailServer(ts *testscript.TestScript, _ bool, args []string) {
	server, err := inbox.Listen(ts.MkAbs(args[1]))
	ts.Check(err)
	ts.Defer(func() { server.Close() })
	editFile(ts, false, []string{args[0] + "/workshop.yaml", "smtp://127.0.0.1:2525", "smtp://" + server.Addr()})
}

// takeLetter moves the one letter of a folder: takeletter FOLDER FILE.
func takeLetter(ts *testscript.TestScript, _ bool, args []string) {
	found, err := filepath.Glob(filepath.Join(ts.MkAbs(args[0]), "*.eml"))
	ts.Check(err)
	if len(found) != 1 {
		ts.Fatalf("%s holds %d letters, want one", args[0], len(found))
	}
	ts.Check(os.Rename(found[0], ts.MkAbs(args[1])))
}

// spoilFile changes one byte in the middle of a file: spoil FILE.
func spoilFile(ts *testscript.TestScript, _ bool, args []string) {
	data := []byte(ts.ReadFile(args[0]))
	data[len(data)/2] ^= 1
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), data, 0o600))
}

// lettersTo counts the letters in a mail server's folder that name an address:
// letters FOLDER ADDRESS COUNT.
func lettersTo(ts *testscript.TestScript, _ bool, args []string) {
	files, err := filepath.Glob(filepath.Join(ts.MkAbs(args[0]), "*.eml"))
	ts.Check(err)
	found := 0
	for _, name := range files {
		letter, err := os.ReadFile(name)
		ts.Check(err)
		if strings.Contains(string(letter), args[1]) {
			found++
		}
	}
	if fmt.Sprint(found) != args[2] {
		ts.Fatalf("%d letters name %s, want %s", found, args[1], args[2])
	}
}
