package reading

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"slices"
	"strings"
	"syscall"
	"unicode/utf8"
)

// Limits on what is taken in. A person's text never comes near them.
const (
	MaxText        = 1 << 20   // bytes in a text file
	MaxFrontMatter = 128 << 10 // bytes of YAML
	MaxPicture     = 64 << 20  // bytes in a photo
)

// Text reads a UTF-8 text file of at most MaxText bytes below root. A byte
// order mark is dropped. What cannot be a text that a person wrote is a Problem.
func Text(root *os.Root, name string) ([]byte, *Problem) {
	data, problem := Bytes(root, name, MaxText)
	if problem != nil {
		return nil, problem
	}
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	if len(bytes.TrimSpace(data)) == 0 {
		return nil, &Problem{Place: Place{File: name}, Code: "empty", Message: "the file is empty",
			Remedy: "write its front matter or delete the file"}
	}
	line := func(i int) int { return 1 + bytes.Count(data[:i], []byte("\n")) }
	if i := bytes.IndexByte(data, 0); i >= 0 {
		return nil, &Problem{Place: Place{File: name, Line: line(i)}, Code: "binary", Value: "NUL byte",
			Message: "the file is not text (it holds a NUL byte)", Remedy: "save it as plain UTF-8 text"}
	}
	if !utf8.Valid(data) {
		i := 0
		for i < len(data) {
			r, n := utf8.DecodeRune(data[i:])
			if r == utf8.RuneError && n == 1 {
				break
			}
			i += n
		}
		return nil, &Problem{Place: Place{File: name, Line: line(i)}, Code: "binary", Value: fmt.Sprintf("byte %#02x", data[i]),
			Message: "the file is not UTF-8 text", Remedy: "save it as plain UTF-8 text"}
	}
	if i := hidden(string(data)); i >= 0 {
		r, _ := utf8.DecodeRune(data[i:])
		return nil, &Problem{Place: Place{File: name, Line: line(i)}, Code: "hidden-character", Value: fmt.Sprintf("%U", r),
			Message: fmt.Sprintf("a character stands here that does not show (%U)", r), Remedy: hiddenRemedy}
	}
	if i := mergeMark(data); i >= 0 {
		return nil, &Problem{Place: Place{File: name, Line: line(i)}, Code: "merge-mark",
			Message: "two people's versions of this file were put together and not settled here",
			Remedy:  "keep the right one, and delete the lines that begin with <<<<<<<, ======= and >>>>>>>"}
	}
	return data, nil
}

// mergeMark finds a line that Git leaves where two versions did not fit (git-merge's
// manual, "How conflicts are presented"). A row of equals signs alone also
// underlines a heading, so it is not looked for.
func mergeMark(data []byte) int {
	at := 0
	for text := range bytes.Lines(data) {
		mark := bytes.TrimRight(text, "\r\n")
		for _, m := range []string{"<<<<<<<", ">>>>>>>"} {
			if rest, found := bytes.CutPrefix(mark, []byte(m)); found && (len(rest) == 0 || rest[0] == ' ') {
				return at
			}
		}
		at += len(text)
	}
	return -1
}

// Bytes reads a regular file of at most limit bytes below root. Links are
// followed as long as they stay inside root.
func Bytes(root *os.Root, name string, limit int64) ([]byte, *Problem) {
	fail := func(code, message, remedy string) ([]byte, *Problem) {
		return nil, &Problem{Place: Place{File: name}, Code: code, Message: message, Remedy: remedy}
	}
	info, err := root.Stat(name)
	if err == nil && info.Mode()&fs.ModeType != 0 {
		// Seen before opening: opening a named pipe would wait for ever.
		return fail("not-a-file", "this is not a file but a "+kindOf(info.Mode()), "put the file itself here")
	}
	var f *os.File
	if err == nil {
		f, err = root.Open(name)
	}
	switch {
	case err == nil:
	case errors.Is(err, fs.ErrNotExist):
		if _, lerr := root.Lstat(name); lerr == nil {
			return fail("broken-link", "the link leads nowhere", "put the file itself here")
		}
		return fail("missing", "there is no such file", "check the name, or add the file")
	case errors.Is(err, syscall.ELOOP) || strings.Contains(err.Error(), "too many"):
		return fail("link-loop", "the link leads round in a loop", "put the file itself here")
	case strings.Contains(err.Error(), "escapes"):
		return fail("outside", "the path leads out of the workspace", "keep every file inside the workspace folder")
	case errors.Is(err, fs.ErrPermission):
		return fail("no-permission", "the file may not be read", "ask its owner for permission to read it")
	default:
		return fail("unreadable", fmt.Sprintf("the file cannot be read (%v)", reason(err)), "check the disk and the file's permissions")
	}
	defer f.Close()
	if info.Size() > limit {
		return fail("too-large", fmt.Sprintf("the file has %d bytes; the most taken is %d", info.Size(), limit), "split it, or take out what does not belong there")
	}
	data, err := io.ReadAll(io.LimitReader(f, limit+1))
	if err != nil {
		return fail("unreadable", fmt.Sprintf("the file cannot be read (%v)", reason(err)), "check the disk")
	}
	if int64(len(data)) > limit {
		return fail("too-large", fmt.Sprintf("the file has more than %d bytes", limit), "split it, or take out what does not belong there")
	}
	return data, nil
}

