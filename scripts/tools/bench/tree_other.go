//go:build !linux

package main

import (
	"errors"
	"time"
)

func adoptOrphans() error {
	return errors.New("the time of a browser's processes is counted on Linux only")
}

func orphansTime() (time.Duration, error) { return 0, nil }
