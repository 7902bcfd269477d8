package exifread_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"image"
	"image/color"
	"image/jpeg"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"prestrike/exifread"
)

func TestPictureChoice(t *testing.T) {
	size := func(w, h int) exifread.Preview { return exifread.Preview{Offset: 1, Length: 1000, Width: w, Height: h} }
	for _, c := range []struct {
		name     string
		format   exifread.Format
		previews []exifread.Preview
		want     int // width; 0 for none
	}{
		{"nothing", exifread.FormatNEF, nil, 0},
		{"of three in a raw file", exifread.FormatNEF, []exifread.Preview{size(6000, 4000), size(1620, 1080), size(160, 120)}, 1620},
		{"the file itself before a thumbnail", exifread.FormatJPEG, []exifread.Preview{size(160, 120)}, 8000},
		{"a large preview before the file itself", exifread.FormatJPEG, []exifread.Preview{size(1920, 1080)}, 1920},
		{"a size before none", exifread.FormatNEF, []exifread.Preview{size(0, 0), size(160, 120)}, 160},
		{"the file itself, however large, before a thumbnail", exifread.FormatJPEG, []exifread.Preview{size(320, 240)}, 8000},
		{"a thumbnail where there is nothing else", exifread.FormatNEF, []exifread.Preview{size(160, 120)}, 160},
		{"full HD before VGA", exifread.FormatJPEG, []exifread.Preview{size(640, 480), size(1920, 1080), size(160, 120)}, 1920},
		{"VGA before the file itself", exifread.FormatJPEG, []exifread.Preview{size(640, 480), size(160, 120)}, 640},
		{"picture without preview", exifread.FormatHEIF, nil, 0},
	} {
		m := &exifread.Metadata{
			Format: c.format, Size: 5_000_000, Previews: c.previews,
			Width: exifread.Of[uint32](8000), Height: exifread.Of[uint32](50_000),
		}
		p, err := m.Picture()
		if p.Width != c.want || (err != nil) != (c.want == 0) || err != nil && !errors.Is(err, exifread.ErrNoPreview) {
			t.Errorf("%s: %d pixels wide, error %v; want %d", c.name, p.Width, err, c.want)
		}
	}
	torn := &exifread.Metadata{Format: exifread.FormatJPEG, Size: 1000, Integrity: exifread.Integrity{State: exifread.IntegrityTorn}}
	if _, err := torn.Picture(); !errors.Is(err, exifread.ErrNoPreview) {
		t.Errorf("torn file: error %v, want %v", err, exifread.ErrNoPreview)
	}
}

// greyFile is a JPEG file of one grey.
func greyFile(t *testing.T, w, h int, grey uint8) []byte {
	t.Helper()
	img := image.NewGray(image.Rect(0, 0, w, h))
	for i := range img.Pix {
		img.Pix[i] = grey
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestDecodePicture(t *testing.T) {
	// The picture stands in the middle of other bytes.
	picture := greyFile(t, 96, 64, 77)
	file := append(append(bytes.Repeat([]byte{7}, 500), picture...), bytes.Repeat([]byte{9}, 500)...)
	name := filepath.Join(t.TempDir(), "BX1_0001.NEF")
	if err := os.WriteFile(name, file, 0o666); err != nil {
		t.Fatal(err)
	}
	img, err := exifread.Preview{Offset: 500, Length: int64(len(picture))}.Decode(t.Context(), name, nil)
	if err != nil {
		t.Fatal(err)
	}
	if got := img.Bounds().Size(); got != image.Pt(96, 64) {
		t.Errorf("size %v, want 96 x 64", got)
	}
	if g := color.GrayModel.Convert(img.At(40, 40)).(color.Gray).Y; g < 75 || g > 79 {
		t.Errorf("grey %d, want 77 to within the compression", g)
	}
	_, err = exifread.Preview{Length: 10}.Decode(t.Context(), filepath.Join(t.TempDir(), "gone.NEF"), nil)
	if !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("missing file: error %v", err)
	}
}

func TestDecodeRefusesHostilePictures(t *testing.T) {
	colours := []byte{0x11, 0x11, 0x11}
	padded := func(h handmade) []byte {
		h.scans, h.empty = 1, true
		return append(h.encode(), bytes.Repeat([]byte{0xFF}, 100_000)...)
	}
	whole := greyFile(t, 96, 64, 77)
	claim := func(w, h uint16) []byte { // the frame header's size changed
		b := bytes.Clone(whole)
		i := bytes.Index(b, []byte{0xFF, 0xC0})
		binary.BigEndian.PutUint16(b[i+5:], h)
		binary.BigEndian.PutUint16(b[i+7:], w)
		return b
	}
	for _, c := range []struct {
		name string
		data []byte
		want string
	}{
		{"no JPEG", []byte("no picture at all"), "damaged picture"},
		{"cut in the header", whole[:40], "damaged picture"},
		{"cut in the image data", whole[:len(whole)-20], "damaged picture"},
		{"4 gigapixels", claim(65535, 65535), "limit"},
		{"progressive, 1.4 GiB", padded(handmade{sof: 0xC2, w: 9990, h: 9990, components: colours}), "limit"},
		{"progressive with four inks, 1.9 GiB", padded(handmade{sof: 0xC2, w: 9990, h: 9990, components: []byte{0x11, 0x11, 0x11, 0x11}, before: app14}), "limit"},
		{"red, green and blue, 667 MiB", padded(handmade{sof: 0xC0, w: 9990, h: 9990, components: colours, before: app14}), "limit"},
		{"told to be red, green and blue behind the scan", handmade{sof: 0xC0, w: 96, h: 64, components: colours, scans: 1, behind: app14}.encode(), "damaged picture"},
		{"a thousand scans", handmade{sof: 0xC2, w: 96, h: 64, components: colours, scans: 1000}.encode(), "damaged picture"},
		{"a scan too many", handmade{sof: 0xC2, w: 96, h: 64, components: colours, scans: 17}.encode(), "damaged picture"},
		{"90 megapixels in a few hundred bytes", claim(10000, 9000), "damaged picture: 10000 x 9000 pixels in"},
	} {
		name := filepath.Join(t.TempDir(), "BX1_0001.JPG")
		if err := os.WriteFile(name, c.data, 0o666); err != nil {
			t.Fatal(err)
		}
		img, err := exifread.Preview{Length: int64(len(c.data))}.Decode(t.Context(), name, nil)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: picture %v, error %v; want an error with %q", c.name, img != nil, err, c.want)
		}
	}
}

