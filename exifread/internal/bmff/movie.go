package bmff

import (
	"encoding/binary"

	"prestrike/exifread/internal/layout"
)

// movie reads the moov box: the Exif blocks of a raw file, and its tracks. The
// raw picture, and JPEG pictures beside it, are tracks of one sample.
func (s *scanner) movie(moov box) {
	for b := range s.boxes(moov.body, moov.end, "moov") {
		switch b.kind {
		case "uuid":
			if len(s.l.Blocks) == 0 {
				s.cameraBox(b)
			}
		case "trak":
			s.track(b)
		}
	}
	if moov.stated > moov.end {
		s.l.Checked = true
		s.whole("list of contents", moov.body, moov.stated-moov.body)
	}
}

// cameraBox reads the uuid box with the TIFF blocks: CMT1 is IFD0, CMT2 the
// Exif IFD; CMT3, the maker note, and CMT4, the position, are not needed.
func (s *scanner) cameraBox(uuid box) {
	for b := range s.boxes(uuid.body+16, uuid.end, "uuid") {
		if b.stated > b.end {
			s.l.AddProblem("uuid", b.start, "box %+q is cut off", b.kind)
		}
		switch b.kind {
		case "CMT1":
			s.block(layout.RoleMain, b.body, b.end-b.body, "CMT1")
		case "CMT2":
			s.block(layout.RoleExif, b.body, b.end-b.body, "CMT2")
		case "THMB":
			// Version and flags, width, height, length; after four more bytes the JPEG.
			if h := s.r.Peek(b.body, 18); h != nil && isJPEG(h[16:]) {
				s.preview(b.body+16, int64(binary.BigEndian.Uint32(h[8:])),
					int(binary.BigEndian.Uint16(h[4:])), int(binary.BigEndian.Uint16(h[6:])), "THMB")
			}
		}
	}
}

// previewBox reads a uuid box of the top level. The one with a preview holds
// eight bytes and the box PRVW.
func (s *scanner) previewBox(uuid box) {
	const head = 16 + 8 // the identifier, the eight bytes
	h := s.r.Peek(uuid.body, head+26)
	if h == nil || string(h[head+4:head+8]) != "PRVW" || !isJPEG(h[head+24:]) {
		return
	}
	// Box header, six bytes, width, height, two bytes, length, the JPEG.
	h = h[head:]
	s.preview(uuid.body+head+24, int64(binary.BigEndian.Uint32(h[20:])),
		int(binary.BigEndian.Uint16(h[14:])), int(binary.BigEndian.Uint16(h[16:])), "PRVW")
}

// samples is what a table of samples records.
type samples struct {
	width, height int
	jpeg          bool   // the sample is a JPEG picture
	count         uint32 // of samples
	size          int64  // of the last sample
	chunks        uint32
	chunk         int64 // where the last chunk lies
}

// track reads where the samples of a trak box lie, and the size of a picture.
func (s *scanner) track(trak box) {
	b, ok := trak, true
	for _, kind := range []string{"mdia", "minf", "stbl"} {
		if b, ok = s.child(b, kind); !ok {
			return
		}
	}
	t := s.samples(b)
	if t.width == 0 || t.height == 0 || t.chunk == 0 || t.count == 0 {
		return
	}
	// Where a chunk holds one sample, the last sample ends the track's data.
	if t.chunks == t.count {
		s.l.Checked = true
		s.whole("image data", t.chunk, t.size)
	}
	if t.jpeg {
		if t.count == 1 && t.chunks == 1 {
			s.preview(t.chunk, t.size, t.width, t.height, "trak")
		}
		return
	}
	if w, h := uint32(t.width), uint32(t.height); uint64(w)*uint64(h) > uint64(s.l.Width)*uint64(s.l.Height) {
		s.l.Width, s.l.Height = w, h
	}
}

// samples reads a table of samples.
func (s *scanner) samples(stbl box) samples {
	var t samples
	for b := range s.boxes(stbl.body, stbl.end, "stbl") {
		switch b.kind {
		case "stsd": // version and flags, count, the first sample entry
			if h := s.r.Peek(b.body, 8+36); h != nil && isPicture(string(h[12:16])) {
				t.width, t.height = int(binary.BigEndian.Uint16(h[8+32:])), int(binary.BigEndian.Uint16(h[8+34:]))
				t.jpeg = s.holdsJPEG(b)
			}
		case "stsz": // version and flags, common size, count, sizes
			h := s.r.Peek(b.body, 12)
			if h == nil {
				continue
			}
			t.size, t.count = int64(binary.BigEndian.Uint32(h[4:])), binary.BigEndian.Uint32(h[8:])
			if t.size == 0 && t.count > 0 {
				if last := s.r.Peek(b.body+12+4*int64(t.count-1), 4); last != nil {
					t.size = int64(binary.BigEndian.Uint32(last))
				}
			}
		case "stco", "co64": // version and flags, count, offsets
			s.chunks(b, &t)
		}
	}
	return t
}

// chunks reads where the last chunk lies.
func (s *scanner) chunks(b box, t *samples) {
	h := s.r.Peek(b.body, 8)
	if h == nil {
		return
	}
	t.chunks = binary.BigEndian.Uint32(h[4:])
	if t.chunks == 0 {
		return
	}
	last := int64(t.chunks - 1)
	if b.kind == "stco" {
		if h = s.r.Peek(b.body+8+4*last, 4); h != nil {
			t.chunk = int64(binary.BigEndian.Uint32(h))
		}
		return
	}
	if h = s.r.Peek(b.body+8+8*last, 8); h != nil {
		if v := binary.BigEndian.Uint64(h); v < 1<<62 {
			t.chunk = int64(v)
		} else {
			s.l.AddProblem("co64", b.body, "a sample is said to lie at an impossible place")
		}
	}
}

// isPicture reports whether a sample entry of this kind begins with the
// fields of a visual one.
func isPicture(kind string) bool {
	switch kind {
	case "CRAW", "hvc1", "hev1", "av01", "avc1", "jpeg":
		return true
	}
	return false
}

// holdsJPEG reports whether the first sample entry of an stsd box, a raw
// file's, has the child box that marks its sample as a JPEG picture.
func (s *scanner) holdsJPEG(stsd box) bool {
	const entry = 8 // version, flags and count
	for e := range s.boxes(stsd.body+entry, stsd.end, "stsd") {
		const fields = 82 // of a visual sample entry in these files
		for b := range s.boxes(e.body+fields, e.end, "CRAW") {
			return b.kind == "JPEG" && e.kind == "CRAW"
		}
		return false
	}
	return false
}
