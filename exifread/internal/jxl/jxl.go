// Package jxl finds the Exif block and the size of JPEG XL pictures: the
// container of ISO/IEC 18181-2 and the bare codestream of ISO/IEC 18181-1.
package jxl

import (
	"bytes"
	"encoding/binary"
	"io"
	"math"

	"github.com/andybalholm/brotli"

	"prestrike/exifread/internal/layout"
	"prestrike/exifread/internal/scan"
)

const maxBoxes = 4096

const signature = "\x00\x00\x00\x0cJXL \r\n\x87\n"

// Is reports whether a file begins as a JPEG XL picture does; twelve bytes
// are enough.
func Is(head []byte) bool {
	return bytes.HasPrefix(head, []byte(signature)) || bytes.HasPrefix(head, []byte{0xFF, 0x0A})
}

// Scan finds what a JPEG XL file holds. The error is a *scan.Error where the
// container is damaged beyond use, else that of the reader.
func Scan(r io.ReaderAt, size int64) (layout.Layout, error) {
	s := &scanner{r: scan.NewPieces(r, size)}
	head := s.r.Peek(0, int(min(size, 12)))
	switch {
	case s.r.Err != nil:
	case bytes.HasPrefix(head, []byte{0xFF, 0x0A}):
		s.codestream(s.r.Peek(0, int(min(size, 16))))
	case !bytes.HasPrefix(head, []byte(signature)):
		return layout.Layout{}, &scan.Error{What: "the file does not begin as a JPEG XL picture"}
	default:
		s.container()
		if s.r.Err == nil && !s.pictured {
			if s.l.Torn == "" {
				return layout.Layout{}, &scan.Error{Offset: size, What: "the file ends before its picture"}
			}
		}
	}
	if s.r.Err != nil {
		return layout.Layout{}, s.r.Err
	}
	s.l.Checked = s.l.Checked || s.l.Torn != ""
	return s.l, nil
}

type scanner struct {
	r        *scan.Pieces
	l        layout.Layout
	budget   scan.Budget
	pictured bool // codestream was seen
}

func (s *scanner) torn(why string) {
	if s.l.Torn == "" {
		s.l.Torn = why
	}
}

// container walks the boxes of the container.
func (s *scanner) container() {
	size := s.r.Size()
	at := int64(len(signature))
	parts, last := 0, false // of a codestream in parts
	exif := false
	for n := 0; size-at >= 8 && s.r.Err == nil; n++ {
		if n == maxBoxes {
			s.l.AddProblem("file", at, "more than %d boxes: the rest was not read", maxBoxes)
			return
		}
		h := s.r.Peek(at, 8)
		if h == nil {
			return
		}
		kind, length, body := string(h[4:8]), int64(binary.BigEndian.Uint32(h)), at+8
		open := length == 0 // the last box may leave its size open
		switch length {
		case 0:
			if kind == "\x00\x00\x00\x00" {
				return // padding
			}
			length = size - at
		case 1:
			long := uint64(math.MaxUint64)
			if h = s.r.Peek(at, 16); h != nil {
				long = binary.BigEndian.Uint64(h[8:])
			}
			if long > math.MaxInt64 {
				s.l.AddProblem("file", at, "box %+q states an impossible size", kind)
				return
			}
			length, body = int64(long), at+16
		}
		if length < body-at {
			s.l.AddProblem("file", at, "box %+q states a size of %d bytes, less than its own header", kind, length)
			return
		}
		end := size
		if length < size-at {
			end = at + length
		}
		missing := scan.Missing("image data", body, length-(body-at), size)
		switch kind {
		case "jxlc":
			s.pictured = true
			s.l.Checked = !open
			s.torn(missing)
			s.codestream(s.r.Peek(body, int(min(end-body, 16))))
		case "jxlp": // four bytes with the number of the part, the top bit set on the last
			if h := s.r.Peek(body, int(min(end-body, 20))); len(h) >= 4 {
				index := binary.BigEndian.Uint32(h)
				last = last || index>>31 != 0
				if parts == 0 {
					s.codestream(h[4:])
				}
			}
			parts++
			s.pictured = true
			s.l.Checked = !open
			s.torn(missing)
		case "Exif":
			if !exif {
				exif = s.exif(body, end)
			}
		case "brob":
			if !exif && string(s.r.Peek(body, 4)) == "Exif" {
				exif = s.packedExif(body+4, end)
			}
		}
		if length > size-at {
			return
		}
		at += length
	}
	if parts > 0 && !last {
		s.torn("the file ends before its image data does: the last part is missing")
	}
}

