package exifread_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"prestrike/exifread"
	"prestrike/exifread/exifwrite"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

func readBytes(b []byte) (*exifread.Metadata, error) {
	return exifread.Read(context.Background(), bytes.NewReader(b), int64(len(b)))
}

var bothOrders = map[string]binary.AppendByteOrder{"II": binary.LittleEndian, "MM": binary.BigEndian}

// What is written is read again, field by field, in both byte orders.
func TestReadGivesWhatWasWritten(t *testing.T) {
	values := cmp.Exporter(func(reflect.Type) bool { return true })
	for name, order := range bothOrders {
		want := bx1()
		block, err := exifwrite.Encode(want, order)
		if err != nil {
			t.Fatal(err)
		}
		b := insert(t, plainJPEG(t, 48, 32), block)
		got, err := readBytes(b)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		want.Format, want.Size, want.HasExif = exifread.FormatJPEG, int64(len(b)), true
		want.Integrity.State = exifread.IntegrityWhole
		if diff := cmp.Diff(want, got, values, cmpopts.EquateApprox(1e-9, 0)); diff != "" {
			t.Errorf("%s: -written +read\n%s", name, diff)
		}
	}
}

// exifFrame is a frame with the entries in its Exif IFD.
func exifFrame(t testing.TB, entries ...exifwrite.Entry) []byte {
	t.Helper()
	return insert(t, plainJPEG(t, 16, 16), encode(t, &exifwrite.Block{
		IFD0: []exifwrite.Entry{exifwrite.ASCII(0x010F, "Borealis")}, Exif: entries,
	}))
}

// What the standard calls unknown is not recorded, and is no problem either.
func TestUnknownIsNotRecorded(t *testing.T) {
	b := exifFrame(t,
		exifwrite.Rational(0x829A, [2]uint32{0, 0}), exifwrite.Rational(0x829D, [2]uint32{0, 10}),
		exifwrite.Rational(0x920A, [2]uint32{0, 1}), exifwrite.Rational(0x9205, [2]uint32{0, 0}),
		exifwrite.Short(0x8827, 0), exifwrite.Short(0x8822, 0), exifwrite.Short(0x9207, 0), exifwrite.Short(0x9208, 0),
		exifwrite.ASCII(0x9003, "    :  :     :  :  "), exifwrite.ASCII(0x9011, "   :  "), exifwrite.ASCII(0x9291, "  "),
		exifwrite.Short(0xA405, 0), exifwrite.ASCII(0xA431, "0000000"), exifwrite.ASCII(0xA434, "----"), exifwrite.ASCII(0xA433, "   "),
		exifwrite.Rational(0xA432, [2]uint32{0, 0}, [2]uint32{0, 0}, [2]uint32{0, 0}, [2]uint32{0, 0}),
	)
	m, err := readBytes(b)
	if err != nil {
		t.Fatal(err)
	}
	for name, known := range map[string]bool{
		"ExposureTime": m.ExposureTime.Known(), "FNumber": m.FNumber.Known(), "FocalLength": m.FocalLength.Known(),
		"MaxApertureValue": m.MaxApertureValue.Known(), "Sensitivity": m.Sensitivity.Known(), "ExposureProgram": m.ExposureProgram.Known(),
		"MeteringMode": m.MeteringMode.Known(), "LightSource": m.LightSource.Known(), "Captured": m.Captured.Known(),
		"FocalLength35": m.FocalLength35.Known(), "BodySerial": m.BodySerial.Known(), "LensModel": m.LensModel.Known(),
		"LensMake": m.LensMake.Known(), "LensSpecification": m.LensSpecification.Known(), "SubjectDistance": m.SubjectDistance.Known(),
	} {
		if known {
			t.Errorf("%s is recorded, want not", name)
		}
	}
	if len(m.Problems) > 0 {
		t.Errorf("problems: %+v", m.Problems)
	}
}

