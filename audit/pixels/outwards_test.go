package pixels

import (
	"image"
	"iter"
	"math"
	"slices"
	"testing"
)

func TestOutwardPlaces(t *testing.T) {
	for _, c := range []struct {
		what      string
		got, want []int
	}{
		{"frames 1, 3, 5 go to one side of frame 0, frames 2, 4, 6 to the other", inTurn(7, 7, 7), []int{5, 3, 1, 0, 2, 4, 6}},
		{"frame 3 was lost: what is frame 3 now goes to the other side, as frame 5 does", inTurn(7, 3, 7), []int{6, 4, 1, 0, 2, 3, 5}},
		{"frame 3 ends its side: all behind it go to the other", inTurn(7, 7, 4), []int{3, 1, 0, 2, 4, 5, 6}},
		{"frame 4 ends its side", inTurn(7, 7, 5), []int{6, 5, 3, 1, 0, 2, 4}},
		{"frame 2 was lost, and frame 4 ends its side", inTurn(7, 2, 5), []int{4, 2, 1, 0, 3, 5, 6}},
		{"one side first", oneThenOther(7, 2), []int{2, 1, 0, 3, 4, 5, 6}},
	} {
		if !slices.Equal(c.got, c.want) {
			t.Errorf("%s: %v, want %v", c.what, c.got, c.want)
		}
	}
	for _, n := range []int{1, 2, 5, 6, 9, 30} {
		for _, orders := range []iter.Seq[[]int]{inTurnsWithout(n), inTurnsThenOne(n, n), inTurnsThenOne(n, n/2), onesThenOther(n)} {
			for order := range orders {
				if sorted := slices.Sorted(slices.Values(order)); !slices.Equal(sorted, upTo(n)) {
					t.Errorf("%d frames: %v are not all of them", n, order)
				}
			}
		}
	}
}

func TestValley(t *testing.T) {
	f := []float32{1, 0.2, 0.8, 0.1, 0.4}
	for _, c := range []struct {
		order []int
		want  float64
	}{
		{[]int{0, 1, 2, 3, 4}, 0.6}, // 0.2 between 1 and 0.8
		{[]int{3, 1, 4, 2, 0}, 0},   // rises all through
		{[]int{1, 2, 0, 4, 3}, 0},   // rises and falls
		{[]int{0, 3, 2, 1, 4}, 0.7}, // 0.1 between 1 and 0.8
	} {
		if got := valley(f, c.order); math.Abs(got-c.want) > 1e-6 {
			t.Errorf("order %v: %v, want %v", c.order, got, c.want)
		}
	}
}

// TestMotionTo: a motion to another place, after that from the first frame, leads there.
func TestMotionTo(t *testing.T) {
	a := Motion{Scale: 0.02, Rotation: 0.01, ShiftX: 12, ShiftY: -5}
	b := Motion{Scale: -0.03, Rotation: -0.004, ShiftX: -7, ShiftY: 9}
	got := a.then(a.to(b))
	for _, d := range []float64{got.Scale - b.Scale, got.Rotation - b.Rotation, got.ShiftX - b.ShiftX, got.ShiftY - b.ShiftY} {
		if math.Abs(d) > 1e-9 {
			t.Errorf("leads to %+v, want %+v", got, b)
		}
	}
}

// focused is a story of frames made at these places of focus, over which the sharpness of
// each column of tiles rises once and falls once; per place the picture scales by scale.
func focused(focus []float64, hw, scale float64) *story {
	s := tell(len(focus))
	g := &s.grid
	g.cols, g.rows = 20, 15
	last := slices.Max(focus)
	for i := range s.frames {
		f := &s.frames[i]
		f.place = Motion{Scale: scale * (focus[i] - focus[0]), Gain: 1}
		f.tiles = make([]tile, g.cols*g.rows)
		for t := range f.tiles {
			x := (focus[i] - 2 - (last-4)*float64(t%g.cols)/float64(g.cols)) / hw
			f.tiles[t] = tile{energy: float32(1 + 50*math.Exp2(-x*x)), luma: 100, light: 0.2}
		}
		if i > 0 {
			s.links[i-1].motion.Scale = scale * (focus[i] - focus[i-1])
		}
	}
	return s
}

