//go:build unix

package watch

import (
	"errors"
	"io/fs"
	"syscall"
)

// openRead opens a file without waiting: a pipe that took the file's place would
// make open wait for its writer.
const openRead = syscall.O_RDONLY | syscall.O_NONBLOCK

// sameDevice reports whether two folders are on one device.
func sameDevice(a, b fs.FileInfo) bool {
	if a == nil || b == nil {
		return true
	}
	x, ok := a.Sys().(*syscall.Stat_t)
	y, ok2 := b.Sys().(*syscall.Stat_t)
	return !ok || !ok2 || x.Dev == y.Dev
}

// inUse reports whether an error means that another program holds the file open
// for itself, which Unix does not do.
func inUse(error) bool { return false }

// atLimit reports whether an error means that the system grants no more watches
// or open files.
func atLimit(err error) bool {
	return errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EMFILE) || errors.Is(err, syscall.ENFILE)
}
