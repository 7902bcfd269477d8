package jpeg

import (
	"bytes"
	"image"
	"image/color"
	stdjpeg "image/jpeg"
	"testing"

	"prestrike/exifread/internal/scan/scantest"
)

// picture encodes a small picture with some detail.
func picture(t testing.TB, width, height int) []byte {
	t.Helper()
	img := image.NewGray(image.Rect(0, 0, width, height))
	for i := range img.Pix {
		img.SetGray(i%width, i/width, color.Gray{uint8(i * 37)})
	}
	var b bytes.Buffer
	if err := stdjpeg.Encode(&b, img, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// app is an application segment.
func app(marker byte, content string) []byte {
	n := len(content) + 2
	return append([]byte{0xFF, marker, byte(n >> 8), byte(n)}, content...)
}

// with puts segments behind the start marker.
func with(jpeg []byte, segments ...[]byte) []byte {
	out := append([]byte(nil), jpeg[:2]...)
	for _, s := range segments {
		out = append(out, s...)
	}
	return append(out, jpeg[2:]...)
}

func TestScanFindsSizeBlocksAndEnd(t *testing.T) {
	whole := picture(t, 40, 24)
	exif := app(0xE1, "Exif\x00\x00II*\x00\x08\x00\x00\x00\x00\x00\x00\x00\x00\x00")
	tests := []struct {
		name   string
		data   []byte
		blocks int
		torn   bool
	}{
		{"plain", whole, 0, false},
		{"Exif first", with(whole, exif), 1, false},
		{"Exif behind XMP", with(whole, app(0xE1, "http://example.org/xmp/\x00<x/>"), exif), 1, false},
		{"bytes behind the end", append(bytes.Clone(whole), bytes.Repeat([]byte("data "), 5000)...), 0, false},
		{"zeros behind the end", append(bytes.Clone(whole), make([]byte, 20000)...), 0, false},
		{"without its last bytes", whole[:len(whole)-2], 0, true},
		{"without its second half", whole[:len(whole)-len(whole)/4], 0, true},
		{"second half never written", append(bytes.Clone(whole[:len(whole)-len(whole)/4]), make([]byte, len(whole)/4)...), 0, true},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			l, err := scantest.Check(t, Scan, tt.data)
			if err != nil {
				t.Fatal(err)
			}
			if l.Width != 40 || l.Height != 24 {
				t.Errorf("size %d x %d, want 40 x 24", l.Width, l.Height)
			}
			if len(l.Blocks) != tt.blocks {
				t.Errorf("%d Exif blocks, want %d", len(l.Blocks), tt.blocks)
			}
			if !l.Checked || (l.Torn != "") != tt.torn {
				t.Errorf("checked %v, torn %q; want torn %v", l.Checked, l.Torn, tt.torn)
			}
		})
	}
}

func TestScanCutAtEveryByte(t *testing.T) {
	data := with(picture(t, 16, 16), app(0xE1, "Exif\x00\x00II*\x00\x08\x00\x00\x00\x00\x00\x00\x00\x00\x00"))
	scantest.Cut(t, Scan, data, len(data), 1)
}

func FuzzScan(f *testing.F) {
	whole := picture(f, 16, 16)
	f.Add(whole)
	f.Add(whole[:len(whole)/2])
	f.Add(with(whole, app(0xE2, "MPF\x00II*\x00\x08\x00\x00\x00\x00\x00\x00\x00\x00\x00")))
	f.Fuzz(func(t *testing.T, data []byte) {
		l, err := scantest.Check(t, Scan, data)
		if err == nil && l.Checked && l.Torn == "" && !bytes.Contains(data, []byte{0xFF, 0xD9}) {
			t.Error("a file without an end marker passes as whole")
		}
	})
}

func TestReadFrame(t *testing.T) {
	whole := picture(t, 40, 24)
	for _, tt := range []struct {
		name string
		data []byte
		ok   bool
	}{
		{"plain", whole, true},
		{"behind bytes of no segment", with(whole, []byte{1, 2, 0xFF, 0, 3}), true},
		{"behind fill bytes", with(whole, []byte{0xFF, 0xFF}), true},
		{"behind a thumbnail", with(whole, app(0xE1, "Exif\x00\x00"+string(picture(t, 8, 8)))), true},
		{"cut", whole[:bytes.Index(whole, []byte{0xFF, mSOF0})+11], false},
		{"lossless", bytes.Replace(whole, []byte{0xFF, mSOF0}, []byte{0xFF, 0xC3}, 1), false},
		{"no picture", []byte("nothing at all"), false},
	} {
		f, err := ReadFrame(bytes.NewReader(append([]byte("before"), tt.data...)), 6, int64(len(tt.data)))
		if (err == nil) != tt.ok || tt.ok && (f.Width != 40 || f.Height != 24 || f.Progressive || len(f.Components) != 1) {
			t.Errorf("%s: %+v, error %v", tt.name, f, err)
		}
	}
}

// FuzzReadFrame holds that the header found is the one that the decoder of the
// standard library goes by.
func FuzzReadFrame(f *testing.F) {
	whole := picture(f, 16, 16)
	f.Add(whole)
	f.Add(with(whole, []byte{1, 2, 0xFF, 0, 3}, []byte{0xFF, 0xFF}))
	f.Add(bytes.Replace(whole, []byte{0xFF, mSOF0}, []byte{0xFF, mSOF2}, 1))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := stdjpeg.DecodeConfig(bytes.NewReader(data))
		if err != nil {
			return
		}
		h, err := ReadFrame(bytes.NewReader(data), 0, int64(len(data)))
		if err == nil && (h.Width != c.Width || h.Height != c.Height) {
			t.Errorf("%d x %d, where the decoder finds %d x %d", h.Width, h.Height, c.Width, c.Height)
		}
	})
}
