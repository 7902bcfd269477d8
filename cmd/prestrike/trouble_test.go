package main

import (
	"fmt"
	"io/fs"
	"os"
	"syscall"
	"testing"
)

// An error of the system is reported without its call, and with what to do about it.
func TestNotWritten(t *testing.T) {
	for _, c := range []struct {
		err  error
		want string
	}{
		{&fs.PathError{Op: "open", Path: "set/x", Err: syscall.EACCES}, "cannot write set/x: permission denied: allow it"},
		{fmt.Errorf("mkdir: %w", &fs.PathError{Op: "mkdirat", Path: "x", Err: syscall.ENOSPC}), "cannot write set/x: no space left on device: make room on the disk, or name a place on another"},
		{&os.LinkError{Op: "rename", Old: "a", New: "b", Err: syscall.EROFS}, "cannot write set/x: read-only file system: name another"},
	} {
		if got := notWritten("set/x", c.err, "name another", "allow it").Error(); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}
