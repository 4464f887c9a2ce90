// Command opencowl turns a restoration workshop's log into what the public may
// read: tour-stop cards, a weekly update for members, and an archive.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	"time"
	_ "time/tzdata" // time zones on machines that have none, such as Windows

	"example.org/opencowl/internal/cli"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second signal ends the process at once
	code := cli.Run(ctx, os.Args[1:], cli.Streams{In: os.Stdin, Out: os.Stdout, Err: os.Stderr}, time.Now)
	stop()
	os.Exit(code)
}
