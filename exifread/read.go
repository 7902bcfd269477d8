package exifread

import (
	"errors"
	"fmt"
)

// A FormatError says that a file's content is damaged beyond use.
type FormatError struct {
	Format  Format // what the content looked like; FormatUnknown where like nothing
	Offset  int64  // bytes from the start of the file
	Problem string // what is wrong, in plain words
}

// Error names the format, the problem and the place.
func (e *FormatError) Error() string {
	if e.Format == FormatUnknown {
		return e.Problem
	}
	return fmt.Sprintf("%s: %s (at byte %d)", e.Format, e.Problem, e.Offset)
}

// An UnsupportedError says that the content is a sound file of a kind that is
// not read.
type UnsupportedError struct {
	What string // for example "GIF picture"
}

// Error names the kind of file.
func (e *UnsupportedError) Error() string { return e.What + " is not read" }

// ErrNotPicture says that the content is of no known picture format.
var ErrNotPicture = errors.New("the content is no picture of a known format")