func TestSubjectDistance(t *testing.T) {
	for _, tc := range []struct {
		num, den uint32
		want     exifread.Distance
		known    bool
	}{
		{312, 1000, exifread.Distance{State: exifread.DistanceMetres, Metres: 0.312}, true},
		{math.MaxUint32, 1, exifread.Distance{State: exifread.DistanceInfinity}, true},
		{math.MaxUint32, 0, exifread.Distance{State: exifread.DistanceInfinity}, true},
		{0, 1, exifread.Distance{State: exifread.DistanceUnknown}, true},
		{0, 0, exifread.Distance{State: exifread.DistanceUnknown}, true},
		{312, 0, exifread.Distance{}, false},
	} {
		m, err := readBytes(exifFrame(t, exifwrite.Rational(0x9206, [2]uint32{tc.num, tc.den})))
		if err != nil {
			t.Fatal(err)
		}
		got, known := m.SubjectDistance.Get()
		if known != tc.known || got != tc.want {
			t.Errorf("%d/%d: got %+v, %v, want %+v, %v", tc.num, tc.den, got, known, tc.want, tc.known)
		}
		if !tc.known && len(m.Problems) != 1 {
			t.Errorf("%d/%d: %d problems, want 1", tc.num, tc.den, len(m.Problems))
		}
	}
}

// PhotographicSensitivity saturates; the 32-bit tag that SensitivityType names
// then has the number (CIPA DC-008, 0x8827 and 0x8830 to 0x8833).
func TestSensitivity(t *testing.T) {
	long := func(tag uint16, v uint32) exifwrite.Entry { return exifwrite.Long(tag, v) }
	for _, tc := range []struct {
		name    string
		entries []exifwrite.Entry
		want    uint32
	}{
		{"plain", []exifwrite.Entry{exifwrite.Short(0x8827, 100), exifwrite.Short(0x8830, 2), long(0x8832, 102)}, 100},
		{"saturated, standard output", []exifwrite.Entry{exifwrite.Short(0x8827, 65535), exifwrite.Short(0x8830, 1), long(0x8831, 102400), long(0x8832, 204800)}, 102400},
		{"saturated, recommended index", []exifwrite.Entry{exifwrite.Short(0x8827, 65535), exifwrite.Short(0x8830, 2), long(0x8831, 102400), long(0x8832, 204800)}, 204800},
		{"saturated, ISO speed", []exifwrite.Entry{exifwrite.Short(0x8827, 65535), exifwrite.Short(0x8830, 3), long(0x8833, 409600)}, 409600},
		{"saturated, nothing more", []exifwrite.Entry{exifwrite.Short(0x8827, 65535)}, 65535},
		{"only the 32-bit tag", []exifwrite.Entry{exifwrite.Short(0x8830, 2), long(0x8832, 400)}, 400},
		{"as a LONG", []exifwrite.Entry{long(0x8827, 3200)}, 3200},
		{"two values, the first unknown", []exifwrite.Entry{exifwrite.Short(0x8827, 0, 200)}, 200},
	} {
		m, err := readBytes(exifFrame(t, tc.entries...))
		if err != nil {
			t.Fatal(err)
		}
		if got := m.Sensitivity.Or(0); got != tc.want {
			t.Errorf("%s: got %d, want %d", tc.name, got, tc.want)
		}
	}
}

