package exifread_test

import (
	"bytes"
	"encoding/binary"
	"image"
	"testing"

	"prestrike/exifread"
	"prestrike/exifread/exifwrite"
)

// part is one picture of a JPEG file of several (CIPA DC-007), and its kind.
type part struct {
	kind uint32
	jpeg []byte
}

// multiPicture is a JPEG file of several pictures: an index in a segment of the
// first, and the others behind it.
func multiPicture(t testing.TB, first []byte, others ...part) []byte {
	t.Helper()
	list := make([]byte, 16*(1+len(others)))
	build := func() []byte {
		block := encode(t, &exifwrite.Block{IFD0: []exifwrite.Entry{
			exifwrite.Undefined(0xB000, []byte("0100")), exifwrite.Long(0xB001, uint32(1+len(others))), exifwrite.Undefined(0xB002, list),
		}})
		segment := concat([]byte{0xFF, 0xE2}, binary.BigEndian.AppendUint16(nil, uint16(2+4+len(block))), []byte("MPF\x00"), block)
		return concat(first[:2], segment, first[2:])
	}
	const header = 2 + 4 + 4 // the offsets count from the TIFF header in the segment
	at := len(build())
	binary.LittleEndian.PutUint32(list, 0x030000)
	binary.LittleEndian.PutUint32(list[4:], uint32(at))
	var tail []byte
	for i, p := range others {
		entry := list[16*(i+1):]
		binary.LittleEndian.PutUint32(entry, p.kind)
		binary.LittleEndian.PutUint32(entry[4:], uint32(len(p.jpeg)))
		binary.LittleEndian.PutUint32(entry[8:], uint32(at+len(tail)-header))
		tail = append(tail, p.jpeg...)
	}
	return append(build(), tail...)
}

// The preview of one to two megapixels among the pictures of a JPEG file is the
// one to decode; other angles and maps are none.
func TestPreviewAmongSeveralPictures(t *testing.T) {
	const (
		largeVGA, largeHD = 0x010001, 0x010002 // CIPA DC-007 5.2.3.3.1
		disparity         = 0x020002
		undefined         = 0
		foreignFormat     = 1 << 24
	)
	hd, vga, other := plainJPEG(t, 1620, 1080), plainJPEG(t, 640, 480), plainJPEG(t, 1500, 1000)
	main := plainJPEG(t, 3000, 2000)
	for _, c := range []struct {
		name   string
		others []part
		width  int // of the picture to be decoded
	}{
		{"full HD and VGA", []part{{largeVGA, vga}, {largeHD, hd}}, 1620},
		{"dependent on the first", []part{{1<<30 | largeHD, hd}}, 1620},
		{"other angle", []part{{disparity, other}}, 3000},
		{"map of brightness", []part{{undefined, other}}, 3000},
		{"no JPEG", []part{{foreignFormat | largeHD, other}}, 3000},
		{"first alone", nil, 3000},
	} {
		file := multiPicture(t, main, c.others...)
		m, err := readBytes(file)
		if err != nil || m.Integrity.State != exifread.IntegrityWhole || len(m.Problems) > 0 {
			t.Errorf("%s: %v, %+v, %+v", c.name, err, m.Integrity, m.Problems)
		}
		p, err := m.Picture()
		if err != nil || p.Width != c.width {
			t.Errorf("%s: %d wide, %v; want %d", c.name, p.Width, err, c.width)
			continue
		}
		img, err := exifread.DecodeFrom(p, t.Context(), bytes.NewReader(file), int64(len(file)), nil)
		if err != nil || img.Bounds().Size() != image.Pt(p.Width, p.Height) {
			t.Errorf("%s: decoding: %v", c.name, err)
		}
	}
}
