//go:build !unix && !windows

package watch

import (
	"io/fs"
	"os"
)

// sameDevice reports whether two folders are on one device, which is not known here.
func sameDevice(_, _ fs.FileInfo) bool { return true }

// inUse reports whether an error means that another program holds the file open
// for itself, which is not known here.
func inUse(error) bool { return false }

// atLimit reports whether an error means that the system grants no more watches
// or open files. No such limit is known here.
func atLimit(error) bool { return false }

const openRead = os.O_RDONLY
