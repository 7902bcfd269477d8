package raf

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/jpeg"
	"testing"

	"prestrike/exifread/internal/scan/scantest"
)

// file builds a RAF file: a header, an embedded picture, a directory with the
// size of the raw picture, and the given number of bytes of raw data.
func file(t testing.TB, raw int) []byte {
	t.Helper()
	var picture bytes.Buffer
	if err := jpeg.Encode(&picture, image.NewGray(image.Rect(0, 0, 32, 16)), nil); err != nil {
		t.Fatal(err)
	}
	directory := binary.BigEndian.AppendUint32(nil, 1)
	directory = append(directory, 0x01, 0x11, 0, 4, 0x0F, 0xA0, 0x17, 0x70) // height 4000, width 6000
	b := make([]byte, headerBytes)
	copy(b, Magic)
	at := uint32(len(b))
	for i, n := range []int{picture.Len(), len(directory), raw} {
		binary.BigEndian.PutUint32(b[placesAt+8*i:], at)
		binary.BigEndian.PutUint32(b[placesAt+8*i+4:], uint32(n))
		at += uint32(n)
	}
	b = append(append(b, picture.Bytes()...), directory...)
	return append(b, bytes.Repeat([]byte{0x5A}, raw)...)
}

func TestScan(t *testing.T) {
	whole := file(t, 500)
	l, err := scantest.Check(t, Scan, whole)
	if err != nil {
		t.Fatal(err)
	}
	if l.Width != 6000 || l.Height != 4000 {
		t.Errorf("size %d x %d, want 6000 x 4000", l.Width, l.Height)
	}
	if len(l.Previews) == 0 || !l.Checked || l.Torn != "" {
		t.Errorf("previews %v, checked %v, torn %q", l.Previews, l.Checked, l.Torn)
	}
	l, err = scantest.Check(t, Scan, whole[:len(whole)-100])
	if err != nil {
		t.Fatal(err)
	}
	if l.Torn == "" {
		t.Error("raw data that ends early passes as whole")
	}
}

func TestScanCutAtEveryByte(t *testing.T) {
	data := file(t, 20)
	scantest.Cut(t, Scan, data, len(data), 1)
}

func FuzzScan(f *testing.F) {
	f.Add(file(f, 20))
	f.Add(file(f, 0))
	f.Fuzz(func(t *testing.T, data []byte) {
		l, err := scantest.Check(t, Scan, data)
		if err == nil && l.Checked && l.Torn == "" && len(data) < headerBytes {
			t.Error("a file without a whole header passes as whole")
		}
	})
}
