// Command bench measures the product against its yardsticks and prints ratios. It
// decides nothing: no test looks at a clock.
package main

import (
	"context"
	"fmt"
	"os"
	"runtime"
)

func main() {
	benches := map[string]func(context.Context) error{"archive": archiveBench, "cards": cardsBench, "clearance": clearanceBench, "members": membersBench, "photos": photosBench, "plan": planBench}
	workers := map[string]func(context.Context, []string) error{photosWorker: makeCopies, cardsWorker: printCards, archiveWhole: runArchiveWhole, archiveBuild: runArchiveBuild}
	if len(os.Args) > 3 && workers[os.Args[1]] != nil {
		if err := workers[os.Args[1]](context.Background(), os.Args[2:]); err != nil {
			fmt.Fprintln(os.Stderr, "bench:", err)
			os.Exit(1)
		}
		return
	}
	if len(os.Args) != 2 || benches[os.Args[1]] == nil {
		fmt.Fprintln(os.Stderr, "usage: scripts/bench archive|cards|clearance|members|photos|plan")
		os.Exit(2)
	}
	fmt.Printf("%s %s/%s, %d processors\n", runtime.Version(), runtime.GOOS, runtime.GOARCH, runtime.NumCPU())
	if err := benches[os.Args[1]](context.Background()); err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
}
