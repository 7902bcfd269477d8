package pixels

import (
	"math"
	"testing"
)

// A restingSubject is evidence made by hand of a run whose blocks all show where they lie,
// and rest but for the noise of registration.
type restingSubject struct {
	*story
	curves *curves
	moved  Moved
}

func resting(n int) *restingSubject {
	s := &restingSubject{story: tell(n)}
	s.grid.smallPx, s.grid.cellCols, s.grid.cellRows, s.grid.centreX, s.grid.centreY = 6, 200, 150, 100, 75
	s.curves = &curves{n: n, cols: s.grid.cols, rows: s.grid.rows, tiles: make([]curve, s.grid.cols*s.grid.rows), textured: 500, detail: 500}
	for i := range s.curves.tiles {
		t := &s.curves.tiles[i]
		*t = curve{f: make([]float32, n), textured: true, detail: true, arg: i % n}
		for k := range t.f {
			t.f[k] = 1
		}
	}
	for i := range s.frames {
		s.frames[i].tiles = make([]tile, len(s.curves.tiles))
		for k := range s.frames[i].tiles {
			s.frames[i].tiles[k].energy = 10
		}
	}
	for i := range s.links {
		s.links[i].motion.blocks = new(blockShifts)
		for k := range s.links[i].motion.blocks {
			sin, cos := math.Sincos(float64(7*i + 3*k))
			s.links[i].motion.blocks[k] = blockShift{known: true}
			s.shift(i, 0.08*cos, 0.08*sin, k)
		}
	}
	return s
}

// shift moves blocks over a link by px.
func (s *restingSubject) shift(link int, dx, dy float64, blocks ...int) {
	for _, k := range blocks {
		b := &s.links[link].motion.blocks[k]
		b.dx += thousandths(dx / float64(s.grid.smallPx))
		b.dy += thousandths(dy / float64(s.grid.smallPx))
	}
}

// blurred takes the sharpness from the tiles of the left half over all frames.
func (s *restingSubject) blurred() {
	for i := range s.curves.tiles {
		if i%s.grid.cols < s.grid.cols/2 {
			for k := range s.curves.tiles[i].f {
				s.curves.tiles[i].f[k] = 0.3
			}
		}
	}
}

func TestSubjectMoves(t *testing.T) {
	const n, at = 24, 10 // the link from frame 10 to 11
	leaf := []int{5*partCols + 3, 5*partCols + 4, 6*partCols + 3, 6*partCols + 4}
	upper := make([]int, 0, partRows*partCols/3)
	for k := range partRows * partCols / 3 {
		upper = append(upper, k)
	}
	for _, c := range []struct {
		name   string
		change func(s *restingSubject)
		answer Answer
		events int
		reason string
	}{
		{"nothing moves", func(*restingSubject) {}, Fine, 0, ""},
		{"a leaf moves", func(s *restingSubject) { s.shift(at, 2, -1, leaf...) }, Found, 1, ""},
		{"it moves by little", func(s *restingSubject) { s.shift(at, 0.8, -0.6, leaf...) }, Fine, 0, ""},
		{"it moves and comes back", func(s *restingSubject) { s.shift(at, 2, -1, leaf...); s.shift(at+1, -2, 1, leaf...) }, Found, 2, ""},
		{"one block alone", func(s *restingSubject) { s.shift(at, 3, 0, leaf[0]) }, Fine, 0, ""},
		{"two blocks that go apart", func(s *restingSubject) { s.shift(at, 3, 0, leaf[0]); s.shift(at, -3, 0, leaf[1]) }, Fine, 0, ""},
		{"two blocks far from each other", func(s *restingSubject) { s.shift(at, 3, 0, leaf[0], leaf[0]+5) }, Fine, 0, ""},
		{"it is blurred", func(s *restingSubject) { s.shift(at, 2, -1, leaf...); s.blurred() }, Fine, 0, ""},
		{"it is a highlight", func(s *restingSubject) {
			s.shift(at, 2, -1, leaf...)
			for k := range s.frames[at].tiles {
				s.frames[at].tiles[k].high = 1
			}
		}, Fine, 0, ""},
		{"something else is blurred", func(s *restingSubject) {
			s.shift(at, 2, -1, leaf[0]+8, leaf[1]+8)
			s.blurred()
		}, Found, 1, ""},
		{"near parts go farther on a rail", func(s *restingSubject) {
			for i := range s.links {
				s.shift(i, 2, 0.5, upper...)
			}
		}, Fine, 0, ""},
		{"twice as far over a frame that is missing", func(s *restingSubject) {
			for i := range s.links {
				s.shift(i, 2, 0.5, upper...)
			}
			s.shift(at, 2, 0.5, upper...)
		}, Fine, 0, ""},
		{"they move to and fro by themselves", func(s *restingSubject) {
			for i := range s.links {
				s.shift(i, 1.3*[...]float64{1, -1, 0, -1, 1, 0.5}[i%6], 0, leaf...)
			}
		}, Fine, 0, ""},
		{"the camera was knocked", func(s *restingSubject) {
			s.shift(at, 2, -1, leaf...)
			s.moved.Events = []Move{{From: at, To: at + 1}}
		}, Fine, 0, ""},
		{"everything trembles", func(s *restingSubject) {
			for i := range s.links {
				for k := range partRows * partCols {
					sin, cos := math.Sincos(float64(i*i + 5*k))
					s.shift(i, 0.5*cos, 0.5*sin, k)
				}
			}
		}, CannotTell, 0, ReasonRestless},
		{"hardly anything is sharp", func(s *restingSubject) {
			for i := range s.curves.tiles {
				clear(s.curves.tiles[i].f)
			}
		}, CannotTell, 0, ReasonNowhereSharp},
		{"little texture", func(s *restingSubject) { s.curves.textured = 11 }, CannotTell, 0, ReasonTexture},
	} {
		s := resting(n)
		c.change(s)
		got := s.evidence().askSubject(walks, s.curves, &s.moved, &Stalls{}, &Order{}, &Jumps{})
		if got.Answer != c.answer || got.Reason != c.reason || len(got.Events) != c.events {
			t.Errorf("%s: %v %q %+v", c.name, got.Answer, got.Reason, got.Events)
			continue
		}
		if c.events == 0 {
			continue
		}
		if ev := got.Events[0]; ev.From != at || ev.To != at+1 || math.Abs(ev.ShiftX-2) > 0.2 || math.Abs(ev.ShiftY+1) > 0.2 || ev.Lasting != (c.events == 1) {
			t.Errorf("%s: %+v", c.name, ev)
		}
	}
	s := resting(n)
	s.shift(at, 2, -1, leaf...)
	got := s.evidence().askSubject(walks, s.curves, &s.moved, &Stalls{}, &Order{}, &Jumps{})
	if want := (Box{3.0 / partCols, 5.0 / partRows, 5.0 / partCols, 7.0 / partRows}); got.Events[0].Box != want || got.Events[0].Box.Words() != "left centre" {
		t.Errorf("found at %v, %s; want %v", got.Events[0].Box, got.Events[0].Box.Words(), want)
	}
	if got := s.evidence().askSubject(Walk{}, s.curves, &s.moved, &Stalls{}, &Order{}, &Jumps{}); got.Reason != ReasonWalk {
		t.Errorf("whether focus walks is not known: %v %q", got.Answer, got.Reason)
	}
}