// at returns the places of focus of frames made in an order.
func at(order []int) []float64 {
	focus := make([]float64, len(order))
	for place, i := range order {
		focus[i] = float64(place)
	}
	return focus
}

// TestAskOutwards: an order is seen where it explains all that comes back, no answer is
// given where it explains most, and other ways back are none.
func TestAskOutwards(t *testing.T) {
	const n, scales, stands = 25, 0.001, 0
	over := func(last int) []float64 { // starts over behind frame last
		focus := at(upTo(n))
		for i := last + 1; i < n; i++ {
			focus[i] = float64(i - last - 1)
		}
		return focus
	}
	back := at(upTo(n)) // walks back from the middle on
	for i := n / 2; i < n; i++ {
		back[i] = float64(n - 1 - i)
	}
	swapped := at(upTo(n))
	swapped[8], swapped[9] = 9, 8
	nearly := at(inTurn(n, n, n)) // in turn but for two frames
	for i := 5; i < 23; i += 9 {
		nearly[i] = math.Mod(nearly[i]+9, n)
	}
	for _, c := range []struct {
		name   string
		focus  []float64
		hw     float64
		scale  float64
		change func(s *story)
		places []int
		join   int
		unsure bool
	}{
		{name: "one way", focus: at(upTo(n)), hw: 2},
		{name: "in turn", focus: at(inTurn(n, n, n)), hw: 2, places: inTurn(n, n, n), join: -1},
		{name: "in turn, 8 frames", focus: at(inTurn(8, 8, 8)), hw: 1, unsure: true},
		{name: "in turn, one lost", focus: at(inTurn(n, 12, n)), hw: 2, places: inTurn(n, 12, n), join: -1},
		{name: "in turn, then one side", focus: at(inTurn(n, n, 14)), hw: 2, places: inTurn(n, n, 14), join: -1},
		{name: "in turn, one lost, then one side", focus: at(inTurn(n, 8, 18)), hw: 2, places: inTurn(n, 8, 18), join: -1},
		{name: "in turn, the pictures change much", focus: at(inTurn(n, n, n)), hw: 2, places: inTurn(n, n, n), join: -1, change: func(s *story) {
			for i := range s.links {
				s.links[i].motion.Converged = i < n/2
			}
		}},
		{name: "in turn, set aside and placed", focus: at(inTurn(n, n, n)), hw: 2, places: inTurn(n, n, n), join: -1, change: func(s *story) {
			for i := n / 2; i < n; i += 2 {
				s.strange[i] = true
			}
		}},
		{name: "in turn, other pictures between", focus: at(inTurn(n, n, n)), hw: 2, change: func(s *story) {
			for i := n / 2; i < n; i += 2 {
				s.strange[i], s.frames[i].placed = true, false
			}
		}},
		{name: "in turn but for some", focus: nearly, hw: 2, unsure: true},
		{name: "one side first", focus: at(oneThenOther(n, 12)), hw: 2, scale: scales, places: oneThenOther(n, 12), join: 12},
		{name: "one side first, no motion", focus: at(oneThenOther(n, 8)), hw: 2, places: oneThenOther(n, 8), join: 8},
		{name: "a short side first, no motion", focus: at(oneThenOther(n, 4)), hw: 3, unsure: true},
		{name: "a short side first", focus: at(oneThenOther(n, 4)), hw: 3, scale: scales, places: oneThenOther(n, 4), join: 4},
		{name: "starts over", focus: over(15), hw: 2, scale: scales},
		{name: "starts over, no motion", focus: over(15), hw: 2},
		{name: "starts over at the end, no motion", focus: over(20), hw: 2},
		{name: "walks back", focus: back, hw: 2, scale: scales},
		{name: "walks back, no motion", focus: back, hw: 2, scale: stands},
		{name: "two changed places", focus: swapped, hw: 2},
	} {
		s := focused(c.focus, c.hw, c.scale)
		if c.change != nil {
			c.change(s)
		}
		e := s.evidence()
		got := e.askOutwards(e.curves(e.outside))
		reversed := slices.Clone(got.places) // either end may be the nearest
		slices.Reverse(reversed)
		if !slices.Equal(got.places, c.places) && !slices.Equal(reversed, c.places) || got.unsure != c.unsure || got.places != nil && got.join != c.join {
			t.Errorf("%s: %+v, want %v, join %d, unsure %v", c.name, got, c.places, c.join, c.unsure)
		}
	}
}

