// Package layout is what every container reader hands to exifread: where the
// Exif blocks, the previews and the image data of a file are. It knows no tag.
package layout

import "fmt"

// A Layout is where a container keeps what exifread is after.
type Layout struct {
	Blocks        []Block   // TIFF structures, in the order they are to be read
	Width, Height uint32    // pixels of the main image as stored; 0 where the container does not record it
	Previews      []Preview // embedded JPEG pictures that the container itself points to
	// Checked is true where the container records enough to know whether the image
	// data is whole; Torn is then empty, or what was seen.
	Checked  bool
	Torn     string
	Problems []Problem
}

// maxProblems is how many problems of one file are noted.
const maxProblems = 64

// AddProblem notes one thing that could not be read, in the words of fmt.Sprintf.
func (l *Layout) AddProblem(where string, offset int64, format string, args ...any) {
	if len(l.Problems) < maxProblems {
		l.Problems = append(l.Problems, Problem{Where: where, Offset: offset, What: fmt.Sprintf(format, args...)})
	}
}

// A Block is one TIFF structure (II or MM header and directories).
type Block struct {
	Role           Role
	Offset, Length int64  // of the header, bytes from the start of the file
	Data           []byte // the block itself where the file stores it compressed; Offset and Length then do not matter
}

// A Role is what the first directory of a block holds.
type Role uint8

const (
	RoleMain Role = iota // IFD0, with pointers to the others
	RoleExif             // the Exif IFD itself
)

// A Preview is the place of an embedded JPEG picture.
type Preview struct {
	Offset, Length int64
	Width, Height  int
}

// A Problem is one thing that could not be read.
type Problem struct {
	Where  string
	Offset int64
	What   string
}
