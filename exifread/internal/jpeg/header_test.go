package jpeg

import (
	"bytes"
	"encoding/binary"
	"errors"
	"strings"
	"testing"

	"prestrike/exifread/internal/layout"
	"prestrike/exifread/internal/scan"
	"prestrike/exifread/internal/scan/scantest"
)

const emptyTIFF = "II*\x00\x08\x00\x00\x00\x00\x00\x00\x00\x00\x00"

// What stands between the start marker and the first scan, by T.81 B.1.1 and as
// it is met in the wild.
func TestHeader(t *testing.T) {
	whole := picture(t, 40, 24)
	exif := app(0xE1, "Exif\x00\x00"+emptyTIFF)
	sof := bytes.Index(whole, []byte{0xFF, mSOF0})
	for _, c := range []struct {
		name    string
		data    []byte
		blocks  int
		problem string // part of the first problem
		torn    string
		err     string
	}{
		{"fill bytes before a marker", with(whole, []byte{0xFF, 0xFF, 0xFF}, exif), 1, "", "", ""},
		{"markers without length", with(whole, []byte{0xFF, mTEM, 0xFF, 0xD3}, exif), 1, "", "", ""},
		{"bytes of no segment", with(whole, []byte("abc"), exif), 1, "3 bytes that belong to no segment", "", ""},
		{"too many bytes of no segment", with(whole, make([]byte, maxGarbage+1)), 0, "", "", "damaged"},
		{"filling again and again", with(whole, bytes.Repeat([]byte("abc\xFF\xE5\x00\x02"), 1000), exif), 1, "3 bytes", "", ""},
		{"Exif with another pad", with(whole, app(0xE1, "Exif\x00\x01"+emptyTIFF)), 1, "", "", ""},
		{"six Exif segments", with(whole, exif, exif, exif, exif, exif, exif), maxBlocks, "", "", ""},
		{"length below 2", append(with(whole[:2], exif), 0xFF, 0xE5, 0, 1), 1, "", "the header is damaged", ""},
		{"marker 00", append(with(whole[:2], exif), 0xFF, 0, 0, 0), 1, "", "the header is damaged", ""},
		{"end before image data", append(with(whole[:2], exif), 0xFF, mEOI, 0, 0), 1, "", "ends before its image data begins", ""},
		{"cut inside a segment", with(whole[:2], exif[:len(exif)-2]), 1, "", "ends inside its header", ""},
		{"cut behind the frame header", whole[:sof+19], 0, "", "ends inside its header", ""},
		{"start marker alone", whole[:2], 0, "", "", "ends inside its header"},
		{"one byte", whole[:1], 0, "", "", "start marker"},
		{"no start marker", whole[2:], 0, "", "", "start marker"},
	} {
		l, err := scantest.Check(t, Scan, c.data)
		if c.err != "" {
			if err == nil || !strings.Contains(err.Error(), c.err) {
				t.Errorf("%s: error %v, want %q", c.name, err, c.err)
			}
			continue
		}
		first := ""
		if len(l.Problems) > 0 {
			first = l.Problems[0].What
		}
		if err != nil || len(l.Blocks) != c.blocks || !strings.Contains(first, c.problem) || c.problem == "" && first != "" ||
			!strings.Contains(l.Torn, c.torn) || c.torn == "" && l.Torn != "" {
			t.Errorf("%s: %v, %d blocks, problem %q, torn %q", c.name, err, len(l.Blocks), first, l.Torn)
		}
	}
}

// The height may follow the only scan (T.81 B.2.5).
func TestLinesBehindTheScan(t *testing.T) {
	data := picture(t, 40, 24)
	sof := bytes.Index(data, []byte{0xFF, mSOF0})
	data[sof+5], data[sof+6] = 0, 0
	end := len(data) - 2
	withLines := append(append(bytes.Clone(data[:end]), 0xFF, mDNL, 0, 4, 0, 24), 0xFF, mEOI)
	if l, err := scantest.Check(t, Scan, withLines); err != nil || l.Width != 40 || l.Height != 24 || l.Torn != "" {
		t.Errorf("%d x %d, torn %q, %v; want 40 x 24", l.Width, l.Height, l.Torn, err)
	}
	if l, err := scantest.Check(t, Scan, data); err != nil || l.Height != 0 {
		t.Errorf("without: height %d, %v", l.Height, err)
	}
}

// index is the segment with the index of pictures (CIPA DC-007 5.2), whose
// entries are kind, length and offset.
func index(o binary.AppendByteOrder, mark string, entries ...[3]uint32) []byte {
	b := o.AppendUint32(o.AppendUint16([]byte(mark), 42), 8)
	b = o.AppendUint16(b, 1)
	b = o.AppendUint16(o.AppendUint16(b, tagMPEntry), 7)
	b = o.AppendUint32(o.AppendUint32(b, uint32(mpEntryBytes*len(entries))), 26)
	b = o.AppendUint32(b, 0)
	for _, e := range entries {
		for _, n := range e {
			b = o.AppendUint32(b, n)
		}
		b = append(b, 0, 0, 0, 0)
	}
	return app(mAPP2, "MPF\x00"+string(b))
}

