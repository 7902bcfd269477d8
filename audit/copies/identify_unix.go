//go:build unix

package copies

import (
	"io/fs"
	"syscall"
)

// identify returns what the system distinguishes a file by.
func identify(_ string, info fs.FileInfo) identity {
	s, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return identity{}
	}
	return identity{known: true, dev: uint64(s.Dev), ino: uint64(s.Ino), changed: changedAt(s)}
}
