package proof

import (
	"cmp"
	"image"
	"image/jpeg"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"testing"

	"prestrike/audit/pixels/pixelstest"
)

var offsetInName = regexp.MustCompile(`_(-?[\d.]+)\.jpeg$`)

// realSeries returns the pictures of a real series beside the module, in the order of focus;
// the test is skipped where they are not.
func realSeries(t *testing.T, pattern string) []image.Image {
	t.Helper()
	files, err := filepath.Glob(filepath.Join("..", "..", "..", "..", "shared", "data", "focus", pattern))
	if err != nil {
		t.Fatal(err)
	}
	if len(files) == 0 {
		t.Skip("the real series are not beside the module")
	}
	offset := func(name string) float64 {
		x := 0.0
		if m := offsetInName.FindStringSubmatch(name); m != nil {
			if x, err = strconv.ParseFloat(m[1], 64); err != nil {
				t.Fatal(err)
			}
		}
		return x
	}
	slices.SortFunc(files, func(a, b string) int { return cmp.Or(cmp.Compare(offset(a), offset(b)), cmp.Compare(a, b)) })
	var list []image.Image
	for _, name := range files {
		list = append(list, readJPEG(t, name))
	}
	return list
}

func readJPEG(t *testing.T, name string) image.Image {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	img, err := jpeg.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	return img
}

// TestRealProofs compares the proofs of two real series with those that were found good by
// eye. UPDATE=1 writes them anew: inspect them before they are committed.
func TestRealProofs(t *testing.T) {
	pixelstest.Long(t)
	const side = 480
	for _, c := range []struct {
		name, pattern string
		// A proof may differ from the golden by as much as writing it as JPEG changes it, 38.6
		// and 45.2 dB, and by what hardly shows. No frame alone comes as near.
		atLeast float64
	}{
		{"balls", "balls/*.jpg", 36},
		{"tile", "tiles/*_iy026_*.jpeg", 42},
	} {
		name, atLeast := c.name, c.atLeast
		list := realSeries(t, c.pattern)
		f := Focus(RunOf(measured(t, list)), listed(list))
		got := Fit(f.Picture, side)
		golden := filepath.Join("testdata", name+".jpg")
		if os.Getenv("UPDATE") != "" {
			writeJPEG(t, golden, got)
		}
		want := readJPEG(t, golden)
		if got.Bounds() != want.Bounds() {
			t.Errorf("%s: the proof is %v, the golden %v", name, got.Bounds(), want.Bounds())
			continue
		}
		if d := psnrRGB(got, want); d < atLeast {
			t.Errorf("%s: the proof lies %.1f dB from the golden, want %.0f at least", name, d, atLeast)
		} else {
			t.Logf("%s: %.1f dB from the golden", name, d)
		}
		for i, img := range list {
			if d := psnrRGB(Fit(img, side), want); d >= atLeast {
				t.Errorf("%s: frame %d alone lies %.1f dB from the golden: it cannot tell", name, i, d)
			}
		}
	}
}

func writeJPEG(t *testing.T, name string, img image.Image) {
	t.Helper()
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := jpeg.Encode(f, img, &jpeg.Options{Quality: 88}); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
}

// psnrRGB is the peak signal-to-noise ratio of two pictures of one size, dB.
func psnrRGB(a, b image.Image) float64 {
	aw := image.NewGray(a.Bounds())
	bw := image.NewGray(b.Bounds())
	for y := range aw.Rect.Dy() {
		for x := range aw.Rect.Dx() {
			aw.Set(x, y, a.At(x, y))
			bw.Set(x, y, b.At(x, y))
		}
	}
	return psnr(aw.Pix, aw.Stride, bw, nil)
}

// TestRealPlain holds that areas of a real series that show nothing, found by eye in its
// sharpest frames, are called plain, and a wickerwork is not. The microscope does not move
// the picture, so that all its frames are taken as they lie.
func TestRealPlain(t *testing.T) {
	if *rateScenes < manyScenes {
		t.Skip("inspects real series at full size: .ci/run proofs does")
	}
	for _, c := range []struct {
		pattern  string
		area     image.Rectangle // px
		plain    bool
		atLeast  float64
		describe string
	}{
		{"tiles/*_iy026_*.jpeg", image.Rect(560, 100, 1040, 1100), true, 0.95, "the gap between two fields"},
		{"tiles/*_iy026_*.jpeg", image.Rect(60, 520, 400, 860), true, 0.95, "a field"},
		{"tiles/*_iy025_*.jpeg", image.Rect(100, 60, 1400, 800), true, 0.95, "the ground beside a digit, with dust"},
		{"balls/*.jpg", image.Rect(800, 80, 1100, 320), false, 0.95, "the ball behind"},
		{"balls/*.jpg", image.Rect(240, 480, 560, 640), false, 0.95, "the ball in front"},
	} {
		list := realSeries(t, c.pattern)
		run := RunOf(measured(t, list))
		if c.plain {
			run.Reference, run.Places = len(list)/2, make([]Place, len(list))
			for i := range run.Places {
				run.Places[i].Fits = true
			}
		}
		m := Focus(run, listed(list)).Coverage
		all, right := 0.0, 0.0
		for y := c.area.Min.Y / m.Side; y < c.area.Max.Y/m.Side; y++ {
			for x := c.area.Min.X / m.Side; x < c.area.Max.X/m.Side; x++ {
				all++
				if (m.Marks[y*m.Width+x] == Plain) == c.plain {
					right++
				}
			}
		}
		t.Logf("%s: %.3f", c.describe, right/all)
		if right/all < c.atLeast {
			t.Errorf("%s: %.3f of it is right, want %.2f", c.describe, right/all, c.atLeast)
		}
	}
}
