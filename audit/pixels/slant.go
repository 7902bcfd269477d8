package pixels

import (
	"cmp"
	"math"
	"slices"
)

// A shake during the exposure blurs a picture along one direction, and takes from its
// gradients most of those along it. Defocus blurs alike in all directions. What a tile
// itself has more of in one direction, the frames before and behind have, too. So the
// directions of a tile's gradients are compared with the mean of those two.

// A slant is by how much the directions of a tile's gradients differ from those in the frames
// beside it.
type slant struct {
	tile int32
	// x and y are the difference of the anisotropy, of 0 to 1, of the structure tensor
	// (Bigün and Granlund, Optimal orientation detection of linear symmetry, ICCV 1987) in
	// double-angle form: with gradients along x alone it is (1, 0), along y (-1, 0), along
	// the diagonal from the upper left (0, 1).
	x, y float32
}

// slants compares the sharpest tiles of a frame with those of the frames before and behind,
// where it is softer than these.
func (g *tileGrid) slants(frames [3]*frame, halves [3]*bytePlane, gains [2]float64) (out []slant) {
	tiles := sharpBeside(frames, gains)
	side := int(float64(g.edge) * g.cellPx / halfPx)
	for _, t := range tiles {
		var an [3][2]float64
		ok := true
		for k := range frames {
			x, y := g.centreOf(t, g.edge, frames[k].place)
			if an[k][0], an[k][1], ok = halves[k].anisotropy(x/halfPx, y/halfPx, side); !ok {
				break
			}
		}
		if ok {
			out = append(out, slant{
				int32(t), float32(an[1][0] - (an[0][0]+an[2][0])/2), float32(an[1][1] - (an[0][1]+an[2][1])/2),
			})
		}
	}
	return out
}

// sharpBeside returns the sharpest tiles of the frames beside one that is softer than
// these; none where it is not. Gains are those of the code values over the two links, ln.
func sharpBeside(frames [3]*frame, gains [2]float64) []int {
	type ranked struct {
		tile   int
		energy float32
	}
	var list []ranked
	var all, softer float32
	// Energies go by the square of the code values, and their product by the fourth power.
	limit := float32(math.Exp(-2*slantLoss + 2*(gains[0]-gains[1])))
	for t := range frames[1].tiles {
		a, b, c := &frames[0].tiles[t], &frames[1].tiles[t], &frames[2].tiles[t]
		if e := min(a.energy, c.energy); e > slantEnergy && a.showsBlur() && b.showsBlur() && c.showsBlur() {
			list = append(list, ranked{t, e})
			e = min(e, slantMost)
			all += e
			if b.energy*b.energy < limit*a.energy*c.energy {
				softer += e
			}
		}
	}
	if 2*softer < all {
		return nil
	}
	slices.SortFunc(list, func(a, b ranked) int {
		return cmp.Or(cmp.Compare(b.energy, a.energy), a.tile-b.tile)
	})
	out := make([]int, min(len(list), slantTiles))
	for i := range out {
		out[i] = list[i].tile
	}
	return out
}

// anisotropy returns that of the gradients in the square of the given side around a point;
// not ok where it does not lie within the picture.
func (p *bytePlane) anisotropy(x, y float64, side int) (along, diagonal float64, ok bool) {
	x0, y0 := int(math.Round(x))-side/2, int(math.Round(y))-side/2
	if x0 < 0 || y0 < 0 || x0+side >= p.w || y0+side >= p.h {
		return 0, 0, false
	}
	var xx, yy, xy int
	for r := range side {
		u := p.pix[(y0+r)*p.w+x0:][: side+1 : side+1]
		d := p.pix[(y0+r+1)*p.w+x0:][: side+1 : side+1]
		for k := range side {
			// Differences over one pixel keep what a small shake takes.
			one, other := int(d[k+1])-int(u[k]), int(u[k+1])-int(d[k])
			gx, gy := one+other, one-other
			xx += gx * gx
			yy += gy * gy
			xy += gx * gy
		}
	}
	if xx+yy == 0 {
		return 0, 0, true
	}
	return float64(xx-yy) / float64(xx+yy), float64(2*xy) / float64(xx+yy), true
}
