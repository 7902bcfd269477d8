// Package safefile opens files that anyone may have put there, and writes files
// whole or not at all. Reading never waits for another program, as opening a pipe
// would, and never reads on without an end, as from a device.
package safefile

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
)

// ErrNotRegular means that a name belongs to something other than an ordinary
// file: a folder, a link, a pipe, a socket or a device.
var ErrNotRegular = errors.New("not an ordinary file")

// Open opens an ordinary file for reading. A link to an ordinary file is followed.
// Errors are *fs.PathError; anything else than an ordinary file is [ErrNotRegular].
func Open(path string) (*os.File, error) {
	// Inspected first, as opening a device may already do something.
	if info, err := os.Stat(path); err != nil {
		return nil, err
	} else if !info.Mode().IsRegular() {
		return nil, &fs.PathError{Op: "open", Path: path, Err: ErrNotRegular}
	}
	f, _, err := OpenListed(path)
	return f, err
}

// OpenListed is [Open] for a name that was listed as an ordinary file a moment ago: it
// is not inspected before it is opened, which a folder of thousands of frames feels. It
// returns what the system knows of the file too.
func OpenListed(path string) (*os.File, fs.FileInfo, error) {
	f, err := os.OpenFile(path, os.O_RDONLY|noWait, 0)
	if err != nil {
		return nil, nil, err
	}
	return checked(f, path, nil)
}

// OpenIn opens an ordinary file in a folder for reading. No link is followed.
// Errors are as those of [Open].
func OpenIn(root *os.Root, name string) (*os.File, error) {
	info, err := root.Lstat(name)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, &fs.PathError{Op: "open", Path: name, Err: ErrNotRegular}
	}
	f, err := root.OpenFile(name, os.O_RDONLY|noWait, 0)
	if err != nil {
		return nil, err
	}
	f, _, err = checked(f, name, info)
	return f, err
}

// checked closes f again where it is no ordinary file, or not the one that was
// inspected before: another may have taken its place.
func checked(f *os.File, path string, before fs.FileInfo) (*os.File, fs.FileInfo, error) {
	info, err := f.Stat()
	if err == nil && (!info.Mode().IsRegular() || before != nil && !os.SameFile(before, info)) {
		err = &fs.PathError{Op: "open", Path: path, Err: ErrNotRegular}
	}
	if err != nil {
		_ = f.Close() // nothing was written
		return nil, nil, err
	}
	return f, info, nil
}

// A TooLargeError means that a file holds more than is read.
type TooLargeError struct {
	Limit int64 // bytes
}

// Error names the limit.
func (e *TooLargeError) Error() string {
	if e.Limit%(1<<20) == 0 {
		return fmt.Sprintf("the file is larger than %d MiB", e.Limit>>20)
	}
	return fmt.Sprintf("the file is larger than %d bytes", e.Limit)
}

// ReadAll reads what is left of a file, and returns a [*TooLargeError] where that
// is more than limit bytes.
func ReadAll(f *os.File, limit int64) ([]byte, error) {
	// A file may grow while it is read, and claim any size.
	content, err := io.ReadAll(io.LimitReader(f, limit+1))
	if err == nil && int64(len(content)) > limit {
		return nil, &TooLargeError{limit}
	}
	return content, err
}