func TestCaptureTime(t *testing.T) {
	date := func(y int, mo time.Month, d, h, mi, s, ns int) time.Time {
		return time.Date(y, mo, d, h, mi, s, ns, time.UTC)
	}
	wall := date(2026, 3, 4, 10, 11, 12, 0)
	hour := exifread.Of(time.Hour)
	var none exifread.Value[time.Duration]
	for _, tc := range []struct {
		date, subsec, offset string
		want                 exifread.Timestamp
		known                bool
	}{
		{"2026:03:04 10:11:12", "", "", exifread.Timestamp{Wall: wall, Resolution: time.Second, Offset: none}, true},
		{"2026:03:04 10:11:12", "34", "+01:00", exifread.Timestamp{Wall: wall.Add(340 * time.Millisecond), Resolution: 10 * time.Millisecond, Offset: hour}, true},
		{"2026:03:04 10:11:12", "007 ", "-05:30", exifread.Timestamp{Wall: wall.Add(7 * time.Millisecond), Resolution: time.Millisecond, Offset: exifread.Of(-330 * time.Minute)}, true},
		{"2026:03:04 10:11:12", "1234567891", "Z", exifread.Timestamp{Wall: wall.Add(123456789), Resolution: 1, Offset: exifread.Of(time.Duration(0))}, true},
		{"2026:03:04 10:11:12", "x7", "CET", exifread.Timestamp{Wall: wall, Resolution: time.Second, Offset: none}, true},
		{"2026-03-04 10:11:12", "", "", exifread.Timestamp{Wall: wall, Resolution: time.Second, Offset: none}, true},
		{"2026-03-04T10:11:12.5+01:00", "", "", exifread.Timestamp{Wall: wall.Add(500 * time.Millisecond), Resolution: 100 * time.Millisecond, Offset: hour}, true},
		{"2026/03/04 10:11:12Z", "", "", exifread.Timestamp{Wall: wall, Resolution: time.Second, Offset: exifread.Of(time.Duration(0))}, true},
		{"2026:03:04 24:00:05", "", "", exifread.Timestamp{Wall: date(2026, 3, 5, 0, 0, 5, 0), Resolution: time.Second, Offset: none}, true},
		{"2024:02:29 00:00:00", "", "", exifread.Timestamp{Wall: date(2024, 2, 29, 0, 0, 0, 0), Resolution: time.Second, Offset: none}, true},
		{"2026:02:29 00:00:00", "", "", exifread.Timestamp{}, false},
		{"2026:13:04 10:11:12", "", "", exifread.Timestamp{}, false},
		{"2026:03:04", "", "", exifread.Timestamp{}, false},
		{"yesterday", "", "", exifread.Timestamp{}, false},
	} {
		entries := []exifwrite.Entry{exifwrite.ASCII(0x9003, tc.date)}
		if tc.subsec != "" {
			entries = append(entries, exifwrite.ASCII(0x9291, tc.subsec))
		}
		if tc.offset != "" {
			entries = append(entries, exifwrite.ASCII(0x9011, tc.offset))
		}
		m, err := readBytes(exifFrame(t, entries...))
		if err != nil {
			t.Fatal(err)
		}
		got, known := m.Captured.Get()
		if known != tc.known || got != tc.want {
			t.Errorf("%q %q %q: got %+v, %v, want %+v, %v", tc.date, tc.subsec, tc.offset, got, known, tc.want, tc.known)
		}
		if known == (len(m.Problems) > 0) {
			t.Errorf("%q: recorded %v, problems %+v", tc.date, known, m.Problems)
		}
	}
	for _, unknown := range []string{"0000:00:00 00:00:00", "    :  :     :  :  ", ""} {
		m, err := readBytes(exifFrame(t, exifwrite.ASCII(0x9003, unknown)))
		if err != nil || m.Captured.Known() || len(m.Problems) > 0 {
			t.Errorf("%q: got %v, %+v, %v; want not recorded and no problem", unknown, m.Captured, m.Problems, err)
		}
	}
}

// DateTime is when a file was changed, and counts for raw files alone.
func TestDateTimeCountsForRawFilesOnly(t *testing.T) {
	ifd0 := []exifwrite.Entry{exifwrite.ASCII(0x0132, "2026:03:04 10:11:12"), exifwrite.Short(0x0100, 16), exifwrite.Short(0x0101, 16)}
	for name, tc := range map[string]struct {
		bytes []byte
		want  bool
	}{
		"JPEG": {insert(t, plainJPEG(t, 16, 16), encode(t, &exifwrite.Block{IFD0: ifd0})), false},
		"TIFF": {encode(t, &exifwrite.Block{IFD0: ifd0}), false},
		"DNG":  {encode(t, &exifwrite.Block{IFD0: append(ifd0, exifwrite.Byte(0xC612, 1, 4, 0, 0))}), true},
	} {
		m, err := readBytes(tc.bytes)
		if err != nil || m.Captured.Known() != tc.want {
			t.Errorf("%s: captured %v, %v; want recorded %v", name, m.Captured, err, tc.want)
		}
	}
}

