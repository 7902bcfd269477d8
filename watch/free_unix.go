//go:build linux || darwin || freebsd || dragonfly

package watch

import "golang.org/x/sys/unix"

// Free returns how many bytes can still be written to the disk that a folder lies on, by
// a user without special rights. On a share that does not answer it waits.
func Free(dir string) (int64, error) {
	var s unix.Statfs_t
	if err := unix.Statfs(dir, &s); err != nil {
		return 0, err
	}
	return int64(uint64(s.Bavail) * uint64(s.Bsize)), nil
}
