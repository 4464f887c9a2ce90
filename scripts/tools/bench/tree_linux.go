package main

import (
	"errors"
	"fmt"
	"syscall"
	"time"
)

// adoptOrphans makes this process the parent of whatever the programs that it
// starts leave behind: a browser does most of its work in processes that it does
// not wait for (prctl(2), PR_SET_CHILD_SUBREAPER).
func adoptOrphans() error {
	const setChildSubreaper = 36
	if _, _, failure := syscall.RawSyscall(syscall.SYS_PRCTL, setChildSubreaper, 1, 0); failure != 0 {
		return fmt.Errorf("orphaned processes cannot be adopted, so that their time would not count: %w", failure)
	}
	return nil
}

// orphansTime waits for what was left behind, and returns the processor time it took.
func orphansTime() (time.Duration, error) {
	var sum time.Duration
	for {
		var used syscall.Rusage
		_, err := syscall.Wait4(-1, nil, 0, &used)
		switch {
		case errors.Is(err, syscall.ECHILD):
			return sum, nil
		case errors.Is(err, syscall.EINTR):
		case err != nil:
			return sum, err
		default:
			sum += time.Duration(used.Utime.Nano() + used.Stime.Nano())
		}
	}
}
