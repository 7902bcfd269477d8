// Package scan has what the container readers share: reading a file in a few
// windows, finding the TIFF header of an Exif block, and the sentence that
// reports how much of a file is missing.
package scan

import (
	"bytes"
	"errors"
	"fmt"
	"io"
)

// window is how much is read ahead: enough for the directories of a container
// in one or two reads, little enough that ten of them stay under 64 KiB.
const window = 4096

// An Error means that a container is damaged beyond use.
type Error struct {
	Offset int64  // bytes from the start of the file
	What   string // in plain words
}

// Error gives the problem and the place.
func (e *Error) Error() string { return fmt.Sprintf("%s (at byte %d)", e.What, e.Offset) }

// ErrPastEnd means that bytes were asked for that the file does not have.
var ErrPastEnd = errors.New("past the end of the file")

// A Reader reads small pieces of a file through one window of memory.
// Pieces that lie close together cost one read.
type Reader struct {
	r     io.ReaderAt
	size  int64
	buf   [window]byte
	start int64 // where buf begins in the file
	n     int   // how much of buf is filled
}

// NewReader returns a Reader of the first size bytes of r.
func NewReader(r io.ReaderAt, size int64) *Reader { return &Reader{r: r, size: size} }

// Size returns the size of the file.
func (r *Reader) Size() int64 { return r.size }

// Peek returns n bytes (at most 4096) at off, valid until the next call.
// The error is ErrPastEnd where the file ends before, or that of the reader.
func (r *Reader) Peek(off int64, n int) ([]byte, error) { return r.peek(off, n, window) }

// PeekShort is Peek without reading ahead, for places that are far apart.
func (r *Reader) PeekShort(off int64, n int) ([]byte, error) { return r.peek(off, n, n) }

func (r *Reader) peek(off int64, n, ahead int) ([]byte, error) {
	if off < 0 || off > r.size-int64(n) {
		return nil, ErrPastEnd
	}
	if off < r.start || off+int64(n) > r.start+int64(r.n) {
		b := r.buf[:min(int64(max(n, ahead)), r.size-off)]
		r.start, r.n = off, 0 // nothing is held should the read fail
		if err := ReadFull(r.r, b, off); err != nil {
			return nil, err
		}
		r.n = len(b)
	}
	return r.buf[off-r.start:][:n], nil
}

// Load returns n bytes at off in memory of their own. The caller bounds n.
func (r *Reader) Load(off int64, n int) ([]byte, error) {
	if off < 0 || off > r.size-int64(n) {
		return nil, ErrPastEnd
	}
	b := make([]byte, n)
	if off >= r.start && off+int64(n) <= r.start+int64(r.n) {
		copy(b, r.buf[off-r.start:])
		return b, nil
	}
	return b, ReadFull(r.r, b, off)
}

// Pieces is a Reader for scanners that go on where a piece lies past the end of the
// file: they get nil for it. An error of the medium ends the scan.
type Pieces struct {
	*Reader
	Err error // the first of the medium
}

// NewPieces returns the Pieces of the first size bytes of r.
func NewPieces(r io.ReaderAt, size int64) *Pieces { return &Pieces{Reader: NewReader(r, size)} }

// Peek is that of the Reader.
func (p *Pieces) Peek(off int64, n int) []byte { return p.keep(p.Reader.Peek(off, n)) }

// PeekShort is that of the Reader.
func (p *Pieces) PeekShort(off int64, n int) []byte { return p.keep(p.Reader.PeekShort(off, n)) }

// Load is that of the Reader.
func (p *Pieces) Load(off int64, n int) []byte { return p.keep(p.Reader.Load(off, n)) }

func (p *Pieces) keep(b []byte, err error) []byte {
	if err == nil {
		return b
	}
	if !errors.Is(err, ErrPastEnd) && p.Err == nil {
		p.Err = err
	}
	return nil
}

// ReadFull fills b. A file that has become shorter than its size is past its
// end; other errors are those of the medium.
func ReadFull(r io.ReaderAt, b []byte, off int64) error {
	n, err := r.ReadAt(b, off)
	switch {
	case n == len(b):
		return nil
	case err == nil || errors.Is(err, io.EOF):
		return ErrPastEnd
	default:
		return err
	}
}

// TIFFStart returns where in b a TIFF header begins: at its start, or behind
// the six bytes that mark Exif in JPEG, which some writers keep elsewhere too.
// It returns -1 where there is none.
func TIFFStart(b []byte) int {
	at := 0
	if bytes.HasPrefix(b, []byte("Exif\x00")) && len(b) > 6 {
		at = 6
	}
	if bytes.HasPrefix(b[at:], []byte("II*\x00")) || bytes.HasPrefix(b[at:], []byte("MM\x00*")) {
		return at
	}
	return -1
}

// Lack returns how many bytes of a piece of length bytes at off lie past the
// end of a file of size bytes.
func Lack(off, length, size int64) int64 {
	switch {
	case length <= 0 || off <= size && length <= size-off:
		return 0
	case off < size:
		return length - (size - off)
	default:
		return length
	}
}

// Missing is Cut for a piece of length bytes at off in a file of size bytes,
// and empty where the piece is all there.
func Missing(what string, off, length, size int64) string {
	if lack := Lack(off, length, size); lack > 0 {
		return Cut(what, lack, length)
	}
	return ""
}

// Cut is the sentence for a piece of a file, of length bytes, of which missing
// bytes are missing.
func Cut(what string, missing, length int64) string {
	if missing == length {
		return fmt.Sprintf("the file ends before its %s: all %s missing", what, bytesIn(missing))
	}
	return fmt.Sprintf("the file ends before its %s does: %s of %s missing", what, bytesIn(missing), bytesIn(length))
}

// bytesIn prints a number of bytes as a person would write it.
func bytesIn(n int64) string {
	switch {
	case n < 10_000:
		if n == 1 {
			return "1 byte"
		}
		return fmt.Sprintf("%d bytes", n)
	case n < 1_000_000:
		return fmt.Sprintf("%.0f kB", float64(n)/1e3)
	case n < 1e12:
		return fmt.Sprintf("%.1f MB", float64(n)/1e6)
	default:
		return "more than 1 TB"
	}
}
