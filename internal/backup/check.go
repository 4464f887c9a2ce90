package backup

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
)

var (
	// ErrNotBackup is returned for a file that is no backup.
	ErrNotBackup = errors.New("this is not a backup of opencowl")
	// ErrDamaged is returned for a backup that is not as it was written.
	ErrDamaged = errors.New("the backup is damaged")
	// ErrHostile is returned for a backup that this program would not have written:
	// names that lead out of the folder, names that stand there twice, contents that do
	// not fit what is said of them.
	ErrHostile = errors.New("the backup was not written by opencowl, or was changed on purpose")
	// ErrLater is returned for a backup of a later version of the program.
	ErrLater = errors.New("the backup was made by a later version of opencowl")
)

const another = "; take another backup"

// Limits of what is read. A photo of a bench packs to half, text to a fifth or so.
const (
	mostFiles    = 1 << 20
	mostManifest = 512 << 20 // bytes
	mostRatio    = 200       // of unpacked to packed, of the whole
	alwaysFine   = 64 << 20  // bytes unpacked, whatever the ratio
)

// Check reads a whole backup and holds every file against its digest. The error names
// the file of the backup that is damaged.
func Check(ctx context.Context, name string) (Manifest, error) {
	f, size, err := open(name)
	if err != nil {
		return Manifest{}, err
	}
	defer f.Close()
	opened, err := check(ctx, f, size, name)
	return opened.manifest, err
}

func open(name string) (*os.File, int64, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, 0, fmt.Errorf("the backup cannot be read: %w", err)
	}
	info, err := f.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = fmt.Errorf("%s: %w: it is no plain file", name, ErrNotBackup)
	}
	if err != nil {
		f.Close()
		return nil, 0, err
	}
	return f, info.Size(), nil
}

// opened is a backup whose index is sound.
type opened struct {
	name     string // of the backup
	manifest Manifest
	files    map[string]*zip.File
}

// check holds a backup against its seal, its index against its manifest, and every
// file against its digest.
func check(ctx context.Context, r io.ReaderAt, size int64, name string) (opened, error) {
	sealed, err := sealHolds(r, size, name)
	if err != nil {
		return opened{}, err
	}
	o, err := readIndex(r, size, name)
	if err != nil && !sealed {
		return opened{}, fmt.Errorf("%s: %w: its index cannot be read%s", name, ErrDamaged, another)
	}
	if err != nil {
		return opened{}, err
	}
	for _, f := range o.manifest.Files {
		if ctx.Err() != nil {
			return opened{}, ctx.Err()
		}
		if err := o.read(f, io.Discard); err != nil {
			return opened{}, err
		}
	}
	if !sealed {
		return opened{}, fmt.Errorf("%s: %w: its files are as they were, and its index is not%s", name, ErrDamaged, another)
	}
	return o, nil
}

// sealHolds says whether no byte changed since the backup was sealed.
func sealHolds(r io.ReaderAt, size int64, name string) (bool, error) {
	const length = int64(len(sealWords) + sealDigits)
	if size < length {
		return false, fmt.Errorf("%s: %w", name, ErrNotBackup)
	}
	seal := make([]byte, length)
	if _, err := r.ReadAt(seal, size-length); err != nil {
		return false, fmt.Errorf("%s: cannot be read: %w", name, err)
	}
	if string(seal[:len(sealWords)]) != sealWords {
		begins := make([]byte, 4)
		if _, err := r.ReadAt(begins, 0); err != nil || string(begins) != "PK\x03\x04" {
			return false, fmt.Errorf("%s: %w", name, ErrNotBackup)
		}
		return false, fmt.Errorf("%s: %w: its end is missing, or it is another zip file%s", name, ErrDamaged, another)
	}
	sum, err := digest(io.NewSectionReader(r, 0, size-sealDigits))
	if err != nil {
		return false, fmt.Errorf("%s: cannot be read: %w", name, err)
	}
	return sum == string(seal[len(sealWords):]), nil
}