func TestTexts(t *testing.T) {
	long := strings.Repeat("ø", 200) // 400 bytes
	for _, tc := range []struct {
		name  string
		entry exifwrite.Entry
		want  string
		loud  bool
	}{
		{"blanks and NULs around", exifwrite.ASCII(0xA434, "  Borealis 90 mm\x00\x00junk"), "Borealis 90 mm", false},
		{"UTF-8 in type 129", exifwrite.UTF8(0xA434, "Boreális 90 mm ƒ/2.8"), "Boreális 90 mm ƒ/2.8", false},
		{"UTF-8 in type 2", exifwrite.ASCII(0xA434, "Boreális"), "Boreális", false},
		{"Latin-1", exifwrite.ASCII(0xA434, "Bor\xe9alis"), "Boréalis", false},
		{"control characters are kept", exifwrite.ASCII(0xA434, "a\x1b]0;b"), "a\x1b]0;b", false},
		{"undefined bytes", exifwrite.Undefined(0xA434, []byte("Borealis")), "Borealis", false},
		{"too long", exifwrite.ASCII(0xA434, long), strings.Repeat("ø", 128), true},
		{"too long, odd", exifwrite.ASCII(0xA434, "a"+long), "a" + strings.Repeat("ø", 127), true},
		{"a number", exifwrite.Short(0xA434, 90), "", true},
	} {
		m, err := readBytes(exifFrame(t, tc.entry))
		if err != nil {
			t.Fatal(err)
		}
		if got := m.LensModel.Or(""); got != tc.want {
			t.Errorf("%s: got %q, want %q", tc.name, got, tc.want)
		}
		if loud := len(m.Problems) > 0; loud != tc.loud {
			t.Errorf("%s: problems %+v, want some: %v", tc.name, m.Problems, tc.loud)
		}
	}
}

// Bodies vary the types; a value that loses nothing is taken.
func TestTypesThatVary(t *testing.T) {
	m, err := readBytes(exifFrame(t,
		exifwrite.Short(0x829D, 8), exifwrite.SRational(0x829A, [2]int32{1, 60}), exifwrite.Rational(0x8827, [2]uint32{200, 1}),
		exifwrite.Rational(0x9204, [2]uint32{math.MaxUint32 - 1, 3}), exifwrite.Long(0x9209, 1)))
	if err != nil {
		t.Fatal(err)
	}
	if got := m.FNumber.String(); got != "8/1" {
		t.Errorf("FNumber as SHORT 8: got %s", got)
	}
	if got := m.ExposureTime.String(); got != "1/60" {
		t.Errorf("ExposureTime as SRATIONAL 1/60: got %s", got)
	}
	if got := m.Sensitivity.Or(0); got != 200 {
		t.Errorf("sensitivity as RATIONAL 200/1: got %d", got)
	}
	if got := m.ExposureBias.String(); got != "-2/3" {
		t.Errorf("ExposureBias as RATIONAL FFFFFFFE/3: got %s, want -2/3", got)
	}
	if f := m.Flash.Or(0); !f.Fired() {
		t.Errorf("Flash as LONG 1: got %v", m.Flash)
	}
}

func TestExifBehindOtherSegments(t *testing.T) {
	frame := exifFrame(t, exifwrite.Short(0x8827, 100))
	end := 4 + int(binary.BigEndian.Uint16(frame[4:])) // of the Exif segment
	xmp := "http://example.org/xmp/\x00<x:xmpmeta/>"
	segment := append([]byte{0xFF, 0xE1, 0, byte(2 + len(xmp))}, xmp...)
	for name, b := range map[string][]byte{
		"XMP first":      concat(frame[:2], segment, frame[2:]),
		"fill bytes":     concat(frame[:2], []byte{0xFF, 0xFF, 0xFF}, frame[2:]),
		"stray bytes":    concat(frame[:end], []byte{1, 2, 3}, frame[end:]),
		"bytes behind":   concat(frame, []byte("trailer of another program")),
		"padding behind": concat(frame, make([]byte, 5000)),
		"FF behind":      concat(frame, bytes.Repeat([]byte{0xFF}, 3000)),
	} {
		m, err := readBytes(b)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if m.Sensitivity.Or(0) != 100 || m.Integrity.State != exifread.IntegrityWhole {
			t.Errorf("%s: ISO %v, integrity %+v; want 100, whole", name, m.Sensitivity, m.Integrity)
		}
	}
}

func concat(parts ...[]byte) []byte { return bytes.Join(parts, nil) }

