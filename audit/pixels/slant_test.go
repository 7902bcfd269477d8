package pixels

import (
	"math"
	"testing"
)

// TestAnisotropy: gradients along one direction have anisotropy 1, at twice its angle.
func TestAnisotropy(t *testing.T) {
	for _, degrees := range []float64{0, 30, 45, 90, 135} {
		sin, cos := math.Sincos(degrees * math.Pi / 180)
		p := bytePlane{w: 40, h: 40, pix: make([]uint8, 1600)}
		for i := range p.pix { // waves 16 px long, whose crests lie across that direction
			p.pix[i] = uint8(128 + 100*math.Sin(2*math.Pi/16*(float64(i%40)*cos+float64(i/40)*sin)))
		}
		along, diagonal, ok := p.anisotropy(20, 20, 32)
		sin2, cos2 := math.Sincos(2 * degrees * math.Pi / 180)
		if !ok || math.Hypot(along-cos2, diagonal-sin2) > 0.03 {
			t.Errorf("%v°: %.3f, %.3f; want %.3f, %.3f", degrees, along, diagonal, cos2, sin2)
		}
	}
	p := bytePlane{w: 40, h: 40, pix: make([]uint8, 1600)}
	if a, d, ok := p.anisotropy(20, 20, 32); !ok || a != 0 || d != 0 {
		t.Errorf("a plain picture: %v, %v, %v", a, d, ok)
	}
	if _, _, ok := p.anisotropy(30, 20, 32); ok {
		t.Error("a square that goes beyond the picture is read")
	}
}
