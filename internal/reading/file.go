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
	return data, nil
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
// that does not exist is an empty list. Links to folders are not followed.
func List(root *os.Root, dir, suffix string) ([]string, []Problem) {
	var names []string
	var problems []Problem
	err := fs.WalkDir(root.FS(), dir, func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			if name == dir && errors.Is(err, fs.ErrNotExist) {
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
		if !d.IsDir() && strings.HasSuffix(name, suffix) {
			names = append(names, name)
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
