package exifread

import (
	"errors"
	"fmt"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
)

// A FormatError means that a file's content is damaged beyond use.
type FormatError struct {
	Format  Format // what the content is probably; FormatUnknown where like nothing
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

// An UnsupportedError means that the content is a sound file of a kind that is
// not read.
type UnsupportedError struct {
	What string // for example "GIF picture"
}

// Error names the kind of file.
func (e *UnsupportedError) Error() string { return e.What + " is not read" }

// ErrNotPicture means that the content is of no known picture format.
var ErrNotPicture = errors.New("the content is no picture of a known format")

// ErrShrunk means that a file had fewer bytes when it was read than its size
// promised: it was cut short or emptied meanwhile. What was read of it is no
// whole.
var ErrShrunk = errors.New("the file became shorter while it was read")

// A PanicError means that the program itself failed at a file. It is a fault of
// the program, not of the file, and nothing that was read of the file counts.
type PanicError struct {
	Cause string // the message of the program, in printable ASCII
	Place string // the source file and line where it failed; empty where unknown
}

// Error asks for a report and reports what is needed for one.
func (e *PanicError) Error() string {
	place := ""
	if e.Place != "" {
		place = " at " + e.Place
	}
	return fmt.Sprintf("the program failed here, please report it (%s%s)", e.Cause, place)
}

// Recovered turns a panic into the error of the function that defers it, a
// *[PanicError]. It is for every place where a fault of the program at one file, one
// sequence or one rule must not end the whole.
func Recovered(err *error) {
	if v := recover(); v != nil {
		*err = Failure(v)
	}
}

// Failure returns the error for the value of a panic. It is called by the function
// that recovered it, while that is deferred: afterwards the place is not known.
func Failure(v any) *PanicError {
	// A cause may quote the file, whose bytes must not reach a terminal.
	cause := fmt.Sprintf("%+q", fmt.Sprint(v))
	return &PanicError{Cause: cause[1 : len(cause)-1], Place: panicked()}
}

// panicked returns where the panic that is being recovered began: the first
// frame that is not the runtime's, before those that deal with it.
func panicked() string {
	pc := make([]uintptr, 64)
	frames := runtime.CallersFrames(pc[:runtime.Callers(2, pc)])
	begun := false
	for {
		f, more := frames.Next()
		switch {
		case f.Function == "runtime.gopanic":
			begun = true
		case begun && f.Function != "" && !strings.HasPrefix(f.Function, "runtime."):
			return fmt.Sprintf("%s:%d", filepath.Base(f.File), f.Line)
		}
		if !more {
			return ""
		}
	}
}

// count prints a number of things: "1 byte", "12,000 bytes".
func count(n int64, thing string) string {
	s := strconv.FormatInt(n, 10)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	if n == 1 {
		return s + " " + thing
	}
	return s + " " + thing + "s"
}