// The scans that programs write of a progressive picture, some ten, are decoded.
func TestDecodeTakesProgressivePictures(t *testing.T) {
	for _, scans := range []int{1, 10, 16} {
		data := handmade{sof: 0xC2, w: 96, h: 64, components: []byte{0x11, 0x11, 0x11}, scans: scans}.encode()
		img, err := exifread.DecodeFrom(exifread.Preview{Length: int64(len(data))}, t.Context(), bytes.NewReader(data), int64(len(data)), nil)
		if err != nil || img.Bounds().Dx() != 96 {
			t.Errorf("%d scans: %v", scans, err)
		}
	}
}

// A handmade picture is black throughout: each block takes a bit or two.
type handmade struct {
	sof        byte // the marker of its frame header: C0 baseline, C2 progressive
	w, h       int
	components []byte // the sampling factors of each
	before     []byte // segments before the frame header
	scans      int    // how often its one scan stands in it
	empty      bool   // nothing is in them
	behind     []byte // segments behind the scans
}

// app14 is the segment (ITU-T T.872, 6.5.3) that states that the components are red, green and blue, or four inks.
var app14 = []byte("\xFF\xEE\x00\x0E\x41\x64\x6F\x62\x65\x00\x64\x00\x00\x00\x00\x00")

func (h handmade) encode() []byte {
	n := byte(len(h.components))
	out := append([]byte{0xFF, 0xD8}, h.before...)
	out = append(out, 0xFF, 0xDB, 0, 67, 0)
	out = append(out, bytes.Repeat([]byte{1}, 64)...)
	out = append(out, 0xFF, h.sof, 0, 8+3*n, 8, byte(h.h>>8), byte(h.h), byte(h.w>>8), byte(h.w), n)
	blocks := 0
	for i, hv := range h.components {
		out = append(out, byte(i+1), hv, 0)
		blocks += int(hv>>4) * int(hv&15)
	}
	for _, class := range []byte{0, 0x10} { // one code of one bit, for zero or the end of a block
		out = append(out, 0xFF, 0xC4, 0, 20, class, 1)
		out = append(out, make([]byte, 16)...)
	}
	across, down := (h.w+7)/8, (h.h+7)/8
	if n > 1 {
		y := h.components[0]
		across, down = (across+int(y>>4)-1)/int(y>>4), (down+int(y&15)-1)/int(y&15)
	} else {
		blocks = 1
	}
	for range h.scans {
		out = append(out, 0xFF, 0xDA, 0, 6+2*n, n)
		for i := range n {
			out = append(out, i+1, 0)
		}
		bits, last := 2, byte(63)
		if h.sof == 0xC2 {
			bits, last = 1, 0
		}
		out = append(out, 0, last, 0)
		if !h.empty {
			out = append(out, make([]byte, (bits*blocks*across*down+7)/8)...)
		}
	}
	return append(append(out, h.behind...), 0xFF, 0xD9)
}