func TestIndexOfPictures(t *testing.T) {
	const from = 2 + 4 + 4 // of the offsets: the TIFF header
	main, small := picture(t, 40, 24), picture(t, 16, 8)
	for _, o := range []struct {
		binary.AppendByteOrder
		mark string
	}{{binary.LittleEndian, "II"}, {binary.BigEndian, "MM"}} {
		front := len(with(main, index(o, o.mark, [3]uint32{}, [3]uint32{})))
		place := [3]uint32{0x010002, uint32(len(small)), uint32(front - from)}
		file := append(with(main, index(o, o.mark, [3]uint32{0x030000, uint32(front), 0}, place)), small...)
		l, err := scantest.Check(t, Scan, file)
		want := layout.Preview{Offset: int64(front), Length: int64(len(small))}
		if err != nil || len(l.Previews) != 1 || l.Previews[0] != want || len(l.Problems) > 0 || l.Torn != "" {
			t.Errorf("%s: %+v, %v, torn %q, %v; want %+v", o.mark, l.Previews, l.Problems, l.Torn, err, want)
		}
		if w, h, ok := Size(bytes.NewReader(file), want.Offset, want.Length); !ok || w != 16 || h != 8 {
			t.Errorf("%s: size %d x %d, %v", o.mark, w, h, ok)
		}
		// The main picture is whole where the last is cut.
		l, err = scantest.Check(t, Scan, file[:len(file)-10])
		if err != nil || l.Torn != "" || len(l.Previews) != 0 || len(l.Problems) != 1 {
			t.Errorf("%s, cut: torn %q, previews %v, problems %v, %v", o.mark, l.Torn, l.Previews, l.Problems, err)
		}
	}
	for name, segment := range map[string][]byte{
		"no TIFF":              app(mAPP2, "MPF\x00nothing at all"),
		"directory at the end": app(mAPP2, "MPF\x00II*\x00\xFF\xFF\x00\x00"),
		"list past the end":    app(mAPP2, "MPF\x00II*\x00\x08\x00\x00\x00\x01\x00\x02\xB0\x07\x00\x40\x00\x00\x00\xFF\xFF\x00\x00\x00\x00\x00\x00"),
	} {
		if l, err := scantest.Check(t, Scan, with(main, segment)); err != nil || len(l.Problems) != 1 || l.Problems[0].Where != "index of pictures" {
			t.Errorf("%s: %+v, %v", name, l.Problems, err)
		}
	}
}

func TestFirstExif(t *testing.T) {
	data := with(picture(t, 40, 24), app(0xE1, "http://example.org/xmp/\x00<x/>"), app(0xE1, "Exif\x00\x00"+emptyTIFF))
	b, ok, err := FirstExif(bytes.NewReader(data), int64(len(data)))
	if err != nil || !ok || string(data[b.Offset:b.Offset+b.Length]) != emptyTIFF {
		t.Errorf("%+v, %v, %v", b, ok, err)
	}
	if _, ok, err := FirstExif(bytes.NewReader(picture(t, 8, 8)), 100); ok || err != nil {
		t.Errorf("without: %v, %v", ok, err)
	}
}

// Whether image data is whole, where the file does not end with its marker.
func TestEnd(t *testing.T) {
	whole := picture(t, 40, 24)
	body := whole[:len(whole)-2]
	table := []byte{0xFF, mDHT, 0, 6, 0xFF, mEOI, 0xFF, mEOI} // the marker inside a segment is none
	for _, c := range []struct {
		name string
		tail string
		torn string
	}{
		{"one byte behind the end", "\xFF\xD9x", ""},
		{"FF before the end", "\xFF\xFF\xFF\xD9 and more", ""},
		{"marker inside a table alone", string(table) + "abc", "breaks off"},
		{"D9 without FF", "\xD9", "end marker is missing"},
		{"escaped FF before D9", "\xFF\x00\xD9", "end marker is missing"},
		{"zeros to the end of the file", string(make([]byte, 600)), "the rest of the file is empty"},
	} {
		l, err := scantest.Check(t, Scan, append(bytes.Clone(body), c.tail...))
		if err != nil || !l.Checked || !strings.Contains(l.Torn, c.torn) || c.torn == "" && l.Torn != "" {
			t.Errorf("%s: torn %q, checked %v, %v; want %q", c.name, l.Torn, l.Checked, err, c.torn)
		}
	}
}

// failing fails from an offset on.
type failing struct {
	*bytes.Reader
	from int64
}

var errMedium = errors.New("the card was pulled")

func (f failing) ReadAt(p []byte, off int64) (int, error) {
	if off+int64(len(p)) > f.from {
		return 0, errMedium
	}
	return f.Reader.ReadAt(p, off)
}

// The error of the medium is never taken for damage, wherever it comes.
func TestMediumFails(t *testing.T) {
	whole := with(picture(t, 40, 24), []byte("abc"), app(0xE1, "Exif\x00\x00"+emptyTIFF),
		index(binary.LittleEndian, "II", [3]uint32{0x030000, 100, 0}, [3]uint32{0x010002, 10, 10}))
	for _, data := range [][]byte{whole, append(bytes.Clone(whole), "behind the end"...)} {
		for from := range len(data) {
			_, err := Scan(failing{bytes.NewReader(data), int64(from)}, int64(len(data)))
			if _, damaged := errors.AsType[*scan.Error](err); damaged {
				t.Errorf("fails from %d on: %v", from, err)
			}
			if err == nil && from < 40 {
				t.Errorf("fails from %d on: no error", from)
			}
			if _, err := ReadFrame(failing{bytes.NewReader(data), int64(from)}, 0, int64(len(data))); err != nil && !errors.Is(err, errMedium) {
				t.Errorf("frame, fails from %d on: %v", from, err)
			}
		}
	}
}
