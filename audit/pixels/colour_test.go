package pixels

import (
	"image"
	"image/color"
	"math"
	"testing"
)

// TestTint holds the colour of flat patches to values of CIE 1976 L*a*b* for sRGB,
// computed elsewhere; all of them lie at L* 49.9 to 50.1.
func TestTint(t *testing.T) {
	for _, c := range []struct {
		rgb  [3]uint8
		a, b float64
	}{
		{[3]uint8{119, 119, 119}, 0, 0},
		{[3]uint8{119, 119, 117}, -0.400, 1.097},
		{[3]uint8{119, 119, 114}, -0.988, 2.746},
		{[3]uint8{121, 119, 116}, 0.170, 1.915},
	} {
		img := image.NewRGBA(image.Rect(0, 0, 64, 64))
		for y := range 64 {
			for x := range 64 {
				img.SetRGBA(x, y, color.RGBA{c.rgb[0], c.rgb[1], c.rgb[2], 255})
			}
		}
		for x := range 40 { // clipped, and black: neither keeps a colour
			for y := range 32 {
				img.SetRGBA(x, y, color.RGBA{255, 255, 255, 255})
				img.SetRGBA(x, y+32, color.RGBA{2, 0, 0, 255})
			}
		}
		got := tintOf(img, 1)
		if !got.known || math.Abs(got.a-c.a) > 0.03 || math.Abs(got.b-c.b) > 0.03 {
			t.Errorf("%v: %+v, want %v, %v", c.rgb, got, c.a, c.b)
		}
	}
	if got := tintOf(image.NewGray(image.Rect(0, 0, 64, 64)), 1); got.known {
		t.Errorf("grey picture: %+v", got)
	}
	if got := tintOf(image.NewRGBA(image.Rect(0, 0, 64, 64)), 1); got.known {
		t.Errorf("black picture: %+v", got)
	}
}

// TestAskColour: the limit is on the two frames farthest apart, wherever they are; a
// frame that shows something else has no part, one without colour leaves it open.
func TestAskColour(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*story)
		want   Answer
	}{
		{"alike", func(*story) {}, Fine},
		{"within the limit", func(s *story) { s.frames[7].tint.b += 1.14 }, Fine},
		{"over the limit", func(s *story) { s.frames[7].tint.b += 1.16 }, Found},
		{"aslant, over the limit", func(s *story) { s.frames[7].tint.b += 0.9; s.frames[3].tint.a -= 0.75 }, Found},
		{"bit by bit", func(s *story) {
			for i := range s.frames {
				s.frames[i].tint.a += 0.15 * float64(i)
			}
		}, Found},
		{"a card at the first frame", func(s *story) { s.frames[0].tint.a += 9; s.strange[0] = true }, Fine},
		{"a dark frame", func(s *story) { s.frames[5].tint.known = false; s.dark[5] = true }, Fine},
		{"one in grey", func(s *story) { s.frames[5].tint.known = false }, CannotTell},
		{"one without picture", func(s *story) { s.added++ }, CannotTell},
	} {
		s := tell(12)
		for i := range s.frames {
			s.frames[i].tint = tint{a: 4, b: 11, known: true}
		}
		c.change(s)
		if got := s.evidence().askColour(); got.Answer != c.want || got.Answer == CannotTell && got.Reason == "" {
			t.Errorf("%s: %+v, want %v", c.name, got, c.want)
		}
	}
}

// TestTintOfSubsampling: the colour of a picture does not depend on how its samples of colour
// are shared by pixels, nor on the kind of picture it was decoded to.
func TestTintOfSubsampling(t *testing.T) {
	for _, ratio := range []image.YCbCrSubsampleRatio{
		image.YCbCrSubsampleRatio444, image.YCbCrSubsampleRatio422, image.YCbCrSubsampleRatio420,
		image.YCbCrSubsampleRatio440, image.YCbCrSubsampleRatio411, image.YCbCrSubsampleRatio410,
	} {
		img := image.NewYCbCr(image.Rect(6, 10, 206, 171), ratio)
		for i := range img.Y {
			img.Y[i] = uint8(60 + i%150)
		}
		for i := range img.Cb {
			img.Cb[i], img.Cr[i] = uint8(110+i%31), uint8(120+i%23)
		}
		all := image.NewRGBA(img.Bounds())
		for y := 10; y < 171; y++ {
			for x := 6; x < 206; x++ {
				all.Set(x, y, img.At(x, y))
			}
		}
		got, want := tintOf(img, 1), tintOf(all, 1)
		if !got.known || math.Abs(got.a-want.a) > 0.3 || math.Abs(got.b-want.b) > 0.3 {
			t.Errorf("%v: tint %+v, want %+v", ratio, got, want)
		}
	}
}
