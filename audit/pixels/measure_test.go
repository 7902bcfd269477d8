package pixels

import (
	"errors"
	"image"
	"image/color"
	"math"
	"math/rand/v2"
	"testing"
)

// noisy is a picture of random greys on a slope.
func noisy(seed uint64, w, h int) *image.Gray {
	rng := rand.New(rand.NewPCG(seed, 3))
	img := image.NewGray(image.Rect(0, 0, w, h))
	for i := range img.Pix {
		img.Pix[i] = uint8(60 + (i%w)*60/w + rng.IntN(90))
	}
	return img
}

// TestFocusMeasure holds the cells to the published definition, written here
// straight from it: the modified Laplacian of Nayar and Nakagawa with step 1,
// on 2x2 means, squared and averaged over the cell. A board of black and white squares of
// one mean each has the largest there are.
func TestFocusMeasure(t *testing.T) {
	board := image.NewGray(image.Rect(0, 0, 206, 161))
	for i := range board.Pix {
		if (i%206/2+i/206/2)%2 == 0 {
			board.Pix[i] = 255
		}
	}
	t.Run("noise", func(t *testing.T) { focusMeasure(t, noisy(1, 206, 161)) })
	t.Run("board", func(t *testing.T) { focusMeasure(t, board) })
}

func focusMeasure(t *testing.T, img *image.Gray) {
	m, err := Measure(img)
	if err != nil {
		t.Fatal(err)
	}
	w, h := 103, 80
	at := func(x, y int) float64 {
		x, y = min(max(x, 0), w-1), min(max(y, 0), h-1)
		var s float64
		for _, p := range [4][2]int{{0, 0}, {1, 0}, {0, 1}, {1, 1}} {
			s += float64(img.GrayAt(2*x+p[0], 2*y+p[1]).Y)
		}
		return s / 4
	}
	var whole float64
	for cy := range m.cells.rows {
		for cx := range m.cells.cols {
			var want float64
			for y := 4 * cy; y < 4*cy+4; y++ {
				for x := 4 * cx; x < 4*cx+4; x++ {
					ml := math.Abs(2*at(x, y)-at(x-1, y)-at(x+1, y)) + math.Abs(2*at(x, y)-at(x, y-1)-at(x, y+1))
					want += ml * ml / 16
				}
			}
			whole += want
			got := float64(m.cells.energy[cy*m.cells.cols+cx])
			if math.Abs(got-want) > 1e-5*want { // float32
				t.Fatalf("cell %d,%d: %v, want %v", cx, cy, got, want)
			}
		}
	}
	if want := whole / float64(m.cells.rows*m.cells.cols); math.Abs(m.Sharpness-want) > 1e-9*want {
		t.Errorf("sharpness of the picture %v, want %v", m.Sharpness, want)
	}
}

func TestLightIsLinear(t *testing.T) {
	for _, c := range []struct {
		grey uint8
		want float64 // IEC 61966-2-1, computed by hand
	}{{0, 0}, {10, 10.0 / 255 / 12.92}, {128, 0.215860500}, {255, 1}} {
		img := image.NewGray(image.Rect(0, 0, 96, 96))
		for i := range img.Pix {
			img.Pix[i] = c.grey
		}
		m, err := Measure(img)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(m.Light-c.want) > 1e-5 || math.Abs(m.Luma-float64(c.grey)) > 1e-9 {
			t.Errorf("grey %d: light %v, luma %v; want %v, %d", c.grey, m.Light, m.Luma, c.want, c.grey)
		}
		if clipped := c.grey < 4 || c.grey > 250; clipped != (m.Clipped == 1) {
			t.Errorf("grey %d: clipped %v, want %v", c.grey, m.Clipped, clipped)
		}
	}
}

// TestPictureKinds holds that a grey picture measures the same in every form
// that a decoder hands out, wherever its bounds begin.
func TestPictureKinds(t *testing.T) {
	grey := noisy(2, 160, 120)
	want, err := Measure(grey)
	if err != nil {
		t.Fatal(err)
	}
	at := image.Rect(7, 9, 167, 129)
	rgba, nrgba, cmyk := image.NewRGBA(at), image.NewNRGBA(at), image.NewCMYK(at)
	ycc := image.NewYCbCr(at, image.YCbCrSubsampleRatio420)
	for i := range ycc.Cb {
		ycc.Cb[i], ycc.Cr[i] = 128, 128
	}
	for y := range 120 {
		for x := range 160 {
			g := grey.GrayAt(x, y).Y
			rgba.Set(x+7, y+9, color.Gray{g})
			nrgba.Set(x+7, y+9, color.Gray{g})
			cmyk.Set(x+7, y+9, color.CMYK{K: 255 - g})
			ycc.Y[ycc.YOffset(x+7, y+9)] = g
		}
	}
	for name, img := range map[string]image.Image{"RGBA": rgba, "NRGBA": nrgba, "CMYK": cmyk, "YCbCr": ycc} {
		got, err := Measure(img)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if got.Sharpness != want.Sharpness || got.Luma != want.Luma || got.print != want.print {
			t.Errorf("%s: sharpness %v, luma %v; want %v, %v", name, got.Sharpness, got.Luma, want.Sharpness, want.Luma)
		}
	}
}

