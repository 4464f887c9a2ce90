package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"time"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/picture"
)

const benchPhotos = 40

var webWidths = []struct {
	use   cleared.Use
	width int
}{{cleared.Web1600, 1600}, {cleared.Web1200, 1200}, {cleared.Web800, 800}, {cleared.Web400, 400}}

// cost is what a piece of work took.
type cost struct {
	wall, cpu time.Duration
	peak      int64 // million bytes that the process had in memory; 0 where nobody looked
}

// photosBench makes four web sizes of 40 photos, beside vipsthumbnail doing the
// same on as many processors.
func photosBench(ctx context.Context) error {
	vips, err := exec.LookPath("vipsthumbnail")
	if err != nil {
		return errors.New("vipsthumbnail is missing; install it with: apt-get install libvips-tools")
	}
	dir, err := os.MkdirTemp("", "opencowl-bench-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	fmt.Printf("drawing %d photos of %d × %d pixels\n", benchPhotos, photoWidth, photoHeight)
	photos, size, err := drawPhotos(dir)
	if err != nil {
		return err
	}
	fmt.Printf("%d million bytes each; load before the runs: %s\n\n", size/int64(len(photos))/1_000_000, load())

	all := make([]string, len(webWidths))
	for i, w := range webWidths {
		all[i] = string(w.use)
	}
	cold, err := ours(ctx, filepath.Join(dir, "four"), photos, all)
	if err != nil {
		return err
	}
	again, err := ours(ctx, filepath.Join(dir, "four"), photos, all)
	if err != nil {
		return err
	}
	one, err := ours(ctx, filepath.Join(dir, "one"), photos, all[:1])
	if err != nil {
		return err
	}
	cascade, err := theirs(ctx, vips, dir, photos, func(i int, photo, out string) (from string, width int, more bool) {
		if i >= len(webWidths) {
			return "", 0, false
		}
		from = photo
		if i > 0 {
			from = fmt.Sprintf(out, webWidths[i-1].width)
		}
		return from, webWidths[i].width, true
	})
	if err != nil {
		return err
	}
	each, err := theirs(ctx, vips, dir, photos, func(i int, photo, _ string) (string, int, bool) {
		if i >= len(webWidths) {
			return "", 0, false
		}
		return photo, webWidths[i].width, true
	})
	if err != nil {
		return err
	}
	single, err := theirs(ctx, vips, dir, photos, func(i int, photo, _ string) (string, int, bool) {
		return photo, webWidths[0].width, i == 0
	})
	if err != nil {
		return err
	}

	row := func(what string, c cost) {
		fmt.Printf("%-58s %7.2f s wall %7.2f s CPU\n", what, c.wall.Seconds(), c.cpu.Seconds())
	}
	row("four sizes", cold)
	row("the same again, nothing changed", again)
	row("one size (1600)", one)
	row("vipsthumbnail, four starts, largest to smallest", cascade)
	row("vipsthumbnail, four starts, each from the original", each)
	row("vipsthumbnail, one start (1600)", single)
	ratio := func(what string, a, b cost, budget string) {
		fmt.Printf("%-58s %7.2f of the wall %6.2f of the CPU  %s\n", what, a.wall.Seconds()/b.wall.Seconds(), a.cpu.Seconds()/b.cpu.Seconds(), budget)
	}
	fmt.Println()
	ratio("four sizes ÷ vipsthumbnail largest to smallest", cold, cascade, "(budget 1.5, aim 0.9)")
	ratio("four sizes ÷ vipsthumbnail from the original", cold, each, "")
	ratio("one size ÷ vipsthumbnail", one, single, "")
	ratio("nothing changed ÷ first run", again, cold, "(budget 0.02)")
	fmt.Printf("peak memory %d MB  (budget 600)\nload after the runs: %s\n", cold.peak, load())
	return nil
}

// ours runs this program again as photosWorker, so that its memory is its own.
func ours(ctx context.Context, out string, photos, uses []string) (cost, error) {
	self, err := os.Executable()
	if err != nil {
		return cost{}, err
	}
	start := time.Now()
	cmd := exec.CommandContext(ctx, self, append([]string{photosWorker, out, strings.Join(uses, ",")}, photos...)...)
	cmd.Stderr = os.Stderr
	said, err := cmd.Output()
	if err != nil {
		return cost{}, fmt.Errorf("making copies: %w", err)
	}
	c := cost{wall: time.Since(start)}.with(cmd)
	if _, err := fmt.Sscan(string(said), &c.peak); err != nil {
		return cost{}, fmt.Errorf("making copies: %w", err)
	}
	return c, nil
}

// with adds what an ended process took.
func (c cost) with(cmd *exec.Cmd) cost {
	c.cpu += cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
	return c
}

// photosWorker is the name of the part that makeCopies runs in.
const photosWorker = "photos-worker"

// makeCopies makes the copies of photos as clearance has them made, through one
// cache, on every processor, and prints the peak of its memory.
func makeCopies(ctx context.Context, args []string) error {
	out, uses, photos := args[0], args[1], args[2:]
	cache := picture.NewCache(out, nil)
	recipe := picture.Recipe{Alt: "a bench", Credit: "The Tuesday bench"}
	for use := range strings.SplitSeq(uses, ",") {
		recipe.Uses = append(recipe.Uses, cleared.Use(use))
	}
	if err := atOnce(photos, func(photo string) error {
		original, err := os.ReadFile(photo)
		if err != nil {
			return err
		}
		_, err = cache.Copies(ctx, original, recipe)
		return err
	}); err != nil {
		return err
	}
	peak, err := peakMemory()
	fmt.Println(peak)
	return err
}

// peakMemory is the most that this process has had in memory, in million bytes. A
// parent sees a larger figure, since a child begins as a copy of it.
func peakMemory() (int64, error) {
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0, fmt.Errorf("the peak of memory is read on Linux only: %w", err)
	}
	_, rest, _ := strings.Cut(string(status), "VmHWM:")
	var kilobytes int64
	if _, err := fmt.Sscan(rest, &kilobytes); err != nil {
		return 0, fmt.Errorf("the peak of memory: %w", err)
	}
	return kilobytes * 1024 / 1_000_000, nil
}

