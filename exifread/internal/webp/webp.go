// Package webp finds the Exif block and the size of WebP pictures (RFC 9649).
package webp

import (
	"encoding/binary"
	"errors"
	"io"

	"prestrike/exifread/internal/layout"
	"prestrike/exifread/internal/scan"
)

// fewChunks is how many chunks are walked with reading ahead. An animation has
// one chunk a frame, far apart.
const fewChunks = 256

// Is reports whether a file begins as a WebP picture does; twelve bytes are
// enough.
func Is(head []byte) bool {
	return len(head) >= 12 && string(head[:4]) == "RIFF" && string(head[8:12]) == "WEBP"
}

// Scan finds what a WebP file holds. The error is a *scan.Error where the
// container is damaged beyond use, else that of the reader.
func Scan(r io.ReaderAt, size int64) (layout.Layout, error) {
	s := &scanner{r: scan.NewReader(r, size)}
	head, err := s.r.Peek(0, int(min(size, 12)))
	if err != nil && !errors.Is(err, scan.ErrPastEnd) {
		return layout.Layout{}, err
	}
	if !Is(head) {
		return layout.Layout{}, &scan.Error{What: "the file does not begin as a WebP picture"}
	}
	riff := int64(binary.LittleEndian.Uint32(head[4:]))
	at, whole, err := s.chunks(min(8+riff, size))
	switch {
	case err != nil:
		return layout.Layout{}, err
	case !whole:
		s.l.Checked = s.l.Torn != ""
		return s.l, nil
	}
	s.l.Checked = true
	// Some writers omit the padding of an odd last chunk, or count the header of
	// the file in: fewer bytes than a chunk's own header hold no image data.
	if s.l.Torn == "" && 8+riff > size && (at < size || 8+riff-size > 8) {
		s.l.Torn = scan.Missing("content", 8, riff, size)
	}
	if !s.pictured && s.l.Torn == "" {
		s.l.Torn = "the file holds no image data"
	}
	return s.l, nil
}

type scanner struct {
	r        *scan.Reader
	l        layout.Layout
	pictured bool // there is image data
	canvas   bool // the size is that of the whole, in VP8X
	exif     bool
}

// chunks walks the chunks up to end. It returns where it came to, and whether
// it did not stop before.
func (s *scanner) chunks(end int64) (at int64, whole bool, err error) {
	var budget scan.Budget
	at = 12
	for n := 0; end-at >= 8; n++ {
		if !budget.Step() {
			s.l.AddProblem("RIFF", at, "more than %d chunks: the rest was not read", n)
			return at, false, nil
		}
		peek := s.r.Peek
		if n >= fewChunks {
			peek = s.r.PeekShort
		}
		h, err := peek(at, 8)
		if errors.Is(err, scan.ErrPastEnd) {
			break
		}
		if err != nil {
			return at, false, err
		}
		kind, length, body := string(h[:4]), int64(binary.LittleEndian.Uint32(h[4:])), at+8
		have := min(length, end-body)
		// first is what a chunk begins with, at most 18 bytes.
		first, err := peek(body, int(min(have, 18)))
		if err != nil && !errors.Is(err, scan.ErrPastEnd) {
			return at, false, err
		}
		if kind == "EXIF" {
			s.exifChunk(body, length, have, first)
		} else {
			s.picture(kind, first)
			if s.pictured && s.l.Torn == "" {
				s.l.Torn = scan.Missing("image data", body, length, s.r.Size())
			}
		}
		at = body + length + length&1 // chunks begin at even places
	}
	return at, true, nil
}

// picture takes from a chunk that begins with first what it records of the picture.
func (s *scanner) picture(kind string, first []byte) {
	switch kind {
	case "VP8X": // flags, three bytes, width and height less one
		if len(first) >= 10 {
			s.canvas = true
			s.l.Width, s.l.Height = 1+uint24(first[4:]), 1+uint24(first[7:])
		}
	case "VP8 ": // RFC 6386 section 9.1: three bytes, start code, sizes with a scale in the top bits
		s.pictured = true
		if !s.canvas && len(first) >= 10 && string(first[3:6]) == "\x9d\x01\x2a" {
			s.l.Width = uint32(binary.LittleEndian.Uint16(first[6:])) & 0x3FFF
			s.l.Height = uint32(binary.LittleEndian.Uint16(first[8:])) & 0x3FFF
		}
	case "VP8L": // RFC 9649 section 3.4: signature, 14 bits each of width and height less one
		s.pictured = true
		if !s.canvas && len(first) >= 5 && first[0] == 0x2F {
			v := binary.LittleEndian.Uint32(first[1:])
			s.l.Width, s.l.Height = 1+v&0x3FFF, 1+v>>14&0x3FFF
		}
	case "ANMF":
		s.pictured = true
	}
}

// exifChunk adds the block of an EXIF chunk of length bytes, of which have are
// there. The first chunk holds.
func (s *scanner) exifChunk(body, length, have int64, first []byte) {
	if s.exif {
		return
	}
	skip := scan.TIFFStart(first)
	if skip < 0 {
		s.l.AddProblem("EXIF chunk", body, "no Exif data where it should be")
		return
	}
	if have < length {
		s.l.AddProblem("EXIF chunk", body, "%s", scan.Cut("Exif data", length-have, length))
	}
	s.exif = true
	s.l.Blocks = append(s.l.Blocks, layout.Block{Offset: body + int64(skip), Length: have - int64(skip)})
}

func uint24(b []byte) uint32 { return uint32(b[0]) | uint32(b[1])<<8 | uint32(b[2])<<16 }