// TestSortedLacksAPicture: a frame without a picture keeps its place in the order of
// focus, and so do the names of the others.
func TestSortedLacksAPicture(t *testing.T) {
	const n, lacks = 25, 7
	focus := at(inTurn(n, n, n))
	s := focused(slices.Delete(slices.Clone(focus), lacks, lacks+1), 2, 0.001)
	s.added = n
	for i := lacks; i < n-1; i++ {
		s.frames[i].index++
	}
	e := s.evidence()
	o := e.askOutwards(e.curves(e.outside))
	if !slices.Equal(o.places, inTurn(n, n, n)) {
		t.Fatalf("%+v, want %v", o, inTurn(n, n, n))
	}
	f := e.sorted(o.places, o.join)
	for _, fr := range f.frames {
		if i := o.places[fr.index]; i == lacks || math.Abs(fr.place.Scale-0.001*(focus[i]-focus[0])) > 1e-9 {
			t.Errorf("place %d: frame %d lies at %v", fr.index, i, fr.place.Scale)
		}
	}
	for _, l := range f.links {
		if from, to := f.ends(l); math.Abs(l.motion.Scale-0.001*float64(to-from)) > 1e-4 || !l.motion.Converged {
			t.Errorf("from place %d to %d: %+v", from, to, l.motion)
		}
	}
	j := e.judgement()
	j.askFocus(&Sequence{}, e)
	if j.Order.Answer != Fine || j.Stalls.Answer == Found || j.Jumps.Answer != Fine {
		t.Errorf("order %v, stalls %v, jumps %v", j.Order, j.Stalls, j.Jumps)
	}
}

// TestPlaceAside: frames that match neither of the two before are placed by the one that
// was set aside, or by the first; what matches nothing is not.
func TestPlaceAside(t *testing.T) {
	const scale = 0.01 // for each place of focus
	const hand = -1.0
	for _, c := range []struct {
		name  string
		focus []float64
		alike float64 // places of focus over which pictures match
		odd   []int
		lost  []int
	}{
		{"in turn", at(inTurn(13, 13, 13)), 3, []int{3, 5, 7, 9, 11}, nil},
		{"one side first", at(oneThenOther(13, 6)), 4, nil, nil},
		{"a hand", []float64{0, 1, 2, hand, 3, 4}, 6, []int{3}, []int{3}},
		{"a hand at the end", []float64{0, 1, 2, 3, 4, hand}, 6, nil, []int{5}},
	} {
		var measures []*FrameMeasure
		for i := range c.focus {
			img := image.NewGray(image.Rect(0, 0, 192, 128))
			for k := range img.Pix {
				img.Pix[k] = uint8(100 + 50*((k/7+k/192/5+i)%2))
			}
			m, err := Measure(img)
			if err != nil {
				t.Fatal(err)
			}
			m.print = uint64(i)
			measures = append(measures, m)
		}
		s := Sequence{memo: new(Memo)}
		for i, a := range c.focus {
			for k, b := range c.focus {
				s.memo.motions.Store(pair{a: uint64(i), b: uint64(k)}, Motion{Scale: scale * (b - a), Gain: 1, Converged: a != hand && b != hand && math.Abs(a-b) <= c.alike})
			}
		}
		for _, m := range measures {
			s.Add(m)
		}
		var odd, lost []int
		for i, f := range s.frames {
			if f.odd {
				odd = append(odd, i)
			}
			if !f.placed {
				lost = append(lost, i)
			} else if want := scale * (c.focus[i] - c.focus[0]); math.Abs(f.place.Scale-want) > 0.005 {
				t.Errorf("%s: frame %d lies at %.4f, want %.4f", c.name, i, f.place.Scale, want)
			}
		}
		if !slices.Equal(odd, c.odd) || !slices.Equal(lost, c.lost) {
			t.Errorf("%s: set aside %v, not placed %v; want %v and %v", c.name, odd, lost, c.odd, c.lost)
		}
	}
}
