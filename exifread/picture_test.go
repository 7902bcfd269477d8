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
		{"picture without preview", exifread.FormatHEIF, nil, 0},
	} {
		m := &exifread.Metadata{
			Format: c.format, Size: 5_000_000, Previews: c.previews,
			Width: exifread.Of[uint32](8000), Height: exifread.Of[uint32](5000),
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
	img, err := exifread.Preview{Offset: 500, Length: int64(len(picture))}.Decode(name)
	if err != nil {
		t.Fatal(err)
	}
	if got := img.Bounds().Size(); got != image.Pt(96, 64) {
		t.Errorf("size %v, want 96 x 64", got)
	}
	if g := color.GrayModel.Convert(img.At(40, 40)).(color.Gray).Y; g < 75 || g > 79 {
		t.Errorf("grey %d, want 77 to within the compression", g)
	}
	_, err = exifread.Preview{Length: 10}.Decode(filepath.Join(t.TempDir(), "gone.NEF"))
	if !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("missing file: error %v", err)
	}
}

func TestDecodeRefusesHostilePictures(t *testing.T) {
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
		{"no JPEG", []byte("no picture at all"), "damaged preview"},
		{"cut in the header", whole[:40], "damaged preview"},
		{"cut in the image data", whole[:len(whole)-20], "damaged preview"},
		{"4 gigapixels", claim(65535, 65535), "too large"},
		{"90 megapixels in a few hundred bytes", claim(10000, 9000), "damaged preview: 10000 x 9000 pixels in"},
	} {
		name := filepath.Join(t.TempDir(), "BX1_0001.JPG")
		if err := os.WriteFile(name, c.data, 0o666); err != nil {
			t.Fatal(err)
		}
		img, err := exifread.Preview{Length: int64(len(c.data))}.Decode(name)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: picture %v, error %v; want an error with %q", c.name, img != nil, err, c.want)
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
		m, err := exifread.ReadFile(f)
		if err != nil {
			continue
		}
		p, err := m.Picture()
		if err != nil {
			continue
		}
		img, err := p.Decode(f)
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
