package pixelstest

import (
	"math"
	"math/rand/v2"
)

// fieldOfView is the angle that the long side of the picture covers, radians: that of
// 60 mm before a sensor 36 mm wide.
const fieldOfView = 2 * 0.2915

// Hand moves the camera from frame to frame as in a hand, by px in the median. It turns about
// the three axes by angles of one size: about two of them the picture shifts, about the
// third it rolls, by what that angle is for the field of view of a 60 mm lens. Each frame
// lies anew about one place, so that part of each motion is undone by the next, as hands
// do.
func (b *Built) Hand(s []Shot, seed uint64, px float64) []Shot {
	rng := rand.New(rand.NewPCG(seed, 41))
	perRadian := float64(b.Width) / fieldOfView
	// The length of the difference of two places of deviation 1 in x and y is Rayleigh
	// distributed with √2: its median is 1.665.
	size := px / 1.665
	out := make([]Shot, len(s))
	for i, shot := range s {
		shot.ShiftX += size * rng.NormFloat64()
		shot.ShiftY += size * rng.NormFloat64()
		shot.Turn += size / perRadian * rng.NormFloat64()
		out[i] = shot
	}
	return out
}

// Tremble shifts the camera from frame to frame as a floor does that shakes: by px in the median,
// without a roll.
func Tremble(s []Shot, seed uint64, px float64) []Shot {
	rng := rand.New(rand.NewPCG(seed, 43))
	out := make([]Shot, len(s))
	for i, shot := range s {
		shot.ShiftX += px / 1.665 * rng.NormFloat64()
		shot.ShiftY += px / 1.665 * rng.NormFloat64()
		out[i] = shot
	}
	return out
}

// Pan turns the camera on its stand by the same share of the picture's width from frame to frame.
func (b *Built) Pan(s []Shot, share float64) []Shot {
	out := make([]Shot, len(s))
	for i, shot := range s {
		shot.ShiftX += math.Round(share * float64(b.Width) * float64(i))
		out[i] = shot
	}
	return out
}
