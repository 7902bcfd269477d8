package pictures

import (
	"bytes"
	"errors"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// corners is a picture with another colour in each quarter and a fine pattern in the lower
// right one: these show where each part of it is drawn.
func corners(w, h int) *image.RGBA {
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			c := color.RGBA{200, 40, 40, 255} // upper left: red
			switch {
			case x >= w/2 && y < h/2:
				c = color.RGBA{40, 200, 40, 255} // upper right: green
			case x < w/2 && y >= h/2:
				c = color.RGBA{40, 40, 200, 255} // lower left: blue
			case x >= w/2:
				v := uint8(200 + 40*(x/3%2)) // lower right: white
				c = color.RGBA{v, v, v, 255}
			}
			img.SetRGBA(x, y, c)
		}
	}
	return img
}

// shownFrame writes a picture to a file and returns a frame of it, with an Orientation.
func shownFrame(t *testing.T, img image.Image, orientation uint16) *shoot.Frame {
	t.Helper()
	name := filepath.Join(t.TempDir(), "BX1_0001.JPG")
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, b.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	c, err := shoot.Collect(t.Context(), []string{filepath.Dir(name)}, nil)
	if err != nil || len(c.Files) != 1 {
		t.Fatal(err, len(c.Files))
	}
	c.Files[0].Meta.Orientation = exifread.Of(orientation)
	return shoot.Runs(c.Files, 0)[0].Frames[0]
}

// colourAt names the colour of a place of a shown picture, in fractions of its sides.
func colourAt(t *testing.T, s *Shown, x, y float64) string {
	t.Helper()
	img, err := jpeg.Decode(bytes.NewReader(s.JPEG))
	if err != nil {
		t.Fatal(err)
	}
	if img.Bounds().Dx() != s.Width || img.Bounds().Dy() != s.Height {
		t.Fatalf("%v, want %d x %d", img.Bounds(), s.Width, s.Height)
	}
	r, g, b, _ := img.At(int(x*float64(s.Width)), int(y*float64(s.Height))).RGBA()
	switch {
	case r > 0x9000 && g > 0x9000:
		return "white"
	case r > 0x9000:
		return "red"
	case g > 0x9000:
		return "green"
	case b > 0x9000:
		return "blue"
	}
	return "dark"
}

// TestShownUpright holds every Orientation: by CIPA DC-008, tag 0x0112, the row and column
// of the stored picture's first pixel as it is shown.
func TestShownUpright(t *testing.T) {
	for orientation, upperLeft := range map[uint16]string{1: "red", 2: "green", 3: "white", 4: "blue", 5: "red", 6: "blue", 7: "white", 8: "green"} {
		f := shownFrame(t, corners(900, 600), orientation)
		m := NewMaker(t.Context())
		s, err := m.Whole(f, 300, 100<<10)
		if err != nil {
			t.Fatal(err)
		}
		want := image.Pt(300, 200)
		if orientation >= 5 {
			want = image.Pt(200, 300)
		}
		if s.Width != want.X || s.Height != want.Y {
			t.Errorf("orientation %d: %d x %d, want %v", orientation, s.Width, s.Height, want)
		}
		if got := colourAt(t, s, 0.2, 0.2); got != upperLeft {
			t.Errorf("orientation %d: the upper left is %s, want %s", orientation, got, upperLeft)
		}
		// The stored lower right, wherever that is shown.
		d, err := m.Detail(f, pixels.Box{X0: 0.7, Y0: 0.7, X1: 0.9, Y1: 0.9}, 150, 100, 100<<10)
		if err != nil {
			t.Fatal(err)
		}
		if got := colourAt(t, d, 0.5, 0.5); got != "white" || d.Width != 150 || d.Height != 100 {
			t.Errorf("orientation %d: the detail is %s, %d x %d", orientation, got, d.Width, d.Height)
		}
		where := colourAt(t, s, (d.At.X0+d.At.X1)/2, (d.At.Y0+d.At.Y1)/2)
		if where != "white" {
			t.Errorf("orientation %d: the detail is said to lie where it is %s", orientation, where)
		}
	}
}