func TestPreviews(t *testing.T) {
	b := cameraJPEG(t, 0)
	m, err := readBytes(b)
	if err != nil {
		t.Fatal(err)
	}
	thumb := plainJPEG(t, 160, 120)
	if len(m.Previews) != 1 || m.Previews[0].Width != 160 || m.Previews[0].Height != 120 {
		t.Fatalf("previews of a JPEG: %+v", m.Previews)
	}
	p := m.Previews[0]
	if got := b[p.Offset:][:p.Length]; !bytes.Equal(got, thumb) {
		t.Errorf("the thumbnail is not at %+v", p)
	}

	raw := cameraRaw(t)
	m, err = exifread.Read(t.Context(), &sparse{raw, 45 << 20}, 45<<20)
	if err != nil {
		t.Fatal(err)
	}
	want := []exifread.Preview{{Offset: 200_000, Length: int64(len(plainJPEG(t, 1620, 1080))), Width: 1620, Height: 1080}}
	if diff := cmp.Diff(want, m.Previews); diff != "" {
		t.Errorf("previews of a raw file: -want +got\n%s", diff)
	}
	if m.Format != exifread.FormatDNG || m.Width.Or(0) != 6000 || m.Height.Or(0) != 4000 {
		t.Errorf("raw file: %v of %v x %v, want DNG of 6000 x 4000", m.Format, m.Width, m.Height)
	}
}

// A second picture behind the first one, named by an index (CIPA DC-007).
func TestPreviewOfPictureIndex(t *testing.T) {
	first, second := plainJPEG(t, 48, 32), plainJPEG(t, 640, 480)
	// MPF header, IFD with the one tag B002 of two entries of 16 bytes.
	build := func(firstLen, secondAt int) []byte {
		entries := make([]byte, 32)
		le32 := func(b []byte, n int) { b[0], b[1], b[2], b[3] = byte(n), byte(n>>8), byte(n>>16), byte(n>>24) }
		le32(entries, 0x030000)
		le32(entries[4:], firstLen)
		le32(entries[16:], 0x010001)
		le32(entries[20:], len(second))
		le32(entries[24:], secondAt)
		body := append([]byte("MPF\x00"), encode(t, &exifwrite.Block{IFD0: []exifwrite.Entry{exifwrite.Undefined(0xB002, entries)}})...)
		return concat(first[:2], []byte{0xFF, 0xE2, 0, byte(2 + len(body))}, body, first[2:])
	}
	main := build(0, 0)
	const header = 10 // FFD8 FFE2 length MPF
	main = build(len(main), len(main)-header)
	b := concat(main, second, []byte("trailer"))
	m, err := readBytes(b)
	if err != nil {
		t.Fatal(err)
	}
	want := []exifread.Preview{{Offset: int64(len(main)), Length: int64(len(second)), Width: 640, Height: 480}}
	if diff := cmp.Diff(want, m.Previews); diff != "" {
		t.Errorf("-want +got\n%s", diff)
	}
	if m.Integrity.State != exifread.IntegrityWhole {
		t.Errorf("integrity %+v, want whole", m.Integrity)
	}
	// The second picture cut off: the frame itself is whole.
	m, err = readBytes(b[:len(main)+100])
	if err != nil || m.Integrity.State != exifread.IntegrityWhole || len(m.Problems) != 1 {
		t.Errorf("second picture cut: %v, %+v, %+v; want whole with one problem", err, m.Integrity, m.Problems)
	}
}

func TestTornJPEG(t *testing.T) {
	whole := cameraJPEG(t, 300_000)
	for _, tc := range []struct {
		name   string
		bytes  []byte
		reason string // part of it
	}{
		{"cut in the image data", whole[:250_000], "breaks off at byte 250,000"},
		{"cut by two bytes", whole[:len(whole)-2], "its end marker is missing"},
		{"rest never written", concat(whole[:250_000], make([]byte, 50_000)), "breaks off at byte 250,000 of 300,000"},
		{"cut in the header", whole[:12_000], "inside its header"},
	} {
		m, err := readBytes(tc.bytes)
		if err != nil {
			t.Errorf("%s: %v", tc.name, err)
			continue
		}
		if m.Integrity.State != exifread.IntegrityTorn || !strings.Contains(m.Integrity.Reason, tc.reason) {
			t.Errorf("%s: got %+v, want torn, %q", tc.name, m.Integrity, tc.reason)
		}
		if m.Model.Or("") != "Borealis BX-1" {
			t.Errorf("%s: model %v was lost", tc.name, m.Model)
		}
	}
}

