//go:build darwin || freebsd || dragonfly

package watch

import "golang.org/x/sys/unix"

// silent returns a name for dir's file system if it does not send an event for
// every change, else "".
func silent(dir string) string {
	var s unix.Statfs_t
	if unix.Statfs(dir, &s) != nil {
		return "" // it cannot be read; whoever lists it will report that
	}
	if s.Flags&unix.MNT_LOCAL != 0 {
		return ""
	}
	return "a file system that is not local"
}
