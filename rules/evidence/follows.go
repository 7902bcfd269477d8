package evidence

import (
	"cmp"
	"math"
	"slices"

	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// A Following is how a recorded value goes with the recorded focus distance.
type Following uint8

// The ways of following.
const (
	FollowsNot      Following = iota
	FollowsOneWay             // it never goes back as the distance goes on, nor leaps
	FollowsStraight           // and keeps to a straight line, in several steps
)

// FocalLengthFollows compares the recorded focal lengths of some frames with their
// recorded distances. A lens whose focal length changes as it focuses changes it
// smoothly, over a short way in proportion to the inverse of the distance; a ring that
// creeps does not keep to such a line. A focal length may lie off it by one step of
// its scale: half for its rounding, and half as the line is laid through rounded values.
func FocalLengthFollows(frames []*shoot.Frame) Following {
	type point struct{ inverse, focal float64 } // 1/m, mm
	var points []point
	var way line
	for _, f := range frames {
		d, ok := f.Meta().SubjectDistance.Get()
		if !ok || d.State != exifread.DistanceMetres || d.Metres <= 0 {
			return FollowsNot
		}
		p := point{1 / d.Metres, exifread.Positive(f.Meta().FocalLength)}
		points = append(points, p)
		way.add(p.inverse, p.focal)
	}
	slices.SortFunc(points, func(a, b point) int { return cmp.Or(cmp.Compare(a.inverse, b.inverse), cmp.Compare(a.focal, b.focal)) })
	const (
		fewest = 5 // distances: through fewer points many lines lead
		steps  = 2 // of the focal length: one alone may be a ring that was touched
		whole  = 1 // mm, a scale of whole millimetres
		uneven = 3 // a step this many times the smallest is a leap, which focus does not make
	)
	longer, shorter, distances := 0, 0, 1
	unit, widest := math.Inf(1), 0.0
	for i := 1; i < len(points); i++ {
		move := points[i].focal - points[i-1].focal
		if points[i].inverse != points[i-1].inverse {
			distances++
		} else if move != 0 {
			return FollowsNot // one distance has one focal length
		}
		switch {
		case move > 0:
			longer++
		case move < 0:
			shorter++
		default:
			continue
		}
		unit, widest = min(unit, math.Abs(move)), max(widest, math.Abs(move))
	}
	if (longer > 0) == (shorter > 0) || distances < fewest || widest > uneven*unit || longer+shorter < steps && widest > whole {
		return FollowsNot
	}
	slope := way.sxy() / way.sxx()
	for _, p := range points {
		if math.Abs(p.focal-way.y/way.n-slope*(p.inverse-way.x/way.n)) > unit {
			return FollowsOneWay
		}
	}
	if longer+shorter < steps {
		return FollowsOneWay
	}
	return FollowsStraight
}
