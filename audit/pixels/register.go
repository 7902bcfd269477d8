package pixels

import "math"

// A Motion maps the picture of one frame onto the next:
//
//	x' = (1+Scale) x - Rotation y + ShiftX
//	y' = Rotation x + (1+Scale) y + ShiftY
//	brightness' = Gain brightness + Offset
//
// in px from the middle of the picture, x to the right and y down.
type Motion struct {
	Scale    float64 // 0 where nothing changes
	Rotation float64 // radians, small
	ShiftX   float64 // px
	ShiftY   float64 // px
	Gain     float64 // of code values, 1 where nothing changes
	Offset   float64 // code values
	// Residual is the mean absolute difference that remains, in code values,
	// on the small pictures.
	Residual float64
	// Unexplained is the share of the first picture's variance that remains.
	Unexplained float64
	// Doubt is by how many px the quarters of the picture, each for itself,
	// want to lie elsewhere (median): a passing shadow or a moving subject is
	// not a moved camera. Where the pictures match badly it is at least the
	// disagreement of the motions there and back.
	Doubt float64
	// Apart is the share of the picture's blocks that lie elsewhere by more than a third
	// of a small picture's pixel, together with their neighbours: what is nearer or
	// farther does, where the camera goes around a subject or that turns. NaN where too
	// few blocks show where they lie.
	Apart float64
	// Converged means that the pictures show the same thing and that the numbers
	// above stand still; without it they mean nothing.
	Converged bool

	blocks *blockShifts // nil where they were not asked
}

// then returns the motion of a after which comes b.
func (a Motion) then(b Motion) Motion {
	// (1+s+ir) as complex factors
	re := (1+a.Scale)*(1+b.Scale) - a.Rotation*b.Rotation
	im := (1+a.Scale)*b.Rotation + a.Rotation*(1+b.Scale)
	return Motion{
		Scale: re - 1, Rotation: im,
		ShiftX: (1+b.Scale)*a.ShiftX - b.Rotation*a.ShiftY + b.ShiftX,
		ShiftY: b.Rotation*a.ShiftX + (1+b.Scale)*a.ShiftY + b.ShiftY,
		Gain:   1,
	}
}

// Register finds the motion from picture a to picture b. Shifts up to about
// 50 px are found. The motion of pictures of different size, of pictures
// without contrast, and of pictures that do not show the same thing, is not
// converged.
func Register(a, b *FrameMeasure) Motion {
	if !a.sameGrid(b) {
		return Motion{Gain: 1}
	}
	return register(a.pyramid(), b.pyramid(), float64(a.smallPx))
}

// register aligns two pyramids; px is the size of a small picture's pixel.
func register(a, b []plane, px float64) Motion {
	mo := align(a, b)
	if mo.Converged && mo.Unexplained > askUnexplained {
		back := align(b, a)
		round := mo.then(back)
		half := math.Hypot(float64(a[0].w), float64(a[0].h)) / 4
		d := math.Hypot(round.ShiftX, round.ShiftY) + half*math.Hypot(round.Scale, round.Rotation)
		mo.Converged = back.Converged && d < maxDisagree
		mo.Doubt = max(mo.Doubt, d)
	}
	mo.Doubt *= px
	mo.ShiftX *= px
	mo.ShiftY *= px
	return mo
}

// registerNear aligns two pyramids whose motion is nearly known. What parts of the picture
// do is not asked.
func registerNear(a, b []plane, near Motion, px float64) Motion {
	near.ShiftX /= px
	near.ShiftY /= px
	near.Gain, near.Offset = 1, 0
	mo, _ := alignFrom(a, b, near, 0)
	mo.ShiftX *= px
	mo.ShiftY *= px
	return mo
}

// align finds the motion in pixels of the small picture.
func align(a, b []plane) Motion {
	mo, s := alignFrom(a, b, Motion{Gain: 1}, len(a)-1)
	if s != nil {
		mo.Doubt, mo.Apart, mo.blocks = s.parts()
	}
	return mo
}

// alignFrom finds the motion from one that is given, on the levels from last to the
// finest, whose solver it returns; nil where the pictures cannot be aligned.
func alignFrom(a, b []plane, mo Motion, last int) (Motion, *solver) {
	var finest *solver
	for l := last; l >= 0; l-- {
		// Pixels of a level's picture are averages of 2^l ones: the middle
		// stays where it is but for the odd row or column cut off.
		f := float64(int(1) << l)
		s := solver{a: a[l], b: b[l], mo: mo, row: make([]sample, 0, a[l].w)}
		s.mo.ShiftX /= f
		s.mo.ShiftY /= f
		s.meanAbs = math.Inf(1)
		steps, fewest, least := middleSteps, 1, coarseStill // the next level goes on from there
		if l == last {
			steps, fewest = outerSteps, 2
		}
		if l == 0 {
			steps, fewest, least = outerSteps, 2, fineStill
		}
		ok := true
		var moved float64
		for i := 0; i < steps && ok; i++ {
			s.every = 1
			if i == 0 && l == 0 {
				s.every = 2 // the steps to come see to the rest
			}
			moved, ok = s.step()
			if i+1 >= fewest && moved < least {
				break
			}
		}
		if !ok {
			return Motion{Gain: 1, Unexplained: 1}, nil
		}
		if l == 0 && moved >= coarseStill && s.unexplained < maxUnexplained {
			if moved, ok = s.settle(); !ok {
				return Motion{Gain: 1, Unexplained: 1}, nil
			}
		}
		mo = s.mo
		mo.ShiftX *= f
		mo.ShiftY *= f
		if l == 0 {
			mo.Residual = s.meanAbs
			mo.Converged = moved < coarseStill && s.unexplained < maxUnexplained && s.contrast > minContrast && s.overlap > viewOverlap
			mo.Unexplained = s.unexplained
			finest = &s
		}
	}
	return mo, finest
}

// settle goes on half a step at a time, where whole ones go around the place in a ring. The
// pictures match there, but about half-way between two pixels the nearest one, whose gradient
// counts, is another after each step.
func (s *solver) settle() (moved float64, ok bool) {
	for range outerSteps {
		from := s.mo
		if moved, ok = s.step(); !ok || moved/2 < coarseStill {
			return moved / 2, ok
		}
		s.mo = from.middle(s.mo)
	}
	return moved, ok
}

// middle returns the motion half-way to another.
func (m Motion) middle(to Motion) Motion {
	to.Scale, to.Rotation = (m.Scale+to.Scale)/2, (m.Rotation+to.Rotation)/2
	to.ShiftX, to.ShiftY = (m.ShiftX+to.ShiftX)/2, (m.ShiftY+to.ShiftY)/2
	to.Gain, to.Offset = (m.Gain+to.Gain)/2, (m.Offset+to.Offset)/2
	return to
}

// A solver holds the state of the Gauss-Newton iteration on one level.
type solver struct {
	a, b        plane
	mo          Motion
	every       int     // how many rows apart the rows are that a step reads
	meanAbs     float64 // mean absolute residual of the last step
	unexplained float64 // share of a's variance left by the last step
	contrast    float64 // standard deviation of a
	overlap     float64 // share of a that b covers
	row         []sample
}
