package pdf

import (
	"bytes"
	"compress/zlib"
	"crypto/sha256"
	"fmt"
	"io"
	"runtime"
	"sync"
)

// ref is the number of an object.
type ref int

func (r ref) String() string { return fmt.Sprintf("%d 0 R", int(r)) }

// file collects the objects of a PDF 1.7 file (ISO 32000-1, 7.5). Objects that
// are not streams are packed together and compressed.
type file struct {
	plain   map[ref]string // dictionaries, arrays
	streams map[ref][]byte // whole stream objects, without "obj" and "endobj"
	last    ref
	zlib    *zlib.Writer // kept, since a new one costs a megabyte each
}

func newFile() *file { return &file{plain: map[ref]string{}, streams: map[ref][]byte{}} }

// reserve gives out a number for an object that is set later.
func (f *file) reserve() ref {
	f.last++
	return f.last
}

func (f *file) set(r ref, body string) { f.plain[r] = body }

func (f *file) add(body string) ref {
	r := f.reserve()
	f.set(r, body)
	return r
}

// stream adds a stream whose dictionary has the given further entries.
func (f *file) stream(dict string, data []byte) ref {
	r := f.reserve()
	var b bytes.Buffer
	fmt.Fprintf(&b, "<<%s/Length %d>>\nstream\n", dict, len(data))
	b.Write(data)
	b.WriteString("\nendstream")
	f.streams[r] = b.Bytes()
	return r
}

// deflated adds a compressed stream.
func (f *file) deflated(dict string, data []byte) (ref, error) {
	packed, err := f.deflate(data)
	if err != nil {
		return 0, err
	}
	return f.stream(dict+"/Filter/FlateDecode", packed), nil
}

func (f *file) deflate(data []byte) ([]byte, error) {
	var b bytes.Buffer
	if f.zlib == nil {
		w, err := zlib.NewWriterLevel(&b, zlib.DefaultCompression)
		if err != nil {
			return nil, err
		}
		f.zlib = w
	}
	f.zlib.Reset(&b)
	if _, err := f.zlib.Write(data); err != nil {
		return nil, err
	}
	if err := f.zlib.Close(); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// deflatedAll packs several streams side by side, and adds them in their order.
func (f *file) deflatedAll(all [][]byte) ([]ref, error) {
	packed, errs := make([][]byte, len(all)), make([]error, len(all))
	var work sync.WaitGroup
	workers := min(runtime.GOMAXPROCS(0), len(all))
	for w := range workers {
		work.Go(func() {
			one := newFile() // a packer of its own
			for i := w; i < len(all); i += workers {
				packed[i], errs[i] = one.deflate(all[i])
			}
		})
	}
	work.Wait()
	var refs []ref
	for i := range all {
		if errs[i] != nil {
			return nil, errs[i]
		}
		refs = append(refs, f.stream("/Filter/FlateDecode", packed[i]))
	}
	return refs, nil
}

// packSize is how many objects share one object stream.
const packSize = 200

// place says where an object stands: at an offset, or as the index-th of a pack.
type place struct {
	packed       bool
	offset, pack int
	index        int
}

// writeTo writes the whole file. Its identifier is made from its content, so
// that the same document is the same bytes.
func (f *file) writeTo(w io.Writer, catalog, info ref) error {
	var b bytes.Buffer
	b.WriteString("%PDF-1.7\n%\xe2\xe3\xcf\xd3\n")
	places := map[ref]place{}
	if err := f.pack(places); err != nil {
		return err
	}
	for r := ref(1); r <= f.last; r++ {
		body, ok := f.streams[r]
		if !ok {
			continue
		}
		places[r] = place{offset: b.Len()}
		fmt.Fprintf(&b, "%d 0 obj\n", int(r))
		b.Write(body)
		b.WriteString("\nendobj\n")
	}
	sum := sha256.Sum256(b.Bytes())
	table := f.reserve()
	start := b.Len()
	places[table] = place{offset: start}
	packed, err := f.deflate(f.crossReferences(places))
	if err != nil {
		return err
	}
	fmt.Fprintf(&b, "%d 0 obj\n<</Type/XRef/Size %d/W[1 4 2]/Root %v/Info %v/ID[<%x><%x>]/Filter/FlateDecode/Length %d>>\nstream\n",
		int(table), int(f.last)+1, catalog, info, sum[:16], sum[:16], len(packed))
	b.Write(packed)
	fmt.Fprintf(&b, "\nendstream\nendobj\nstartxref\n%d\n%%%%EOF\n", start)
	_, err = w.Write(b.Bytes())
	return err
}

// pack moves the plain objects into object streams, in order of their numbers.
func (f *file) pack(places map[ref]place) error {
	var batch []ref
	flush := func() error {
		if len(batch) == 0 {
			return nil
		}
		var index, bodies bytes.Buffer
		for _, r := range batch {
			fmt.Fprintf(&index, "%d %d ", int(r), bodies.Len())
			bodies.WriteString(f.plain[r])
			bodies.WriteByte('\n')
		}
		first := index.Len()
		packed, err := f.deflated(fmt.Sprintf("/Type/ObjStm/N %d/First %d", len(batch), first), append(index.Bytes(), bodies.Bytes()...))
		if err != nil {
			return err
		}
		for i, r := range batch {
			places[r] = place{packed: true, pack: int(packed), index: i}
		}
		batch = nil
		return nil
	}
	for r, end := ref(1), f.last; r <= end; r++ {
		if _, ok := f.plain[r]; !ok {
			continue
		}
		if batch = append(batch, r); len(batch) == packSize {
			if err := flush(); err != nil {
				return err
			}
		}
	}
	return flush()
}

// crossReferences writes the table of places (ISO 32000-1, 7.5.8.3).
func (f *file) crossReferences(places map[ref]place) []byte {
	rows := []byte{0, 0, 0, 0, 0, 0xff, 0xff}
	for r := ref(1); r <= f.last; r++ {
		p := places[r]
		kind, a, b := byte(1), p.offset, 0
		if p.packed {
			kind, a, b = 2, p.pack, p.index
		}
		rows = append(rows, kind, byte(a>>24), byte(a>>16), byte(a>>8), byte(a), byte(b>>8), byte(b))
	}
	return rows
}