func TestMeasureRefusesSmallPictures(t *testing.T) {
	for _, size := range []image.Point{{63, 500}, {500, 63}, {1, 1}, {0, 0}, {20000, 64}} {
		if _, err := Measure(image.NewGray(image.Rectangle{Max: size})); !errors.Is(err, ErrTooSmall) {
			t.Errorf("%v: error %v, want ErrTooSmall", size, err)
		}
	}
}

func TestMeasureIsSmall(t *testing.T) {
	for _, size := range []image.Point{{64, 64}, {1600, 1200}, {2399, 1600}, {6000, 4000}, {3000, 3000}} {
		m, err := Measure(image.NewGray(image.Rectangle{Max: size}))
		if err != nil {
			t.Fatal(err)
		}
		if m.Bytes() > 1<<20 {
			t.Errorf("%v: %d bytes kept, want 1 MiB at most", size, m.Bytes())
		}
		if long := max(m.AnalysedWidth(), m.AnalysedHeight()); size.X > 1600 && (long < 1060 || long > 2400) {
			t.Errorf("%v: analysed at %d px", size, long)
		}
	}
}

// TestRegister holds the registration to motions done to a smooth picture.
func TestRegister(t *testing.T) {
	const w, h = 640, 480
	scene := func(x, y float64) float64 {
		return 120 + 30*math.Sin(x/17+0.3*math.Sin(y/31)) + 30*math.Cos(y/23+0.4*math.Sin(x/41)) + 20*math.Sin((x+2*y)/37)
	}
	picture := func(m Motion) *FrameMeasure {
		img := image.NewGray(image.Rect(0, 0, w, h))
		for y := range h {
			for x := range w {
				// the inverse of the motion, about the middle
				px, py := float64(x)-(w-1)/2.0-m.ShiftX, float64(y)-(h-1)/2.0-m.ShiftY
				s, r := 1+m.Scale, m.Rotation
				d := s*s + r*r
				sx, sy := (s*px+r*py)/d, (-r*px+s*py)/d
				img.Pix[y*w+x] = uint8(math.Round(m.Gain*scene(sx, sy) + m.Offset))
			}
		}
		f, err := Measure(img)
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	still := picture(Motion{Gain: 1})
	for _, want := range []Motion{
		{Gain: 1},
		{Gain: 1, ShiftX: 1.3, ShiftY: -0.7},
		{Gain: 1, ShiftX: -14, ShiftY: 9},
		{Gain: 1, Scale: 0.004},
		{Gain: 0.8, Offset: 5, Rotation: 0.003, ShiftX: 2},
		{Gain: 1.1, Scale: -0.02, Rotation: -0.002, ShiftY: 4},
	} {
		got := Register(still, picture(want))
		if !got.Converged {
			t.Errorf("%+v: not converged", want)
			continue
		}
		// a tenth of a pixel: values are rounded to whole codes
		half := math.Hypot(w, h) / 4
		off := math.Hypot(got.ShiftX-want.ShiftX, got.ShiftY-want.ShiftY) + half*math.Hypot(got.Scale-want.Scale, got.Rotation-want.Rotation)
		if off > 0.1 || math.Abs(got.Gain-want.Gain) > 0.01 {
			t.Errorf("want %+v, got %+v: %.3f px off", want, got, off)
		}
	}
	if got := Register(still, still); got.ShiftX != 0 || got.Scale != 0 {
		t.Errorf("a picture moves against itself: %+v", got)
	}
	other, err := Measure(noisy(9, w, h))
	if err != nil {
		t.Fatal(err)
	}
	if got := Register(still, other); got.Converged {
		t.Errorf("two different things are taken for one: %+v", got)
	}
	small, err := Measure(noisy(9, 320, 240))
	if err != nil {
		t.Fatal(err)
	}
	if got := Register(still, small); got.Converged {
		t.Error("pictures of two sizes are taken for one")
	}
}

func TestBoxWords(t *testing.T) {
	for _, c := range []struct {
		box  Box
		want string
	}{
		{Box{0, 0, 1, 1}, "whole picture"},
		{Box{0, 0, 0.3, 0.3}, "upper left third"},
		{Box{0.7, 0.7, 1, 1}, "lower right third"},
		{Box{0, 0, 0.5, 0.5}, "upper left quarter"},
		{Box{0.45, 0.1, 1, 0.9}, "right half"},
		{Box{0.1, 0.7, 0.9, 1}, "lower third"},
		{Box{0.3, 0.35, 0.7, 0.65}, "centre"},
		{Box{0.35, 0, 0.65, 1}, "middle, from top to bottom"},
	} {
		if got := c.box.Words(); got != c.want {
			t.Errorf("%v: %q, want %q", c.box, got, c.want)
		}
	}
}

// TestBoxTurned follows the upper left corner of the stored picture, for each
// value of Orientation: where its row 0 and its column 0 are shown (CIPA DC-008).
func TestBoxTurned(t *testing.T) {
	corner := Box{0, 0, 0.2, 0.1}
	for orientation, want := range []string{
		1: "upper left third", 2: "upper right third", 3: "lower right third", 4: "lower left third",
		5: "upper left third", 6: "upper right third", 7: "lower right third", 8: "lower left third",
	} {
		if orientation == 0 {
			continue
		}
		if got := corner.Turned(orientation).Words(); got != want {
			t.Errorf("Orientation %d: %q, want %q", orientation, got, want)
		}
	}
}

// TestCells holds the sums of usual cells and of those that grew, as those of large pictures
// do: of each, the mean energy, luma, light and ends of its binned pixels, computed one by one.
func TestCells(t *testing.T) {
	t.Run("usual", func(t *testing.T) { cells(t, noisy(4, 1003, 701), leastEdge) })
	t.Run("large", func(t *testing.T) { cells(t, noisy(4, 2399, 1500), leastEdge+1) })
}

func cells(t *testing.T, img *image.Gray, edge int) {
	for i := range img.Pix[:len(img.Pix)/2] { // ends of the scale, too
		img.Pix[i] = uint8(int(img.Pix[i])*3 - 200)
	}
	m, err := Measure(img)
	if err != nil {
		t.Fatal(err)
	}
	c := &m.cells
	if c.edge != edge {
		t.Fatalf("cells of %d binned pixels, want %d", c.edge, edge)
	}
	at := func(x, y int) float64 {
		x, y = min(max(x, 0), m.Width/2-1), min(max(y, 0), m.Height/2-1)
		return float64(int(img.GrayAt(2*x, 2*y).Y)+int(img.GrayAt(2*x+1, 2*y).Y)+int(img.GrayAt(2*x, 2*y+1).Y)+int(img.GrayAt(2*x+1, 2*y+1).Y)) / 4
	}
	n := float64(c.edge * c.edge)
	for i := 0; i < c.cols*c.rows; i += 97 {
		var energy, luma, light, clipped, low, high float64
		for k := range c.edge * c.edge {
			x, y := i%c.cols*c.edge+k%c.edge, i/c.cols*c.edge+k/c.edge
			v := at(x, y)
			ml := math.Abs(2*v-at(x-1, y)-at(x+1, y)) + math.Abs(2*v-at(x, y-1)-at(x, y+1))
			energy, luma, light = energy+ml*ml/n, luma+v/n, light+float64(lightTable[int(v*unit)])/n
			if v > 250 {
				high, clipped = high+1/n, clipped+1/n
			}
			if v <= 5 {
				low += 1 / n
			}
			if v < 4 {
				clipped += 1 / n
			}
		}
		for name, v := range map[string][2]float64{
			"energy": {float64(c.energy[i]), energy}, "luma": {float64(c.luma[i]) / 256, luma}, "light": {float64(c.light[i]), light},
			"clipped": {float64(c.clipped[i]) / 255, clipped}, "low": {float64(c.low[i]) / 255, low}, "high": {float64(c.high[i]) / 255, high},
		} {
			if math.Abs(v[0]-v[1]) > 1e-5*v[1]+0.0021 && !(name == "light" && math.Abs(v[0]-v[1]) <= 0.5+1e-9) {
				t.Fatalf("cell %d: %s %v, want %v", i, name, v[0], v[1])
			}
		}
	}
}
