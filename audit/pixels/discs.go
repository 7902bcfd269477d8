package pixels

import (
	"math"
	"math/rand/v2"
	"sync"
)

// blurs are the diameters of the discs, px, by which a patch is blurred to be compared.
// A disc under a pixel and a half blurs nothing on the grid of pixels.
var blurs = [...]float64{0, 1.5, 2, 3, 4, 5, 6, 8, 10, 12.5, 16, 20, 24}

// squaredBlurs are the squares of the diameters of discs that spread light as far as
// these do on the grid of pixels: a disc of diameter d spreads it by d²/8, as mean square
// distance.
var squaredBlurs = sync.OnceValue(func() (squares [len(blurs)]float64) {
	const side, n = 81, 49
	point := make([]float32, side*side)
	point[side/2*side+side/2] = 1
	out, sums := make([]float32, n*n), make([]float32, (side+1)*side)
	for d, diameter := range blurs {
		disc(out, sums, point, side, n, diameter)
		for i, v := range out {
			x, y := float64(i%n-n/2), float64(i/n-n/2)
			squares[d] += 8 * float64(v) * (x*x + y*y)
		}
	}
	return squares
})

// A blurredPatch is the sharpness of a patch by scale and blur.
type blurredPatch [scales][len(blurs)]float64

// blurPatch measures a square of linear light as it is and blurred, over the tile of the
// given side in its middle. Around the tile it has patchMargin on all sides.
func blurPatch(linear []float32, tile int) (b blurredPatch) {
	const around = 8 // px, what the coarsest scale asks of its neighbours
	side, out := tile+2*patchMargin, tile+2*around
	blurred, sums := make([]float32, out*out), make([]float32, (side+1)*side)
	for d, diameter := range blurs {
		disc(blurred, sums, linear, side, out, diameter)
		for i, v := range blurred {
			blurred[i] = encoded(v)
		}
		for k := range scales {
			s := sharpnessSum(out, out, 2<<k, func(x, y int) float32 { return blurred[y*out+x] })
			b[k][d] = float64(s.mean(around, around, float64(around+tile), float64(around+tile)))
		}
	}
	return b
}

// disc blurs the middle of a square by a disc: rows of chords, each the difference of
// running sums, which are written to sums: (side+1) x side.
func disc(out, sums, in []float32, side, n int, diameter float64) {
	first := (side - n) / 2
	if diameter <= 0 {
		for y := range n {
			copy(out[y*n:(y+1)*n], in[(first+y)*side+first:])
		}
		return
	}
	for y := range side {
		s := float32(0)
		for x := range side {
			s += in[y*side+x]
			sums[y*(side+1)+x+1] = s
		}
	}
	clear(out)
	const sub = 4 // chords a row
	radius := diameter / 2
	reach := int(math.Ceil(radius)) + 1
	area := 0.0
	for dy := -reach; dy <= reach; dy++ {
		for j := range sub {
			t := float64(dy) + (float64(j)+0.5)/sub - 0.5
			if math.Abs(t) >= radius {
				continue
			}
			chord := math.Sqrt(radius*radius - t*t)
			area += 2 * chord
			lo, hi := float64(first)+0.5-chord, float64(first)+0.5+chord
			il, ih := int(lo), int(hi)
			fl, fh := float32(lo-float64(il)), float32(hi-float64(ih))
			for y := range n {
				row := sums[(first+y+dy)*(side+1):]
				p, q := row[il:il+n+1], row[ih:ih+n+1]
				o := out[y*n : (y+1)*n]
				for x := range o {
					o[x] += q[x] + fh*(q[x+1]-q[x]) - p[x] - fl*(p[x+1]-p[x])
				}
			}
		}
	}
	for i := range out {
		out[i] /= float32(area)
	}
}

// linearTable is the inverse of the sRGB curve (IEC 61966-2-1) by code value, and
// encodeTable the curve in steps of 1/4096.
var linearTable, encodeTable = func() (linear [256]float32, encode [1<<12 + 2]float32) {
	for i := range linear {
		linear[i] = float32(lightTable[i*unit]) / 65535
	}
	for i := range encode {
		v := float64(i) / (1 << 12)
		if v <= 0.0031308 {
			v *= 12.92
		} else {
			v = 1.055*math.Pow(v, 1/2.4) - 0.055
		}
		encode[i] = float32(255 * v)
	}
	return linear, encode
}()

// encoded returns the code value of linear light, 0 to 255.
func encoded(v float32) float32 {
	v = min(1, max(0, v)) * (1 << 12)
	i := int(v)
	return encodeTable[i] + (v-float32(i))*(encodeTable[i+1]-encodeTable[i])
}

// noiseLeft is the share of the sharpness of white noise that is left once it is blurred.
func noiseLeft(tile int) (left blurredPatch) {
	side := tile + 2*patchMargin
	rng := rand.New(rand.NewPCG(1, 2))
	const times, grey, deviation = 6, 0.2, 0.004
	for range times {
		noise := make([]float32, side*side)
		for i := range noise {
			noise[i] = float32(grey + deviation*rng.NormFloat64())
		}
		b := blurPatch(noise, tile)
		for k := range b {
			for d := range b[k] {
				left[k][d] += b[k][d]
			}
		}
	}
	for k := range left {
		all := left[k][0]
		for d := range left[k] {
			left[k][d] /= all
		}
	}
	return left
}