// TestDecodeMemory holds that what is claimed before a picture is decoded is what
// it takes, to within the buffers and rows of working memory.
func TestDecodeMemory(t *testing.T) {
	for _, c := range []struct {
		name    string
		picture handmade
	}{
		{"4:4:4", handmade{sof: 0xC0, components: []byte{0x11, 0x11, 0x11}}},
		{"4:4:0", handmade{sof: 0xC0, components: []byte{0x12, 0x11, 0x11}}},
		{"4:1:1", handmade{sof: 0xC0, components: []byte{0x41, 0x11, 0x11}}},
		{"progressive 4:2:0", handmade{sof: 0xC2, components: []byte{0x22, 0x11, 0x11}}},
		{"progressive 4:2:2", handmade{sof: 0xC2, components: []byte{0x21, 0x11, 0x11}}},
		{"four inks at one size", handmade{sof: 0xC0, components: []byte{0x11, 0x11, 0x11, 0x11}, before: app14}},
		{"grey", handmade{sof: 0xC0, components: []byte{0x22}}},
		{"4:2:0", handmade{sof: 0xC0, components: []byte{0x22, 0x11, 0x11}}},
		{"4:2:2", handmade{sof: 0xC1, components: []byte{0x21, 0x11, 0x11}}},
		{"4:1:0", handmade{sof: 0xC0, components: []byte{0x42, 0x11, 0x11}}},
		{"red, green and blue", handmade{sof: 0xC0, components: []byte{0x11, 0x11, 0x11}, before: app14}},
		{"four inks", handmade{sof: 0xC0, components: []byte{0x22, 0x11, 0x11, 0x22}, before: app14}},
		{"progressive grey", handmade{sof: 0xC2, components: []byte{0x11}}},
		{"progressive 4:4:4", handmade{sof: 0xC2, components: []byte{0x11, 0x11, 0x11}}},
		{"progressive four inks", handmade{sof: 0xC2, components: []byte{0x11, 0x11, 0x11, 0x11}, before: app14}},
	} {
		c.picture.w, c.picture.h, c.picture.scans = 1201, 803, 1
		data := c.picture.encode()
		name := filepath.Join(t.TempDir(), "BX1_0001.JPG")
		if err := os.WriteFile(name, data, 0o666); err != nil {
			t.Fatal(err)
		}
		var before, after runtime.MemStats
		var claimed uint64
		runtime.ReadMemStats(&before)
		img, err := exifread.Preview{Length: int64(len(data))}.Decode(t.Context(), name, func(n int64) { claimed = uint64(n) })
		runtime.ReadMemStats(&after)
		if err != nil || img.Bounds().Size() != image.Pt(1201, 803) {
			t.Errorf("%s: error %v", c.name, err)
			continue
		}
		const buffers = 256 << 10
		if took := after.TotalAlloc - before.TotalAlloc; took > claimed+buffers || took < claimed {
			t.Errorf("%s: %d bytes were claimed and %d taken", c.name, claimed, took)
		}
	}
}

// TestDecodeLargest holds which of the largest pictures of cameras are decoded, and
// that the others are refused before memory is taken. Only their headers are whole.
func TestDecodeLargest(t *testing.T) {
	for _, c := range []struct {
		name       string
		w, h       int
		components []byte
		want       int64 // bytes
	}{
		{"100 megapixels, 4:2:2", 11648, 8736, []byte{0x21, 0x11, 0x11}, 2 * 11648 * 8736},
		{"100 megapixels, 4:4:4", 11648, 8736, []byte{0x11, 0x11, 0x11}, 0},
		{"150 megapixels, 4:2:0", 14208, 10656, []byte{0x22, 0x11, 0x11}, 14208 * 10656 * 3 / 2},
		{"150 megapixels, 4:2:2", 14208, 10656, []byte{0x21, 0x11, 0x11}, 0},
		{"280 megapixels, grey", 20480, 13696, []byte{0x11}, 0},
	} {
		data := handmade{sof: 0xC0, w: c.w, h: c.h, components: c.components, scans: 1, empty: true}.encode()
		data = append(data, bytes.Repeat([]byte{0xFF}, 200_000)...)
		name := filepath.Join(t.TempDir(), "BX1_0001.JPG")
		if err := os.WriteFile(name, data, 0o666); err != nil {
			t.Fatal(err)
		}
		var claimed int64
		_, err := exifread.Preview{Length: int64(len(data))}.Decode(t.Context(), name, func(n int64) { claimed = n })
		if claimed != c.want {
			t.Errorf("%s: %d bytes claimed, want %d; error %v", c.name, claimed, c.want, err)
		}
		large, refused := errors.AsType[*exifread.TooLargeError](err)
		if refused != (c.want == 0) || refused && (large.Width != c.w || large.Bytes <= exifread.MaxPictureBytes || errors.Is(err, exifread.ErrDamaged)) {
			t.Errorf("%s: error %v", c.name, err)
		}
	}
}

// TestPictureOfFiles decodes a picture of every real file that has one.
func TestPictureOfFiles(t *testing.T) {
	files, err := filepath.Glob("../testdata/frames/*")
	if err != nil {
		t.Fatal(err)
	}
	decoded := 0
	for _, f := range files {
		m, err := exifread.ReadFile(t.Context(), f)
		if err != nil {
			continue
		}
		p, err := m.Picture()
		if err != nil {
			continue
		}
		img, err := p.Decode(t.Context(), f, nil)
		if err != nil {
			t.Errorf("%s: %v", f, err)
			continue
		}
		decoded++
		if size := img.Bounds().Size(); p.Width > 0 && size != image.Pt(p.Width, p.Height) {
			t.Errorf("%s: decoded %v, recorded %d x %d", f, size, p.Width, p.Height)
		}
	}
	if decoded < 5 {
		t.Errorf("%d pictures decoded, want 5 at least", decoded)
	}
}