func kindOf(m fs.FileMode) string {
	switch {
	case m.IsDir():
		return "folder"
	case m&fs.ModeNamedPipe != 0:
		return "pipe"
	case m&fs.ModeSocket != 0:
		return "socket"
	}
	return "device"
}

func isFolder(root *os.Root, name string) bool {
	info, err := root.Stat(name)
	return err == nil && info.IsDir()
}

// reason drops the operation and path that a path error repeats.
func reason(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}

// List returns the files below dir whose name ends with suffix, sorted, with
// slash paths from root. Names that begin with a dot are passed over; a folder
// that does not exist is an empty list. Links to folders are not followed, and
// said; so are files whose names end otherwise, since somebody meant them to count.
func List(root *os.Root, dir, suffix string) ([]string, []Problem) {
	var names []string
	var problems []Problem
	err := fs.WalkDir(root.FS(), dir, func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			if name == dir && errors.Is(err, fs.ErrNotExist) {
				if _, lerr := root.Lstat(dir); lerr == nil {
					problems = append(problems, Problem{Place: Place{File: name}, Code: "broken-link", Message: "the link leads nowhere", Remedy: "put the folder itself here"})
				}
				return nil
			}
			if strings.Contains(err.Error(), "escapes") {
				problems = append(problems, Problem{Place: Place{File: name}, Code: "outside",
					Message: "the link leads out of the workspace", Remedy: "put the folder itself here"})
				return nil
			}
			problems = append(problems, Problem{Place: Place{File: name}, Code: "unreadable",
				Message: fmt.Sprintf("the folder cannot be read (%v)", reason(err)), Remedy: "check its permissions"})
			return nil
		}
		if strings.HasPrefix(path.Base(name), ".") && name != dir {
			if d.IsDir() {
				return fs.SkipDir
			}
			return nil
		}
		problem := Problem{Place: Place{File: name}}
		switch {
		case !utf8.ValidString(name) || strings.ContainsFunc(name, unseen):
			problem.Code, problem.Message, problem.Remedy = "bad-name", "the name holds a character that does not show", "rename it with letters, digits and hyphens"
			problems = append(problems, problem)
			if d.IsDir() {
				return fs.SkipDir
			}
		case d.IsDir() && name == dir:
		case d.Type()&fs.ModeSymlink != 0 && isFolder(root, name):
			problem.Code, problem.Message, problem.Remedy = "linked-folder", "this is a link to a folder, and what is in it is not read", "put the folder itself here"
			problem.Advice = true
			problems = append(problems, problem)
		case d.IsDir():
		case strings.HasSuffix(name, suffix):
			names = append(names, name)
		case name == dir:
			problem.Code, problem.Message, problem.Remedy = "not-a-folder", "this should be a folder", "move the file away and make a folder of this name"
			problems = append(problems, problem)
		default:
			problem.Code, problem.Advice = "passed-over", true
			problem.Message, problem.Remedy = "the file is not read, since its name does not end in "+suffix, "rename it, or keep it elsewhere"
			problems = append(problems, problem)
		}
		return nil
	})
	if err != nil {
		problems = append(problems, Problem{Place: Place{File: dir}, Code: "unreadable",
			Message: fmt.Sprintf("the folder cannot be read (%v)", reason(err)), Remedy: "check its permissions"})
	}
	slices.Sort(names)
	return names, problems
}
