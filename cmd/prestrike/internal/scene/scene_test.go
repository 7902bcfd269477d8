package scene_test

import (
	"fmt"
	"image"
	"testing"

	"prestrike/audit/slate"
	"prestrike/cmd/prestrike/internal/scene"
)

func TestSameViewSamePicture(t *testing.T) {
	s := scene.New(96, 64)
	view := scene.View{Focus: 0.4, Blur: 6, Noise: 0.05, Serial: 7}
	if difference(s.Render(view), s.Render(view)) != 0 {
		t.Error("two renderings of one view differ")
	}
	other := view
	other.Serial = 8
	if difference(s.Render(view), s.Render(other)) == 0 {
		t.Error("the noise of two frames is the same")
	}
}

// TestFocusWalks holds that what is near is sharpest with the focus in front,
// and what is far with the focus behind.
func TestFocusWalks(t *testing.T) {
	s := scene.New(240, 160)
	near := s.Render(scene.View{Focus: 0, Blur: 8})
	far := s.Render(scene.View{Focus: 1, Blur: 8})
	fossil := image.Rect(90, 90, 170, 130) // the swollen lower whorl
	cloth := image.Rect(0, 0, 240, 16)
	if a, b := detail(near, fossil), detail(far, fossil); a < 2*b {
		t.Errorf("detail of the fossil: %.1f with the focus in front, %.1f behind; want the first to be far more", a, b)
	}
	if a, b := detail(near, cloth), detail(far, cloth); b < 2*a {
		t.Errorf("detail of the cloth: %.1f with the focus in front, %.1f behind; want the second to be far more", a, b)
	}
}

func TestExposure(t *testing.T) {
	s := scene.New(96, 64)
	dark, right := s.Render(scene.View{EV: -1}), s.Render(scene.View{})
	if brightness(dark) >= brightness(right) {
		t.Errorf("brightness %.0f at -1 EV, %.0f at 0 EV", brightness(dark), brightness(right))
	}
}

// TestBackIsMirrored holds that the other side shows the same points, left for right.
func TestBackIsMirrored(t *testing.T) {
	s := scene.New(96, 64)
	front, back := s.Render(scene.View{Focus: 0.4, Blur: 6}), s.Render(scene.View{Focus: 0.4, Blur: 6, Back: true})
	if difference(front, back) == 0 {
		t.Error("front and back are one picture")
	}
	for y := range 64 {
		for x := range 96 {
			if front.YCbCrAt(x, y).Y != back.YCbCrAt(95-x, y).Y {
				t.Fatalf("the luma at %d, %d is not that of the other side", x, y)
			}
		}
	}
}

// TestSlateIsRead holds that the code on a card can be read in the picture of it, in
// all sizes of the demonstration.
func TestSlateIsRead(t *testing.T) {
	for _, size := range [][2]int{{648, 432}, {288, 192}} {
		s := scene.New(size[0], size[1])
		for serial := range uint64(8) {
			name := fmt.Sprintf("view %d, raking light", serial)
			code, err := slate.Code(name)
			if err != nil {
				t.Fatal(err)
			}
			m := s.Render(scene.View{Focus: 0.5, Noise: 0.02, Serial: serial, Slate: &scene.Slate{Name: name, Code: code}})
			got := slate.Read(&image.Gray{Pix: m.Y, Stride: m.YStride, Rect: m.Rect})
			if got.Text != slate.Text(name) {
				t.Errorf("%d x %d, serial %d: read %+v, want %q", size[0], size[1], serial, got, slate.Text(name))
			}
		}
	}
}

func green(m image.Image, x, y int) float64 {
	_, g, _, _ := m.At(x, y).RGBA()
	return float64(g >> 8)
}

// detail is the mean square of the difference between neighbours.
func detail(m image.Image, r image.Rectangle) float64 {
	var sum float64
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x+1 < r.Max.X; x++ {
			d := green(m, x+1, y) - green(m, x, y)
			sum += d * d
		}
	}
	return sum / float64(r.Dx()*r.Dy())
}

func brightness(m image.Image) float64 {
	var sum float64
	b := m.Bounds()
	for y := range b.Dy() {
		for x := range b.Dx() {
			sum += green(m, x, y)
		}
	}
	return sum / float64(b.Dx()*b.Dy())
}

func difference(a, b image.Image) (pixels int) {
	for y := range a.Bounds().Dy() {
		for x := range a.Bounds().Dx() {
			if a.At(x, y) != b.At(x, y) {
				pixels++
			}
		}
	}
	return pixels
}
