package pixels

import (
	"image"
	"math"
	"math/rand/v2"
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
			s.links[i].motion.blocks[k] = blockShift{sigma: 10, known: true}
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

// weak takes most of the texture from blocks: noise moves them about as far as they show.
func (s *restingSubject) weak(link int, blocks ...int) {
	for _, k := range blocks {
		s.links[link].motion.blocks[k].sigma = 90
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
		{"blocks with little texture do what noise does", func(s *restingSubject) {
			for i := range s.links {
				s.weak(i, leaf...)
			}
			s.shift(at, 1.1, -0.6, leaf...)
		}, Fine, 0, ""},
		{"blocks with little texture move far", func(s *restingSubject) {
			for i := range s.links {
				s.weak(i, leaf...)
			}
			s.shift(at, 2, -1, leaf...)
		}, Found, 1, ""},
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

// TestSubjectMovesSurely moves four blocks, and two.
func TestSubjectMovesSurely(t *testing.T) {
	const n, at = 24, 10
	leaf := []int{5*partCols + 3, 5*partCols + 4, 6*partCols + 3, 6*partCols + 4}
	for _, blocks := range [][]int{leaf, leaf[:2]} {
		s := resting(n)
		s.shift(at, 2, -1, blocks...)
		got := s.evidence().askSubject(walks, s.curves, &s.moved, &Stalls{}, &Order{}, &Jumps{})
		if len(got.Events) != 1 || got.Events[0].Sure != (len(blocks) > 2) {
			t.Errorf("%d blocks move: %v %+v", len(blocks), got.Answer, got.Events)
		}
	}
}

// TestSubjectMovesWhereFocusStands moves a part once, and one that moves to and fro by itself
// but over the links beside.
func TestSubjectMovesWhereFocusStands(t *testing.T) {
	const n, at = 24, 10
	leaf := []int{5*partCols + 3, 5*partCols + 4, 6*partCols + 3, 6*partCols + 4}
	s := resting(n)
	s.shift(at, 2, -1, leaf...)
	stands := Walk{Verdict: Verdict{Answer: Fine}}
	if got := s.evidence().askSubject(stands, s.curves, &s.moved, &Stalls{}, &Order{}, &Jumps{}); got.Answer != Found {
		t.Errorf("focus stands: %v %q", got.Answer, got.Reason)
	}
	for i := range s.links { // as what is there does by itself, but for the links beside
		if i < at-2 || i > at+2 {
			s.shift(i, 1.4*[...]float64{1, -1, 0}[i%3], 0, leaf...)
		}
	}
	if got := s.evidence().askSubject(stands, s.curves, &s.moved, &Stalls{}, &Order{}, &Jumps{}); got.Answer != Fine {
		t.Errorf("focus stands, and the part moves to and fro: %v %q %+v", got.Answer, got.Reason, got.Events)
	}
}

// TestBlocksKnowTheirDeviation lays two pictures of one surface on each other, of which the
// right half has a quarter of the texture: noise takes its blocks four times as far.
func TestBlocksKnowTheirDeviation(t *testing.T) {
	const w, h = 512, 384
	noise := rand.New(rand.NewPCG(3, 7))
	shoot := func() *FrameMeasure {
		img := image.NewGray(image.Rect(0, 0, w, h))
		for i := range img.Pix {
			x, y := i%w, i/w
			depth := 40.0
			if x >= w/2 {
				depth = 10
			}
			surface := math.Sin(float64(x)/3+2*math.Sin(float64(y)/17)) * math.Sin(float64(y)/4)
			img.Pix[i] = uint8(128 + depth*surface + 3*noise.NormFloat64())
		}
		m, err := Measure(img)
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	a, b := shoot(), shoot()
	blocks := Register(a, b).blocks
	var sigma, apart [2]float64 // of the halves: mean of the deviations, and of the squares of what they show
	for k, b := range blocks {
		if !b.known {
			t.Fatalf("block %d does not show where it lies", k)
		}
		half := k % partCols / (partCols / 2)
		sigma[half] += float64(b.sigma) / float64(len(blocks)/2)
		apart[half] += (float64(b.dx)*float64(b.dx) + float64(b.dy)*float64(b.dy)) / float64(len(blocks))
	}
	for half := range sigma {
		if seen := math.Sqrt(apart[half]); sigma[half] < seen/2 || sigma[half] > 2*seen {
			t.Errorf("half %d lies aside by %.1f thousandths of a pixel, and its deviation is %.1f", half, seen, sigma[half])
		}
	}
	if r := sigma[1] / sigma[0]; r < 2.5 || r > 6 {
		t.Errorf("deviations %v, their ratio %.1f, want 4", sigma, r)
	}
	t.Logf("deviations %.1f, seen %.1f and %.1f", sigma, math.Sqrt(apart[0]), math.Sqrt(apart[1]))
}
