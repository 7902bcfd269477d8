package watch

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"golang.org/x/sys/windows"
)

// silent returns a name for dir's file system if it does not send an event for
// every change, else "".
func silent(dir string) string {
	full, err := filepath.Abs(dir)
	if err != nil {
		return ""
	}
	volume, err := windows.UTF16PtrFromString(filepath.VolumeName(full) + `\`)
	if err == nil && windows.GetDriveType(volume) == windows.DRIVE_REMOTE {
		return "a network drive"
	}
	return ""
}

const openRead = os.O_RDONLY

// sameDevice reports whether two folders are on one device. Windows does not
// show without opening them; a folder on another volume is rare.
func sameDevice(_, _ fs.FileInfo) bool { return true }

// inUse reports whether an error means that another program holds the file open
// for itself, as one that copies does.
func inUse(err error) bool {
	return errors.Is(err, windows.ERROR_SHARING_VIOLATION) || errors.Is(err, windows.ERROR_LOCK_VIOLATION)
}

// atLimit reports whether an error means that the system grants no more watches
// or open files. No such limit is known here.
func atLimit(error) bool { return false }
