package proof

// An affine maps a pixel of the merged picture to its place in a frame, both counted from
// the middle of the upper left pixel:
//
//	x' = p x - q y + c
//	y' = q x + p y + d
type affine struct{ p, q, c, d float64 }

// about returns the map that motion makes about a point.
func about(scale, rotation, shiftX, shiftY, x, y float64) affine {
	a := affine{p: 1 + scale, q: rotation}
	a.c = shiftX + x - a.p*x + a.q*y
	a.d = shiftY + y - a.q*x - a.p*y
	return a
}

// from returns the map from the merged picture of frame a's geometry to frame b, where
// both are maps from one picture.
func (b affine) from(a affine) affine {
	// The inverse of a, then b: complex numbers.
	n := a.p*a.p + a.q*a.q
	ip, iq := a.p/n, -a.q/n
	out := affine{p: b.p*ip - b.q*iq, q: b.q*ip + b.p*iq}
	out.c = b.c - out.p*a.c + out.q*a.d
	out.d = b.d - out.q*a.c - out.p*a.d
	return out
}

// grid returns the map between pixels of coarser grids: pixel i of it lies at pixel
// every i + offset.
func (a affine) grid(every, offset float64) affine {
	return affine{
		p: a.p, q: a.q,
		c: (a.p*offset - a.q*offset + a.c - offset) / every,
		d: (a.q*offset + a.p*offset + a.d - offset) / every,
	}
}

// of returns where the map puts a point.
func (a affine) of(x, y float64) (u, v float64) { return a.p*x - a.q*y + a.c, a.q*x + a.p*y + a.d }

// after returns the map that does first a and then b.
func (b affine) after(a affine) affine {
	out := affine{p: b.p*a.p - b.q*a.q, q: b.p*a.q + b.q*a.p}
	out.c, out.d = b.of(a.c, a.d)
	return out
}