// readIndex reads what is in a backup and unpacks nothing but the manifest.
func readIndex(r io.ReaderAt, size int64, name string) (opened, error) {
	o := opened{name: name, files: map[string]*zip.File{}}
	z, err := zip.NewReader(r, size)
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) {
		return o, fmt.Errorf("%s: %w: its index cannot be read (%v)%s", name, ErrDamaged, err, another)
	}
	if len(z.File) > mostFiles {
		return o, o.hostile("it has more than %d files", mostFiles)
	}
	var packed, unpacked uint64
	for _, f := range z.File {
		switch {
		case f.Name != manifestName && (!goodName(f.Name) || strings.HasPrefix(f.Name, databaseName+"-")):
			return o, o.hostile("the name %q does not lead to a file of a workspace", f.Name)
		case !f.Mode().IsRegular():
			return o, o.hostile("%q is no plain file", f.Name)
		case o.files[f.Name] != nil:
			return o, o.hostile("%q is in it twice", f.Name)
		case f.CompressedSize64 > uint64(size) || f.UncompressedSize64 > 1<<50:
			return o, o.hostile("%q is larger than it can be", f.Name)
		}
		packed += f.CompressedSize64
		unpacked += f.UncompressedSize64
		o.files[f.Name] = f
	}
	if packed > uint64(size) {
		return o, o.hostile("its files lie over each other")
	}
	if unpacked > alwaysFine && unpacked/mostRatio > uint64(size) {
		return o, o.hostile("it would unpack to %d MB, more than %d times its size", unpacked>>20, mostRatio)
	}
	if err := o.readManifest(); err != nil {
		return o, err
	}
	return o, o.fits()
}

func (o *opened) hostile(what string, values ...any) error {
	return fmt.Errorf("%s: %w: %s", o.name, ErrHostile, fmt.Sprintf(what, values...))
}

func (o *opened) readManifest() error {
	f := o.files[manifestName]
	if f == nil {
		return o.hostile("it has no %s", manifestName)
	}
	delete(o.files, manifestName)
	if f.UncompressedSize64 > mostManifest {
		return o.hostile("its %s is too large", manifestName)
	}
	var text bytes.Buffer
	if err := unpack(f, &text); err != nil {
		return fmt.Errorf("%s: %w: %s cannot be read (%v)%s", o.name, ErrDamaged, manifestName, err, another)
	}
	var version struct{ Format string }
	if err := json.Unmarshal(text.Bytes(), &version); err != nil {
		return o.hostile("its %s cannot be read (%v)", manifestName, err)
	}
	if version.Format != format {
		return fmt.Errorf("%s: %w (%q)", o.name, ErrLater, version.Format)
	}
	d := json.NewDecoder(&text)
	d.DisallowUnknownFields()
	if err := d.Decode(&o.manifest); err != nil {
		return o.hostile("its %s cannot be read (%v)", manifestName, err)
	}
	return nil
}

// fits holds the index against the manifest: the same files of the same sizes.
func (o *opened) fits() error {
	listed := map[string]bool{}
	for _, f := range o.manifest.Files {
		at := o.files[f.Name]
		switch {
		case listed[f.Name]:
			return o.hostile("%s lists %q twice", manifestName, f.Name)
		case at == nil:
			return o.hostile("%q is listed and not there", f.Name)
		case uint64(f.Size) != at.UncompressedSize64:
			return o.hostile("%q has not the size that is listed", f.Name)
		}
		listed[f.Name] = true
	}
	for name := range o.files {
		if !listed[name] {
			return o.hostile("%q is there and not listed", name)
		}
	}
	if !listed[databaseName] {
		return o.hostile("it has no database")
	}
	return nil
}

// read unpacks a file and holds it against its digest.
func (o *opened) read(f File, to io.Writer) error {
	sum := sha256.New()
	if err := unpack(o.files[f.Name], io.MultiWriter(to, sum)); err != nil {
		var wrote *writeFailed
		if errors.As(err, &wrote) {
			return wrote.err
		}
		return fmt.Errorf("%s: %w: %s cannot be read (%v)%s", o.name, ErrDamaged, f.Name, err, another)
	}
	if hex.EncodeToString(sum.Sum(nil)) != f.SHA256 {
		return fmt.Errorf("%s: %w: %s is not as it was%s", o.name, ErrDamaged, f.Name, another)
	}
	return nil
}

// writeFailed is an error of the one who is written to.
type writeFailed struct{ err error }

func (w *writeFailed) Error() string { return w.err.Error() }

type target struct{ io.Writer }

func (t target) Write(p []byte) (int, error) {
	n, err := t.Writer.Write(p)
	if err != nil {
		err = &writeFailed{err}
	}
	return n, err
}

// unpack writes a file's bytes, and never more than its index says.
func unpack(f *zip.File, to io.Writer) error {
	if f.Method != zip.Store && f.Method != zip.Deflate {
		return fmt.Errorf("it is packed in an unknown way, %d", f.Method)
	}
	from, err := f.Open()
	if err != nil {
		return err
	}
	defer from.Close()
	most := int64(f.UncompressedSize64)
	n, err := io.Copy(target{to}, io.LimitReader(from, most+1))
	if err == nil && n != most {
		err = fmt.Errorf("it has %d bytes or more in place of %d", n, most)
	}
	return err
}
