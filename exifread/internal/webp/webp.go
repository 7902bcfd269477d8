// Package webp finds the Exif block and the size of WebP pictures (RFC 9649).
package webp

import (
	"encoding/binary"
	"errors"
	"fmt"
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
	rd := scan.NewReader(r, size)
	head, err := rd.Peek(0, int(min(size, 12)))
	if err != nil && !errors.Is(err, scan.ErrPastEnd) {
		return layout.Layout{}, err
	}
	if !Is(head) {
		return layout.Layout{}, &scan.Error{What: "the file does not begin as a WebP picture"}
	}
	var l layout.Layout
	problem := func(where string, off int64, format string, args ...any) {
		if len(l.Problems) < 64 {
			l.Problems = append(l.Problems, layout.Problem{Where: where, Offset: off, What: fmt.Sprintf(format, args...)})
		}
	}
	l.Checked = true
	riff := int64(binary.LittleEndian.Uint32(head[4:]))
	end := min(8+riff, size)
	var (
		pictured bool // there is image data
		canvas   bool // the size is that of the whole, in VP8X
		exif     bool
		budget   scan.Budget
		at       = int64(12)
	)
	for n := 0; end-at >= 8; n++ {
		if !budget.Step() {
			problem("RIFF", at, "more than %d chunks: the rest was not read", n)
			l.Checked = l.Torn != ""
			return l, nil
		}
		peek := rd.Peek
		if n >= fewChunks {
			peek = rd.PeekShort
		}
		h, err := peek(at, 8)
		if err != nil {
			if !errors.Is(err, scan.ErrPastEnd) {
				return layout.Layout{}, err
			}
			break
		}
		kind, length, body := string(h[:4]), int64(binary.LittleEndian.Uint32(h[4:])), at+8
		have := min(length, end-body)
		// first is what a chunk begins with, at most 18 bytes.
		first, err := peek(body, int(min(have, 18)))
		if err != nil && !errors.Is(err, scan.ErrPastEnd) {
			return layout.Layout{}, err
		}
		switch kind {
		case "VP8X": // flags, three bytes, width and height less one
			if len(first) >= 10 {
				canvas = true
				l.Width, l.Height = 1+uint24(first[4:]), 1+uint24(first[7:])
			}
		case "VP8 ": // RFC 6386 section 9.1: three bytes, start code, sizes with a scale in the top bits
			pictured = true
			if !canvas && len(first) >= 10 && string(first[3:6]) == "\x9d\x01\x2a" {
				l.Width = uint32(binary.LittleEndian.Uint16(first[6:])) & 0x3FFF
				l.Height = uint32(binary.LittleEndian.Uint16(first[8:])) & 0x3FFF
			}
		case "VP8L": // RFC 9649 section 3.4: signature, 14 bits each of width and height less one
			pictured = true
			if !canvas && len(first) >= 5 && first[0] == 0x2F {
				v := binary.LittleEndian.Uint32(first[1:])
				l.Width, l.Height = 1+v&0x3FFF, 1+v>>14&0x3FFF
			}
		case "ANMF":
			pictured = true
		case "EXIF":
			if exif {
				break // the first holds
			}
			skip := scan.TIFFStart(first)
			if skip < 0 {
				problem("EXIF chunk", body, "no Exif data where it should be")
				break
			}
			if have < length {
				problem("EXIF chunk", body, "%s", scan.Cut("Exif data", length-have, length))
			}
			exif = true
			l.Blocks = append(l.Blocks, layout.Block{Offset: body + int64(skip), Length: have - int64(skip)})
		}
		if pictured && length > size-body && l.Torn == "" && kind != "EXIF" {
			l.Torn = scan.Missing("image data", body, length, size)
		}
		at = body + length + length&1 // chunks begin at even places
	}
	// Some writers omit the padding of an odd last chunk, or count the header of
	// the file in: fewer bytes than a chunk's own header hold no image data.
	if l.Torn == "" && 8+riff > size && (at < size || 8+riff-size > 8) {
		l.Torn = scan.Missing("content", 8, riff, size)
	}
	if !pictured && l.Torn == "" {
		l.Torn = "the file holds no image data"
	}
	return l, nil
}

func uint24(b []byte) uint32 { return uint32(b[0]) | uint32(b[1])<<8 | uint32(b[2])<<16 }