func TestTornRaw(t *testing.T) {
	raw := cameraRaw(t)
	for _, tc := range []struct {
		size   int64
		state  exifread.IntegrityState
		reason string
	}{
		{45 << 20, exifread.IntegrityWhole, ""},
		{45<<20 - 1, exifread.IntegrityTorn, "the file ends before its image data does: 1 byte of 46.1 MB missing"},
		{20 << 20, exifread.IntegrityTorn, "the file ends before its image data does: 26.2 MB of 46.1 MB missing"},
		{100_000, exifread.IntegrityTorn, "image data"},
	} {
		m, err := exifread.Read(t.Context(), &sparse{raw, tc.size}, tc.size)
		if err != nil {
			t.Fatalf("%d bytes: %v", tc.size, err)
		}
		if m.Integrity.State != tc.state || !strings.Contains(m.Integrity.Reason, tc.reason) {
			t.Errorf("%d bytes: got %+v, want %v, %q", tc.size, m.Integrity, tc.state, tc.reason)
		}
	}
}

func TestRefused(t *testing.T) {
	isFormat := func(err error) bool { _, ok := errors.AsType[*exifread.FormatError](err); return ok }
	isUnsupported := func(err error) bool { _, ok := errors.AsType[*exifread.UnsupportedError](err); return ok }
	notPicture := func(err error) bool { return errors.Is(err, exifread.ErrNotPicture) }
	for _, tc := range []struct {
		name  string
		bytes []byte
		kind  func(error) bool
		text  string
	}{
		{"empty", nil, isFormat, "the file is empty"},
		{"zeros", make([]byte, 100_000), isFormat, "every byte is 0x00"},
		{"one byte, repeated", bytes.Repeat([]byte{0xFF}, 70_000), isFormat, "every byte is 0xFF"},
		{"zeros in front", concat(make([]byte, 70_000), []byte("x")), isFormat, "the first 70,000 bytes are all 0x00"},
		{"text", []byte("a note about the ammonite"), notPicture, ""},
		{"start marker alone", []byte{0xFF, 0xD8, 0xFF, 0xE1}, isFormat, "JPEG: the file ends inside its header"},
		{"directory past the end", []byte("II*\x00\xFF\xFF\xFF\xFF"), isFormat, "TIFF: "},
		{"RAF header cut", []byte("FUJIFILMCCD-RAW 0201"), isFormat, "RAF: the file ends inside its header"},
		{"GIF", []byte("GIF89a\x01\x00\x01\x00"), isUnsupported, "a GIF picture is not read"},
		{"BMP", append([]byte("BM\x46\x00\x00\x00\x00\x00\x00\x00\x36\x00\x00\x00\x28\x00\x00\x00"), 1, 2, 3), isUnsupported, "a BMP picture"},
		{"PSD", []byte("8BPS\x00\x01"), isUnsupported, "a PSD picture"},
		{"X3F", []byte("FOVb\x00\x00"), isUnsupported, "an X3F raw file"},
		{"MRW", []byte("\x00MRM\x00\x00"), isUnsupported, "an MRW raw file"},
		{"CRW", []byte("II\x1a\x00\x00\x00HEAPCCDR\x02\x00"), isUnsupported, "a CRW raw file"},
		{"movie", []byte("\x00\x00\x00\x14ftypqt  \x00\x00\x02\x00qt  "), isUnsupported, "movie"},
	} {
		m, err := readBytes(tc.bytes)
		if m == nil {
			t.Fatalf("%s: no Metadata", tc.name)
		}
		if err == nil || !tc.kind(err) || !strings.Contains(err.Error(), tc.text) {
			t.Errorf("%s: got %T %v, want %q", tc.name, err, err, tc.text)
		}
	}
}

