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
	streams map[ref]*stream
	last    ref
	jobs    chan *stream // to the packers
	packers sync.WaitGroup
}

// stream is a stream object.
type stream struct {
	dict string
	data []byte        // once done, what the file holds
	done chan struct{} // closed once data is compressed; nil if it stays as it is
	err  error
}

// quick is the level of compression: well under half the time of zlib's own choice, for a
// twentieth more of the file.
const quick = 2

// newFile starts the packers, which close ends.
func newFile() *file {
	const waiting = 64
	f := &file{plain: map[ref]string{}, streams: map[ref]*stream{}, jobs: make(chan *stream, waiting)}
	for range runtime.GOMAXPROCS(0) {
		f.packers.Go(func() {
			// Kept, since a new one costs a megabyte each. The level is between nought and
			// nine, so there is no error.
			w, _ := zlib.NewWriterLevel(nil, quick)
			for s := range f.jobs {
				s.deflate(w)
			}
		})
	}
	return f
}

func (f *file) close() {
	close(f.jobs)
	f.packers.Wait()
}

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
func (f *file) stream(dict string, data []byte) ref { return f.put(&stream{dict: dict, data: data}) }

// deflated adds a stream that is compressed meanwhile.
func (f *file) deflated(dict string, data []byte) ref { return f.put(f.deflating(dict, data)) }

func (f *file) put(s *stream) ref {
	r := f.reserve()
	f.streams[r] = s
	return r
}

// deflating hands a stream to the packers.
func (f *file) deflating(dict string, data []byte) *stream {
	s := &stream{dict: dict + "/Filter/FlateDecode", data: data, done: make(chan struct{})}
	f.jobs <- s
	return s
}

func (s *stream) deflate(w *zlib.Writer) {
	defer close(s.done)
	var b bytes.Buffer
	w.Reset(&b)
	if _, s.err = w.Write(s.data); s.err == nil {
		s.err = w.Close()
	}
	s.data = b.Bytes()
}

// wait returns what the file holds of the stream, once it is there.
func (s *stream) wait() []byte {
	if s.done != nil {
		<-s.done
	}
	return s.data
}

// appendTo writes the stream as the object that has the number.
func (s *stream) appendTo(b *bytes.Buffer, r ref) error {
	data := s.wait()
	fmt.Fprintf(b, "%d 0 obj\n<<%s/Length %d>>\nstream\n", int(r), s.dict, len(data))
	b.Write(data)
	b.WriteString("\nendstream\nendobj\n")
	return s.err
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
	places := f.pack()
	var b bytes.Buffer
	const about = 100 // bytes about each stream
	size := 0
	for _, s := range f.streams {
		size += len(s.wait()) + len(s.dict) + about
	}
	b.Grow(size)
	b.WriteString("%PDF-1.7\n%\xe2\xe3\xcf\xd3\n")
	for r := ref(1); r <= f.last; r++ {
		if s, ok := f.streams[r]; ok {
			places[r] = place{offset: b.Len()}
			if err := s.appendTo(&b, r); err != nil {
				return err
			}
		}
	}
	sum := sha256.Sum256(b.Bytes())
	table := f.reserve()
	start := b.Len()
	places[table] = place{offset: start}
	last := f.deflating(fmt.Sprintf("/Type/XRef/Size %d/W[1 4 2]/Root %v/Info %v/ID[<%x><%x>]", int(f.last)+1, catalog, info, sum[:16], sum[:16]), f.crossReferences(places))
	if err := last.appendTo(&b, table); err != nil {
		return err
	}
	fmt.Fprintf(&b, "startxref\n%d\n%%%%EOF\n", start)
	_, err := w.Write(b.Bytes())
	return err
}

// pack moves the plain objects into object streams, in order of their numbers, and
// returns where they are.
func (f *file) pack() map[ref]place {
	places := map[ref]place{}
	var batch []ref
	flush := func() {
		if len(batch) == 0 {
			return
		}
		var index, bodies bytes.Buffer
		for _, r := range batch {
			fmt.Fprintf(&index, "%d %d ", int(r), bodies.Len())
			bodies.WriteString(f.plain[r])
			bodies.WriteByte('\n')
		}
		first := index.Len()
		pack := f.deflated(fmt.Sprintf("/Type/ObjStm/N %d/First %d", len(batch), first), append(index.Bytes(), bodies.Bytes()...))
		for i, r := range batch {
			places[r] = place{packed: true, pack: int(pack), index: i}
		}
		batch = nil
	}
	for r, end := ref(1), f.last; r <= end; r++ {
		if _, ok := f.plain[r]; !ok {
			continue
		}
		if batch = append(batch, r); len(batch) == packSize {
			flush()
		}
	}
	flush()
	return places
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
