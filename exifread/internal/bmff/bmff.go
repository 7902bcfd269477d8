// Package bmff finds Exif blocks, previews and the extent of the image data in
// files of the ISO base media file format (ISO/IEC 14496-12): the raw files of
// brand crx, and the still pictures of ISO/IEC 23008-12 (HEIF, AVIF).
package bmff

import (
	"bytes"
	"encoding/binary"
	"io"
	"iter"
	"math"

	"prestrike/exifread/internal/layout"
	"prestrike/exifread/internal/scan"
)

// A Kind is what a file is by its brands.
type Kind uint8

const (
	KindNone  Kind = iota // no ISO base media file
	KindRaw               // raw of brand crx
	KindHEIF              // HEIF or HEIC picture
	KindAVIF              // AVIF picture
	KindOther             // a movie, a sound, or another thing that is no still picture
)

// BrandBytes is how much of a file's start Brand inspects, at most.
const BrandBytes = 256

// Brand returns the kind of a file from its first bytes, at best BrandBytes of
// them, and the name of its major brand where it has one.
func Brand(head []byte) (kind Kind, major string) {
	if len(head) < 12 || string(head[4:8]) != "ftyp" {
		return KindNone, ""
	}
	size := binary.BigEndian.Uint32(head)
	if size == 1 { // the 64-bit form; no honest ftyp needs it
		return KindNone, ""
	}
	end := len(head)
	if size != 0 && int64(size) < int64(end) {
		end = int(size)
	}
	if end < 12 {
		return KindNone, ""
	}
	major = string(head[8:12])
	brands := []string{major}
	for at := 16; at+4 <= end; at += 4 {
		brands = append(brands, string(head[at:at+4]))
	}
	switch kindOf[major] {
	case KindRaw, KindHEIF, KindAVIF:
		return kindOf[major], major
	}
	// A general major brand leaves it to the compatible ones.
	kind = KindOther
	for _, b := range brands {
		switch {
		case kindOf[b] == KindAVIF:
			return KindAVIF, major
		case kindOf[b] == KindHEIF, kind == KindOther && pictures[b]:
			kind = KindHEIF
		}
	}
	return kind, major
}

// kindOf lists the brands that settle the matter (ISO/IEC 23008-12 annex B;
// AVIF 1.1 section 8).
var kindOf = map[string]Kind{
	"crx ": KindRaw,
	"heic": KindHEIF, "heix": KindHEIF, "heim": KindHEIF, "heis": KindHEIF,
	"hevc": KindHEIF, "hevx": KindHEIF, "hevm": KindHEIF, "hevs": KindHEIF,
	"jpeg": KindHEIF, "jpgs": KindHEIF, "avci": KindHEIF, "avcs": KindHEIF,
	"avif": KindAVIF, "avis": KindAVIF,
}

// pictures are the brands of a HEIF structure with any coding inside.
var pictures = map[string]bool{"mif1": true, "mif2": true, "msf1": true, "miaf": true}

// Limits on what is held of one file. Honest files stay far below them.
const (
	maxBoxes   = 4096    // children of one box
	maxTable   = 1 << 18 // bytes of one table (iloc, ipma, iref)
	maxBlocks  = 8       // Exif blocks
	maxExtents = 8192    // extents of all items
	maxItems   = 1024    // tiles of a grid
	maxThumbs  = 16      // thumbnail items that are inspected
)

// Scan finds what a file of KindRaw, KindHEIF or KindAVIF holds. The error is
// a *scan.Error where the container is damaged beyond use, else that of the
// reader.
func Scan(r io.ReaderAt, size int64) (layout.Layout, error) {
	s := &scanner{r: scan.NewPieces(r, size)}
	head, err := s.r.Reader.Peek(0, int(min(size, BrandBytes)))
	if err != nil {
		return layout.Layout{}, err
	}
	kind, _ := Brand(head)
	if kind == KindNone {
		return layout.Layout{}, &scan.Error{What: "the file does not begin with a file type box"}
	}
	found := false // the box that lists what is where
	for b := range s.boxes(0, size, "file") {
		switch b.kind {
		case "moov":
			if kind == KindRaw || kind == KindOther || !s.meta.found {
				s.movie(b)
				found = true
			}
		case "meta":
			if kind != KindRaw && !s.meta.found {
				s.metaBox(b)
				found = true
			}
		case "uuid":
			if kind == KindRaw {
				s.previewBox(b)
			}
		case "mdat":
			s.l.Checked = s.l.Checked || !b.open
			s.whole("image data", b.body, b.stated-b.body)
		}
		if s.r.Err != nil {
			return layout.Layout{}, s.r.Err
		}
	}
	s.items()
	switch {
	case s.r.Err != nil:
		return layout.Layout{}, s.r.Err
	case !found:
		return layout.Layout{}, &scan.Error{Offset: size, What: "the file ends without the list of what is in it"}
	}
	s.l.Checked = s.l.Checked || s.l.Torn != ""
	return s.l, nil
}

