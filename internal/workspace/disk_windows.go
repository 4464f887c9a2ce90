package workspace

import (
	"errors"
	"syscall"
)

// Windows: ERROR_HANDLE_DISK_FULL and ERROR_DISK_FULL.
func isFull(err error) bool {
	return errors.Is(err, syscall.Errno(39)) || errors.Is(err, syscall.Errno(112))
}

// syncDir does nothing: Windows cannot sync a folder, and NTFS journals renames.
func syncDir(string) error { return nil }
