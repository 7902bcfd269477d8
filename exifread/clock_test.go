package exifread_test

import (
	"errors"
	"slices"
	"testing"

	"prestrike/exifread"
	"prestrike/exifread/exifwrite"
)

// DateTimeOriginal counts before DateTimeDigitized, and that before DateTime,
// in whichever directory or block each stands, with its own decimals and zone.
func TestCaptureTimeWhereverItStands(t *testing.T) {
	const original, digitized, changed = "2026:03:04 10:11:12", "2026:03:05 01:02:03", "2026:03:06 04:05:06"
	var (
		wantOriginal  = "2026-03-04 10:11:12.92 +02:00"
		wantDigitized = "2026-03-05 01:02:03.5 -08:00"
		wantChanged   = "2026-03-06 04:05:06.25 +00:00"
	)
	ofOriginal := []exifwrite.Entry{exifwrite.ASCII(0x9003, original), exifwrite.ASCII(0x9011, "+02:00"), exifwrite.ASCII(0x9291, "92")}
	ofDigitized := []exifwrite.Entry{exifwrite.ASCII(0x9004, digitized), exifwrite.ASCII(0x9012, "-08:00"), exifwrite.ASCII(0x9292, "5")}
	ofChanged := []exifwrite.Entry{exifwrite.ASCII(0x0132, changed), exifwrite.ASCII(0x9010, "+00:00"), exifwrite.ASCII(0x9290, "25")}
	blank := []exifwrite.Entry{exifwrite.ASCII(0x9003, "0000:00:00 00:00:00")}
	damaged := []exifwrite.Entry{exifwrite.ASCII(0x9003, "last Tuesday")}
	sorted := func(lists ...[]exifwrite.Entry) []exifwrite.Entry {
		all := slices.Concat(lists...)
		slices.SortStableFunc(all, func(a, b exifwrite.Entry) int { return int(a.Tag) - int(b.Tag) })
		return all
	}
	block := func(ifd0, exif []exifwrite.Entry) []byte { return encode(t, &exifwrite.Block{IFD0: ifd0, Exif: exif}) }
	jpeg := func(blocks ...[]byte) []byte {
		file := plainJPEG(t, 16, 16)
		for _, b := range slices.Backward(blocks) {
			file = insert(t, file, b)
		}
		return file
	}
	raw := func(first, second []exifwrite.Entry) []byte { // of brand crx
		return concat(isoBox("ftyp", []byte("crx \x00\x00\x00\x01crx isom")),
			isoBox("moov", isoBox("uuid", make([]byte, 16), isoBox("CMT1", block(first, nil)), isoBox("CMT2", block(second, nil)))))
	}
	dng := func(ifd0, exif []exifwrite.Entry) []byte {
		return block(sorted(ifd0, []exifwrite.Entry{exifwrite.Byte(0xC612, 1, 4, 0, 0)}), exif)
	}
	for _, c := range []struct {
		name string
		file []byte
		want string
	}{
		{"crx: changed, then original", raw(ofChanged, ofOriginal), wantOriginal},
		{"crx: original, then digitized", raw(ofOriginal, ofDigitized), wantOriginal},
		{"crx: digitized, then original", raw(ofDigitized, sorted(ofOriginal, ofChanged)), wantOriginal},
		{"crx: changed, then digitized", raw(ofChanged, ofDigitized), wantDigitized},
		{"crx: changed alone", raw(ofChanged, nil), wantChanged},
		{"JPEG: digitized, then original in another block", jpeg(block(nil, ofDigitized), block(nil, ofOriginal)), wantOriginal},
		{"JPEG: zeros, then original in another block", jpeg(block(nil, blank), block(nil, ofOriginal)), wantOriginal},
		{"JPEG: damage, then original in another block", jpeg(block(nil, damaged), block(nil, ofOriginal)), wantOriginal},
		{"JPEG: original, then zeros in another block", jpeg(block(nil, ofOriginal), block(nil, blank)), wantOriginal},
		{"JPEG: changed alone", jpeg(block(ofChanged, nil)), "not recorded"},
		{"raw: original in IFD0, digitized in the Exif IFD", dng(ofOriginal, ofDigitized), wantOriginal},
		{"raw: changed in IFD0, digitized in the Exif IFD", dng(ofChanged, ofDigitized), wantDigitized},
		{"raw: changed alone", dng(ofChanged, nil), wantChanged},
	} {
		m, err := readBytes(c.file)
		if _, damaged := errors.AsType[*exifread.FormatError](err); err != nil && !damaged {
			t.Errorf("%s: %v", c.name, err)
		}
		if got := clock(m.Captured); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}