type scanner struct {
	r      *scan.Pieces
	l      layout.Layout
	meta   meta
	budget scan.Budget
	lack   int64 // bytes missing, as Torn reports
}

// whole checks that a piece lies inside the file, and keeps the largest lack.
func (s *scanner) whole(what string, off, length int64) {
	if missing := scan.Lack(off, length, s.r.Size()); missing > s.lack {
		s.lack = missing
		s.l.Torn = scan.Cut(what, missing, length)
	}
}

// A box is one box of the file.
type box struct {
	kind   string // four characters
	start  int64  // of the header
	body   int64  // behind the header
	end    int64  // of the part that the parent, and the file, really has
	stated int64  // end as the header states it
	open   bool   // no end is stated: to the end of what surrounds it
}

// boxes walks the boxes from start to end. Damage ends the walk with a
// problem; what came before stays.
func (s *scanner) boxes(start, end int64, parent string) iter.Seq[box] {
	return func(yield func(box) bool) {
		at := start
		for range maxBoxes {
			if s.r.Err != nil || end-at < 8 {
				return // fewer than 8 bytes are padding
			}
			if !s.budget.Step() {
				s.l.AddProblem(parent, at, "more boxes than any camera writes: the rest was not read")
				return
			}
			h := s.r.Peek(at, 8)
			if h == nil {
				return
			}
			size := int64(binary.BigEndian.Uint32(h))
			b := box{kind: string(h[4:8]), start: at, body: at + 8}
			switch size {
			case 0: // to the end of what surrounds it
				if b.kind == "\x00\x00\x00\x00" {
					return // padding
				}
				size, b.open = end-at, true
			case 1:
				h = s.r.Peek(at, 16)
				if h == nil {
					s.l.AddProblem(parent, at, "a box is cut off in its size")
					return
				}
				long := binary.BigEndian.Uint64(h[8:])
				if long > math.MaxInt64 {
					s.l.AddProblem(parent, at, "box %+q states an impossible size", b.kind)
					return
				}
				size, b.body = int64(long), at+16
			}
			if size < b.body-at {
				s.l.AddProblem(parent, at, "box %+q states a size of %d bytes, less than its own header", b.kind, size)
				return
			}
			if size > math.MaxInt64-at {
				size = math.MaxInt64 - at
			}
			b.stated = at + size
			b.end = min(b.stated, end)
			if !yield(b) {
				return
			}
			at = b.stated
			if at > end {
				// Data of an unknown kind behind the last box is not the
				// picture's; image data is checked where it is described.
				if parent != "file" {
					s.l.AddProblem(parent, b.start, "box %+q reaches past the end of what holds it", b.kind)
				}
				return
			}
		}
		if end-at >= 8 {
			s.l.AddProblem(parent, at, "more than %d boxes: the rest was not read", maxBoxes)
		}
	}
}

// child returns the first child of the given kind.
func (s *scanner) child(b box, kind string) (box, bool) {
	for c := range s.boxes(b.body, b.end, b.kind) {
		if c.kind == kind {
			return c, true
		}
	}
	return box{}, false
}

// block adds a TIFF block at off, length bytes long, or a problem.
func (s *scanner) block(role layout.Role, off, length int64, where string) {
	if len(s.l.Blocks) == maxBlocks {
		s.l.AddProblem(where, off, "not read: more Exif blocks than any camera writes")
		return
	}
	head := s.r.Peek(off, int(min(length, 16)))
	if s.r.Err != nil {
		return
	}
	at := scan.TIFFStart(head)
	if at < 0 {
		s.l.AddProblem(where, off, "no Exif data where it should be")
		return
	}
	s.l.Blocks = append(s.l.Blocks, layout.Block{Role: role, Offset: off + int64(at), Length: length - int64(at)})
}

// preview adds an embedded JPEG picture that lies in the file.
func (s *scanner) preview(off, length int64, width, height int, where string) {
	if length <= 0 {
		return
	}
	if missing := scan.Missing("preview", off, length, s.r.Size()); missing != "" {
		s.l.AddProblem(where, off, "%s", missing)
		return
	}
	s.l.Previews = append(s.l.Previews, layout.Preview{Offset: off, Length: length, Width: width, Height: height})
}

// isJPEG reports whether b begins as a JPEG picture does.
func isJPEG(b []byte) bool { return bytes.HasPrefix(b, []byte{0xFF, 0xD8}) }