// exif adds the block of an Exif box: four bytes give how far behind them the
// TIFF header begins.
func (s *scanner) exif(body, end int64) bool {
	h := s.r.Peek(body, int(min(end-body, 64)))
	skip, ok := tiffStart(h, func(off int64) []byte {
		if off > end-body {
			return nil
		}
		return s.r.Peek(body+off, int(min(end-body-off, 16)))
	})
	if !ok {
		s.l.AddProblem("Exif box", body, "no Exif data where it should be")
		return false
	}
	s.l.Blocks = append(s.l.Blocks, layout.Block{Offset: body + skip, Length: end - body - skip})
	return true
}

// packedExif adds the block of a brob box: an Exif box compressed with Brotli.
func (s *scanner) packedExif(body, end int64) bool {
	if !s.budget.Try() || !s.budget.Take(end-body) {
		s.l.AddProblem("brob box", body, "compressed Exif data of %d bytes was not read: more than any camera writes", end-body)
		return false
	}
	packed := s.r.Load(body, int(end-body))
	if packed == nil {
		return false
	}
	narrow(packed)
	most := s.budget.Left()
	data, err := io.ReadAll(io.LimitReader(brotli.NewReader(bytes.NewReader(packed)), most+1))
	if !s.budget.Take(int64(len(data))) {
		s.budget.Take(most)
		s.l.AddProblem("brob box", body, "compressed Exif data of more than %d bytes was not read", most)
		return false
	}
	if err != nil { // what came out before the damage may still be of use
		s.l.AddProblem("brob box", body, "the compressed Exif data is damaged")
	}
	skip, ok := tiffStart(data, func(off int64) []byte {
		if off > int64(len(data)) {
			return nil
		}
		return data[off:]
	})
	if !ok {
		s.l.AddProblem("brob box", body, "no Exif data where it should be")
		return false
	}
	s.l.Blocks = append(s.l.Blocks, layout.Block{Data: data[skip:]})
	return true
}

// narrow has the decoder take 2 MiB for what it may repeat, in place of up to
// 16. A stream's first four bits state that window where it is 2^18 to 2^24
// bytes (RFC 7932 section 9.1). As no more than 2 MiB are unpacked, a wider one
// means nothing: distances reach no further back than the start.
func narrow(packed []byte) {
	const mask, window21 = 0x0F, 0x09
	if len(packed) > 0 && packed[0]&1 != 0 && packed[0]&mask > window21 {
		packed[0] = packed[0]&^mask | window21
	}
}

// tiffStart returns where in the content of an Exif box, which begins with
// head, the TIFF header is. Where the stated place is wrong, right behind the
// statement serves too.
func tiffStart(head []byte, at func(off int64) []byte) (int64, bool) {
	if len(head) < 4 {
		return 0, false
	}
	for _, off := range []int64{4 + int64(binary.BigEndian.Uint32(head)), 4, 0} {
		if i := scan.TIFFStart(at(off)); i >= 0 {
			return off + int64(i), true
		}
	}
	return 0, false
}

// codestream reads the picture's size from the first bytes of the codestream
// (ISO/IEC 18181-1, SizeHeader; least significant bit first).
func (s *scanner) codestream(b []byte) {
	s.pictured = true
	if len(b) < 2 || b[0] != 0xFF || b[1] != 0x0A {
		s.l.AddProblem("codestream", 0, "the image data does not begin as it should")
		return
	}
	w, h, ok := size(b[2:])
	if !ok {
		s.torn("the file ends before its image data begins")
		return
	}
	s.l.Width, s.l.Height = w, h
}

// size decodes a SizeHeader.
func size(b []byte) (width, height uint32, ok bool) {
	br := bits{b: b}
	small := br.take(1) == 1
	side := func() uint32 {
		if small { // in units of 8
			return (br.take(5) + 1) * 8
		}
		return br.take([]int{9, 13, 18, 30}[br.take(2)]) + 1
	}
	height = side()
	switch r := br.take(3); r {
	case 0:
		width = side()
	default:
		ratio := [...][2]uint64{{1, 1}, {12, 10}, {4, 3}, {3, 2}, {16, 9}, {5, 4}, {2, 1}}[r-1]
		width = uint32(uint64(height) * ratio[0] / ratio[1])
	}
	return width, height, !br.spent
}

// bits takes bits from bytes, the least significant first.
type bits struct {
	b     []byte
	at    int
	spent bool
}

func (b *bits) take(n int) uint32 {
	var v uint32
	for i := range n {
		byteAt := b.at / 8
		if byteAt >= len(b.b) {
			b.spent = true
			return v
		}
		v |= uint32(b.b[byteAt]>>(b.at%8)&1) << i
		b.at++
	}
	return v
}
