//go:build !linux && !darwin && !freebsd && !dragonfly && !windows

package watch

import "errors"

// Free returns how many bytes can still be written to the disk that a folder lies on,
// which is not known here.
func Free(string) (int64, error) { return 0, errors.ErrUnsupported }