// TestDetailIsAt100Percent holds a detail to the pixels of the picture: its pattern has the
// same period, and it lies where it was asked for, moved inside at the borders.
func TestDetailIsAt100Percent(t *testing.T) {
	img := image.NewRGBA(image.Rect(0, 0, 1200, 800))
	for y := range 800 {
		for x := range 1200 {
			v := uint8(60)
			if x/8%2 == 0 {
				v = 200
			}
			img.SetRGBA(x, y, color.RGBA{v, v, v, 255})
		}
	}
	m, f := NewMaker(t.Context()), shownFrame(t, img, 1)
	for _, c := range []struct{ x, from float64 }{{0.5, 300}, {0, 0}, {1, 600}} {
		s, err := m.Detail(f, pixels.Box{X0: c.x, X1: c.x, Y0: 0.5, Y1: 0.5}, 600, 400, 1<<20)
		if err != nil {
			t.Fatal(err)
		}
		if got := s.At.X0 * 1200; math.Abs(got-c.from) > 0.5 || s.Long != 1200 {
			t.Errorf("at %.1f it begins at pixel %.0f of %d, want %.0f of 1200", c.x, got, s.Long, c.from)
		}
		shown, err := jpeg.Decode(bytes.NewReader(s.JPEG))
		if err != nil {
			t.Fatal(err)
		}
		changes := 0
		for x := 1; x < 600; x++ {
			a, _, _, _ := shown.At(x-1, 200).RGBA()
			b, _, _, _ := shown.At(x, 200).RGBA()
			if (a > 0x8000) != (b > 0x8000) {
				changes++
			}
		}
		if changes < 74 || changes > 75 {
			t.Errorf("at %.1f the pattern changes %d times over 600 pixels, want every 8", c.x, changes)
		}
	}
}

// TestShownBytes holds pictures to the bytes they may take: a whole one with lower quality or
// fewer pixels, a detail with less of the frame.
func TestShownBytes(t *testing.T) {
	noisy := image.NewRGBA(image.Rect(0, 0, 1200, 800))
	seed := uint32(1)
	for i := range noisy.Pix {
		seed = seed*1664525 + 1013904223
		noisy.Pix[i] = uint8(seed >> 24)
	}
	m, f := NewMaker(t.Context()), shownFrame(t, noisy, 1)
	for _, most := range []int{80 << 10, 14 << 10, 4 << 10} {
		w, err := m.Whole(f, 480, most)
		if err != nil {
			t.Fatal(err)
		}
		d, err := m.Detail(f, pixels.Box{X1: 1, Y1: 1}, 600, 400, most)
		if err != nil {
			t.Fatal(err)
		}
		r, err := Refit(w.JPEG, 200, most/4)
		if err != nil {
			t.Fatal(err)
		}
		if len(w.JPEG) > most || len(d.JPEG) > most || len(r.JPEG) > most/4 || r.Width > 200 {
			t.Errorf("%d, %d and %d bytes, want at most %d and a quarter of it", len(w.JPEG), len(d.JPEG), len(r.JPEG), most)
		}
	}
}

// TestShownSharpest finds the part with the finest detail.
func TestShownSharpest(t *testing.T) {
	box, err := NewMaker(t.Context()).Sharpest(shownFrame(t, corners(1200, 800), 1), 300, 200)
	if err != nil || box.X0 < 0.45 || box.Y0 < 0.45 {
		t.Errorf("the sharpest part is %+v, %v; want the lower right", box, err)
	}
}

// TestNotShown reports why there is no picture, in a few words and without a path.
func TestNotShown(t *testing.T) {
	damaged := shownFrame(t, corners(300, 200), 1)
	text, err := os.ReadFile(damaged.Files[0].Abs)
	if err != nil {
		t.Fatal(err)
	}
	for i := len(text) / 2; i < len(text)-2; i++ {
		text[i] = 0xFF
	}
	if err := os.WriteFile(damaged.Files[0].Abs, text, 0o666); err != nil {
		t.Fatal(err)
	}
	gone := shownFrame(t, corners(300, 200), 1)
	if err := os.Remove(gone.Files[0].Abs); err != nil {
		t.Fatal(err)
	}
	without := shownFrame(t, corners(300, 200), 1)
	without.Files[0].Meta.Format, without.Files[0].Meta.Previews = exifread.FormatHEIF, nil
	for want, f := range map[string]*shoot.Frame{pixels.DamagedFile: damaged, unreadPicture: gone, noPreview: without} {
		_, err := NewMaker(t.Context()).Whole(f, 100, 1<<20)
		if why, ok := errors.AsType[*NotShownError](err); !ok || why.Error() != want {
			t.Errorf("%v, want %q", err, want)
		}
	}
}

// TestSmallestLargeEnough takes a preview of the frame's own shape that is just large enough,
// and none with bars.
func TestSmallestLargeEnough(t *testing.T) {
	list := framePictures{}
	for _, size := range []image.Point{{6000, 4000}, {160, 120}, {1620, 1080}, {570, 380}} {
		list = append(list, candidate{preview: exifread.Preview{Length: 1, Width: size.X, Height: size.Y}})
	}
	for long, want := range map[int]int{100: 570, 480: 570, 600: 1620, 1620: 1620, 2000: 6000, 9000: 6000} {
		bySize(long)(list)
		if got := list[0].preview.Width; got != want {
			t.Errorf("for %d pixels the one %d wide is taken, want %d", long, got, want)
		}
		if last := list[len(list)-1].preview.Width; last != 160 {
			t.Errorf("for %d pixels the last is %d wide, want the thumbnail of another shape", long, last)
		}
	}
}