// atOnce works on as many items as there are processors.
func atOnce(items []string, work func(string) error) error {
	errs := make([]error, len(items))
	var wait sync.WaitGroup
	turns := make(chan struct{}, runtime.GOMAXPROCS(0))
	for i, item := range items {
		turns <- struct{}{}
		wait.Go(func() {
			errs[i] = work(item)
			<-turns
		})
	}
	wait.Wait()
	return errors.Join(errs...)
}

// theirs runs vipsthumbnail on as many photos at once as there are processors,
// with one thread each, which costs it the least. next says from what and how wide
// the i-th copy of a photo is made; out is a format for names of copies by width.
func theirs(ctx context.Context, vips, dir string, photos []string, next func(i int, photo, out string) (from string, width int, more bool)) (cost, error) {
	var mu sync.Mutex
	var sum cost
	start := time.Now()
	err := atOnce(photos, func(photo string) error {
		out := filepath.Join(dir, strings.TrimSuffix(filepath.Base(photo), ".jpg")+"-%d.jpg")
		for i := 0; ; i++ {
			from, width, more := next(i, photo, out)
			if !more {
				return nil
			}
			cmd := exec.CommandContext(ctx, vips, from, "--size", fmt.Sprintf("%dx", width), "-o", fmt.Sprintf(out, width)+"[Q=85,strip]")
			cmd.Env = append(os.Environ(), "VIPS_CONCURRENCY=1")
			if said, err := cmd.CombinedOutput(); err != nil {
				return fmt.Errorf("vipsthumbnail: %w: %s", err, said)
			}
			mu.Lock()
			sum = sum.with(cmd)
			mu.Unlock()
		}
	})
	sum.wall = time.Since(start)
	return sum, err
}

// load is how busy the machine is: the first figure should be well under the
// number of processors for the wall ratios to mean much.
func load() string {
	data, err := os.ReadFile("/proc/loadavg")
	if err != nil {
		return "unknown"
	}
	return strings.Join(strings.Fields(string(data))[:3], " ")
}
