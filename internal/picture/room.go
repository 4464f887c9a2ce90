package picture

import (
	"context"
	"runtime"
	"sync"
)

const (
	// makingMemory is what the pictures that a Cache makes at one time may take
	// together, in bytes. A single one that takes more is made alone.
	makingMemory = 200_000_000

	// largePicture is from where on, in bytes, a picture's memory is given back
	// before the next one is begun, rather than when the collector comes round:
	// it waits for as much again.
	largePicture = 100_000_000
)

// memory estimates what Make takes for an original beside its file, in bytes.
func memory(original []byte, r Recipe) (int64, error) {
	src, err := open(original)
	if err != nil {
		return 0, err
	}
	uses := r.uses()
	shrink, full := int64(src.shrink(uses)), src.upright()
	widest := int64(min(needed(full, uses), full.X))
	highest := widest * int64(full.Y) / int64(full.X)
	// The library reduces one way and then the other; the turned picture, its crop
	// and the smaller copies come to twice the widest together.
	between := 4 * (max(widest*int64(full.Y), highest*int64(full.X))/shrink + 3*widest*highest)
	return src.pixels/(shrink*shrink) + src.held + between, nil
}

// room lets in as many as fit, by size.
type room struct {
	size int64

	mu      sync.Mutex
	taken   int64
	changed chan struct{} // closed when somebody leaves
}

func newRoom(size int64) *room { return &room{size: size, changed: make(chan struct{})} }

// enter waits until there is space, or for an empty room where n is more than the
// whole. It fails only when ctx ends.
func (r *room) enter(ctx context.Context, n int64) (leave func(), err error) {
	n = min(n, r.size)
	for {
		r.mu.Lock()
		if r.taken+n <= r.size {
			r.taken += n
			r.mu.Unlock()
			return func() { r.leave(n) }, nil
		}
		changed := r.changed
		r.mu.Unlock()
		select {
		case <-changed:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
}

func (r *room) leave(n int64) {
	if n >= largePicture {
		runtime.GC()
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.taken -= n
	close(r.changed)
	r.changed = make(chan struct{})
}