func TestReadFileErrors(t *testing.T) {
	dir := t.TempDir()
	_, err := exifread.ReadFile(t.Context(), filepath.Join(dir, "gone.jpg"))
	if !errors.Is(err, fs.ErrNotExist) || strings.Count(err.Error(), dir) != 1 {
		t.Errorf("a missing file: %v", err)
	}
	_, err = exifread.ReadFile(t.Context(), dir)
	if err == nil || !strings.Contains(err.Error(), "not an ordinary file") {
		t.Errorf("a folder: %v", err)
	}
	empty := filepath.Join(dir, "empty.jpg")
	if err := os.WriteFile(empty, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	_, err = exifread.ReadFile(t.Context(), empty)
	if _, ok := errors.AsType[*exifread.FormatError](err); !ok || strings.Count(err.Error(), empty) != 1 {
		t.Errorf("an empty file: %v", err)
	}
}

// A medium that fails is not a damaged file.
func TestMediumFails(t *testing.T) {
	b := cameraJPEG(t, 100_000)
	broken := errors.New("input/output error")
	for from := range int64(100_000) {
		if from%997 != 0 {
			continue
		}
		_, err := exifread.Read(t.Context(), failing{bytes.NewReader(b), from, broken}, int64(len(b)))
		if err != nil && !errors.Is(err, broken) {
			t.Errorf("failing from byte %d: %v", from, err)
		}
		if err == nil && from < int64(len(b)) {
			t.Errorf("failing from byte %d: no error", from)
		}
	}
}

// failing gives an error for every read that touches a byte from the given one on.
type failing struct {
	r    *bytes.Reader
	from int64
	err  error
}

func (f failing) ReadAt(p []byte, off int64) (int, error) {
	if off+int64(len(p)) > f.from {
		return 0, f.err
	}
	return f.r.ReadAt(p, off)
}

func TestPictureExtension(t *testing.T) {
	for name, want := range map[string]bool{
		"BX1_0001.JPG": true, "a/b.nef": true, "x.HIF": true, "x.cr3": true, "x.Tiff": true,
		"x.mov": false, "x.xmp": false, "x": false, ".jpg.txt": false, "notes.txt": false,
	} {
		if got := exifread.PictureExtension(name); got != want {
			t.Errorf("%q: got %v, want %v", name, got, want)
		}
	}
}

// Values whose parts mean something of their own (CIPA DC-008, tags 0x9209,
// 0xA404, 0xA461).
func TestValuesOfParts(t *testing.T) {
	for bits, want := range map[uint16]struct {
		mode          exifread.FlashMode
		fired, absent bool
	}{
		0x00: {exifread.FlashModeUnknown, false, false},
		0x09: {exifread.FlashModeCompulsory, true, false},
		0x10: {exifread.FlashModeSuppressed, false, false},
		0x19: {exifread.FlashModeAuto, true, false},
		0x18: {exifread.FlashModeAuto, false, false},
		0x20: {exifread.FlashModeUnknown, false, true},
		0x5F: {exifread.FlashModeAuto, true, false},
	} {
		m, err := readBytes(exifFrame(t, exifwrite.Short(0x9209, bits)))
		if f := m.Flash.Or(0); err != nil || !m.Flash.Known() || f.Mode() != want.mode || f.Fired() != want.fired || f.Absent() != want.absent {
			t.Errorf("flash %#x: mode %d, fired %v, absent %v, %v", bits, f.Mode(), f.Fired(), f.Absent(), err)
		}
	}
	for zoom, want := range map[[2]uint32]string{{0, 1}: "1/1", {0, 0}: "not recorded", {3, 2}: "3/2", {1, 0}: "not recorded"} {
		m, err := readBytes(exifFrame(t, exifwrite.Rational(0xA404, zoom)))
		if got := m.DigitalZoomRatio.String(); err != nil || got != want || len(m.Problems) > 0 {
			t.Errorf("zoom %v: %s, %v, %v; want %s", zoom, got, err, m.Problems, want)
		}
	}
	for _, c := range []struct {
		taken, used uint16
		want        string
	}{{0, 0, "not recorded"}, {12, 0, "{12 not recorded}"}, {12, 10, "{12 10}"}} {
		m, err := readBytes(exifFrame(t, exifwrite.Short(0xA461, c.taken, c.used), exifwrite.Short(0xA460, 3)))
		if got := m.CompositeSources.String(); err != nil || got != c.want || m.CompositeImage.Or(0) != 3 {
			t.Errorf("%d, %d: %s, composite %s, %v; want %s", c.taken, c.used, got, m.CompositeImage, err, c.want)
		}
	}
}

// A copy of a JPEG made smaller keeps what Exif records of the one it was made from.
func TestSizeInExifAndInTheFrameHeader(t *testing.T) {
	m, err := readBytes(exifFrame(t, exifwrite.Long(0xA002, 8256), exifwrite.Long(0xA003, 5504)))
	if err != nil || m.Width.Or(0) != 16 || m.Height.Or(0) != 16 || m.PixelXDimension.Or(0) != 8256 || m.PixelYDimension.Or(0) != 5504 {
		t.Errorf("%v; %s x %s, in Exif %s x %s", err, m.Width, m.Height, m.PixelXDimension, m.PixelYDimension)
	}
}
