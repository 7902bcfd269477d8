package shoot

import (
	"path"
	"slices"
	"strings"
	"time"

	"prestrike/exifread"
)

// A File is one picture file as it was found and read.
type File struct {
	Path string // relative to the audited folder, with forward slashes; hostile text
	Abs  string // where to open it
	Size int64  // bytes
	// Meta is what was read; never nil, empty where nothing could be read.
	Meta *exifread.Metadata
	// Err reports why no picture can be read from the file; nil where one can.
	Err error
	// Unfinished is true where the file does not read well, or does not show whether
	// it does, and was changed so lately that more of it may still come.
	Unfinished bool

	sum []byte // SHA-256 of the content, once it was asked for
}

// Name returns the file's base name.
func (f *File) Name() string { return path.Base(f.Path) }

// A Frame is one exposure: one file, or a raw file with the JPEG or HEIF of
// the same folder and stem.
type Frame struct {
	Files []*File // raw first, then by path; never empty
	Body  *Body   // never nil
	// Number is the file number.
	Number Number
	// Time is when the frame was made, by the body's wall clock (in UTC
	// whatever its zone; shifted to the zone of the body's first frame where
	// every frame of the body records its zone, and to the clock that [Body.Clock]
	// names). Zero where not recorded.
	Time time.Time
	// Resolution is the step of that clock, 1 s without sub-seconds.
	Resolution time.Duration
	// Placed is true where the frame records no time and has its place
	// for its number.
	Placed bool
	// Copies are frames that hold this exposure again, under another name or in
	// another folder, as found by the moment and the settings that they record. They stand
	// in no sequence.
	Copies []*Frame

	meta *exifread.Metadata
	// clockError is how far the body's clock was ahead beyond what its zone explains.
	clockError time.Duration
}

// Zone returns the offset from UTC of the zone in which Time is given; not known where
// the frame records none.
func (f *Frame) Zone() exifread.Value[time.Duration] {
	recorded, ok := f.zone()
	if !ok {
		return exifread.Value[time.Duration]{}
	}
	at, _ := f.meta.Captured.Get()
	return exifread.Of(recorded + f.Time.Add(f.clockError).Sub(at.Wall))
}

// Meta returns what the frame's best file recorded: the raw file's, or the
// other's where the raw file could not be read. Never nil.
func (f *Frame) Meta() *exifread.Metadata { return f.meta }

// Timed reports whether the frame records when it was made.
func (f *Frame) Timed() bool { return !f.Time.IsZero() }

// Path returns the path of the frame's first file.
func (f *Frame) Path() string { return f.Files[0].Path }

// Name returns the base name of the frame's first file.
func (f *Frame) Name() string { return f.Files[0].Name() }

// Named reports whether a name, or the end of a path, is that of one of the frame's files.
func (f *Frame) Named(name string) bool {
	return slices.ContainsFunc(f.Files, func(file *File) bool {
		return file.Path == name || strings.HasSuffix(file.Path, "/"+name)
	})
}

// Readable reports whether a picture can be read from any of the frame's files.
func (f *Frame) Readable() bool {
	for _, file := range f.Files {
		if file.Err == nil {
			return true
		}
	}
	return false
}

// HasRaw reports whether one of the frame's files is raw, by its content, or
// by its name where the content cannot be read.
func (f *Frame) HasRaw() bool {
	for _, file := range f.Files {
		if file.Raw() {
			return true
		}
	}
	return false
}

// A Number is the number in a frame's file name.
type Number struct {
	Known  bool
	N      int // as in the name: 1 to 9999 in DCF names
	Digits int // digits of the name's number, leading zeros included
	// Count runs on where the number rolls over: the frame after 9999 has
	// Count 10000 where N is 1 again. Counts compare within one Series.
	Count int
	// Series names the run of names that count together.
	Series string
	// Reversed is true where the names count down while time goes on. Count then
	// rises with time all the same.
	Reversed bool
}

// A Body is one camera body of a session.
type Body struct {
	Make, Model, Serial string // as recorded, trimmed; empty where not recorded
	// Index distinguishes bodies that record the same: 0, or 1, 2, ... where
	// two bodies of one model without serial numbers were separated by
	// their file numbers.
	Index int
	// Clock is how far its clock was ahead of the one that the times of the shoot are
	// given by.
	Clock ClockOffset
}
