package pixelstest

import "math"

// gatherMoved gathers light where parts of the scene move by themselves: by their depth, or
// because a part of the subject has moved.
func (b *Built) gatherMoved(s Shot, focus func(depth float32) float64, levels [len(diameters)][]float32, out []float32) {
	w, h := b.Width, b.Height
	right, bottom := float64(w)-1.001, float64(h)-1.001
	sin, cos := math.Sincos(s.Turn)
	// place returns where the scene is seen at a pixel, if what is there has such a depth.
	place := func(x, y int, depth float32) (sx, sy float64) {
		share := max(0, 1+b.Parallax*(0.5-float64(depth))) * (s.Focus - 0.5)
		zoom := 1 / (1 + b.Breathing*share)
		px, py := float64(x)-b.centreX-s.ShiftX-b.DriftX*share, float64(y)-b.centreY-s.ShiftY-b.DriftY*share
		sx, sy = zoom*(cos*px-sin*py)+b.centreX, zoom*(sin*px+cos*py)+b.centreY
		if p := s.Part; p != (Part{}) {
			ox, oy := sx-p.DX-p.X*float64(w), sy-p.DY-p.Y*float64(h)
			if math.Hypot(ox, oy) < p.Radius*float64(w) {
				sx, sy = sx-p.DX, sy-p.DY
			}
		}
		return within(sx, right), within(sy, bottom)
	}
	for y := range h {
		for x := range w {
			sx, sy := place(x, y, 0.5)
			const passes = 3 // the depth is that of what is found there
			for range passes {
				if b.Parallax == 0 {
					break
				}
				sx, sy = place(x, y, b.depth[int(sy)*w+int(sx)])
			}
			ix, iy := int(sx), int(sy)
			j := iy*w + ix
			at := s.Focus
			if focus != nil {
				at = focus(b.depth[j])
			}
			blur := b.Depth * math.Abs(float64(b.depth[j])-at)
			l := levelOf(blur)
			t := float32(within((blur-diameters[l])/(diameters[l+1]-diameters[l]), 1))
			fx, fy := float32(sx-float64(ix)), float32(sy-float64(iy))
			va, vc := bilinear(levels[l], j, w, fx, fy), bilinear(levels[l+1], j, w, fx, fy)
			out[y*w+x] = va + t*(vc-va)
		}
	}
}

// SharpAt reports whether the scene has texture at a place, in shares of its width and
// height, which is blurred by no more than so many px at either focus.
func (b *Built) SharpAt(x, y, focus, other, px float64) bool {
	j := int(y*float64(b.Height))*b.Width + int(x*float64(b.Width))
	z := float64(b.depth[j])
	return b.textured[j] && b.Depth*max(math.Abs(z-focus), math.Abs(z-other)) <= px
}
