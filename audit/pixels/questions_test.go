package pixels

import (
	"image"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// The tests in this file ask one question each of evidence made by hand, where what
// is seen lies on one side or the other of a threshold.

// A story is evidence made by hand: a steady run of frames of 1,600 x 1,200 px, over
// each link of which the picture scales by 0.001, in which a test changes what it is
// about.
type story struct {
	run
	dark []bool
}

// noisePx is what the links of a story deviate by, px, in turns.
const noisePx = 0.02

func tell(n int) *story {
	s := &story{dark: make([]bool, n)}
	s.th = DefaultThresholds()
	s.grid = tileGrid{width: 1600, height: 1200, factor: 1, cellPx: 8, edge: 4, cols: 50, rows: 37}
	s.added = n
	for i := range n {
		s.frames = append(s.frames, frame{index: i, luma: 100, light: 0.2, placed: true})
		if i == 0 {
			continue
		}
		turn := noisePx * [...]float64{1, -1, -1, 1, 0}[i%5]
		s.links = append(s.links, link{
			from: i - 1, to: i, change: 1 + turn, ev: turn / 10,
			motion: Motion{Scale: 0.001 + turn/1e4, ShiftX: turn, ShiftY: -turn, Gain: 1, Unexplained: 0.002, Converged: true},
		})
	}
	s.settings, s.strange = make([]float64, n), make([]bool, n)
	return s
}

// evidence completes the story.
func (s *story) evidence() *evidence {
	s.ev, s.lnGain = s.brightnessPath()
	return s.run.evidence(s.dark)
}

// standing takes the scale out of a story: nothing moves.
func (s *story) standing() *story {
	for i := range s.links {
		s.links[i].motion.Scale = 0
	}
	return s
}

var walks, stands = Walk{Verdict: Verdict{Answer: Found}}, Walk{Verdict: Verdict{Answer: Fine}}

func TestMovedLimit(t *testing.T) {
	for _, c := range []struct {
		px   float64
		want Answer
	}{{0.9, Fine}, {1.2, Found}} {
		s := tell(20)
		s.links[9].motion.ShiftX += c.px
		m := s.evidence().askMoved(walks, Order{})
		if m.Answer != c.want {
			t.Errorf("a jump of %v px: %v, want %v", c.px, m.Answer, c.want)
		}
		if c.want == Found && (len(m.Events) != 1 || m.Events[0].From != 9 || m.Events[0].To != 10 || !m.Events[0].Lasting) {
			t.Errorf("a jump of %v px from 9 to 10: %+v", c.px, m.Events)
		}
	}
}

// TestMovedUnsteady: of a picture that trembles by a pixel nothing is concluded where
// nothing is found.
func TestMovedUnsteady(t *testing.T) {
	s := tell(20)
	for i := range s.links {
		s.links[i].motion.ShiftY += 0.8 * float64(i%3-1)
	}
	if m := s.evidence().askMoved(walks, Order{}); m.Answer != CannotTell || m.Reason != ReasonUnsteady {
		t.Errorf("a trembling picture: %v, %q; want that it is not steady enough", m.Answer, m.Reason)
	}
	// What is far outside the trembling is found.
	s.links[9].motion.ShiftX += 20
	if m := s.evidence().askMoved(walks, Order{}); m.Answer != Found || len(m.Events) != 1 {
		t.Errorf("20 px in a trembling picture: %v, %+v", m.Answer, m.Events)
	}
}

// TestMovedBlurred: where the match leaves much of the picture unexplained, a jump is
// not believed, and the place is named as doubtful.
func TestMovedBlurred(t *testing.T) {
	for left, found := range map[float64]bool{0.02: true, 0.1: false} {
		s := tell(20)
		s.links[9].motion.ShiftX += 5
		s.links[9].motion.Unexplained = left
		m := s.evidence().askMoved(walks, Order{})
		if found != (len(m.Events) == 1) || found == slices.Contains(m.Doubtful, 10) {
			t.Errorf("5 px with %v of the variance left: events %+v, doubtful %v", left, m.Events, m.Doubtful)
		}
	}
}

// TestMovedAsTheQuartersDo: a jump that the quarters of the picture do not share is a
// shadow or a moving subject.
func TestMovedAsTheQuartersDo(t *testing.T) {
	for doubt, found := range map[float64]bool{1: true, 2: false} {
		s := tell(20)
		s.links[9].motion.ShiftX += 5
		s.links[9].motion.Doubt = doubt
		if m := s.evidence().askMoved(walks, Order{}); found != (m.Answer == Found) || found == slices.Contains(m.Doubtful, 10) {
			t.Errorf("5 px with a doubt of %v px: %v, doubtful %v", doubt, m.Answer, m.Doubtful)
		}
	}
}

// TestMovedBack: two jumps that undo each other are one frame that stood aside.
func TestMovedBack(t *testing.T) {
	for back, lasting := range map[float64]bool{-5: false, -2: true} {
		s := tell(20)
		s.links[9].motion.ShiftX += 5
		s.links[10].motion.ShiftX += back
		m := s.evidence().askMoved(walks, Order{})
		if len(m.Events) != 2 || m.Events[0].Lasting != lasting {
			t.Errorf("5 px and %v px back: %+v, want two jumps, lasting %v", back, m.Events, lasting)
		}
	}
}

// TestMovedForOneFrameWhereFocusStops: the play of a lens that stops does not come back with
// the next frame; a small jump that does is the camera's.
func TestMovedForOneFrameWhereFocusStops(t *testing.T) {
	for back, found := range map[float64]bool{-1.5: true, 0: false} {
		s := tell(24)
		for i := 12; i < len(s.links); i++ {
			s.links[i].motion.Scale = 0
		}
		s.links[11].motion.ShiftX += 1.5
		s.links[12].motion.ShiftX += back
		m := s.evidence().askMoved(walks, Order{})
		if aside := len(m.Events) == 2 && m.Events[0].To == 12 && !m.Events[0].Lasting; aside != found || found == slices.Contains(m.Doubtful, 12) {
			t.Errorf("1.5 px and %v px back where focus stops: %+v, doubtful %v", back, m.Events, m.Doubtful)
		}
	}
}

// TestTouches holds the bounds of what lies at a jump of focus, a stall, or a jump of
// the light.
func TestTouches(t *testing.T) {
	order := Order{Events: []Reversal{{Kind: Turned, From: 5, To: 7}, {Kind: Revisited, From: 20, To: 30}}}
	stalls := Stalls{Events: []Stall{{From: 5, To: 7}}}
	light := Brightness{Jumps: []Change{{From: 5, To: 7}}}
	for _, c := range []struct {
		from, to       int
		order, between bool
	}{
		{3, 4, false, false},
		{4, 5, true, false},
		{5, 6, true, true},
		{6, 7, true, true},
		{7, 8, true, false},
		{8, 9, false, false},
		{3, 9, true, true},
		{24, 25, false, false}, // the way there is not seen
	} {
		if got := order.touches(c.from, c.to); got != c.order {
			t.Errorf("order at %d to %d: %v", c.from, c.to, got)
		}
		if got := stalls.touches(c.from, c.to); got != c.between {
			t.Errorf("stalls at %d to %d: %v", c.from, c.to, got)
		}
		if got := light.touches(c.from, c.to); got != c.between {
			t.Errorf("light at %d to %d: %v", c.from, c.to, got)
		}
	}
	// A jump of the picture beside a jump of focus is the breathing of the lens.
	for at, found := range map[int]bool{3: true, 4: false, 7: false, 8: true} {
		s := tell(20)
		s.links[at].motion.ShiftX += 5
		if m := s.evidence().askMoved(walks, Order{Events: []Reversal{{Kind: Turned, From: 5, To: 7}}}); found != (m.Answer == Found) {
			t.Errorf("5 px from %d to %d beside focus that turns from 5 to 7: %v", at, at+1, m.Answer)
		}
	}
}

func TestSignatureStandsOut(t *testing.T) {
	for noise, kind := range map[float64]string{0.1: "scale", 0.3: ""} {
		s := tell(24)
		for i := range s.links {
			s.links[i].motion.Scale = 0.001 * (1 + noise*[...]float64{1, -1, -1, 1, 0.5, -0.5}[i%6])
		}
		if got := s.evidence().signature; got.Kind != kind {
			t.Errorf("steps that deviate by %v: signature %q of strength %v, want %q", noise, got.Kind, got.Strength, kind)
		}
	}
}

func TestJumpRatio(t *testing.T) {
	for _, c := range []struct {
		times, noise float64 // the step, and what steps deviate by
		want         Answer
	}{{1.4, 0.02, Fine}, {1.6, 0.02, Found}, {1.6, 0.08, Fine}, {2, 0.08, Found}} {
		s := tell(24)
		for i := range s.links {
			s.links[i].motion.Scale = 0.001 * (1 + c.noise*[...]float64{1, -1, -1, 1, 0}[i%5])
		}
		s.links[11].motion.Scale = 0.001 * c.times
		j := s.evidence().askJumps(walks, Order{}, Stalls{}, joinedSteps{})
		if j.Answer != c.want {
			t.Errorf("a step of %v times the usual, which deviates by %v: %v %+v, want %v", c.times, c.noise, j.Answer, j.Events, c.want)
		}
	}
	s := tell(24)
	s.links[11].motion.Scale = 0.002
	e := s.evidence()
	for at, found := range map[int]bool{8: true, 9: false, 14: false, 15: true} {
		back := Order{Events: []Reversal{{Kind: Turned, From: at - 1, To: at}}}
		if at > 12 {
			back.Events[0] = Reversal{Kind: Turned, From: at, To: at + 1}
		}
		if j := e.askJumps(walks, back, Stalls{}, joinedSteps{}); found != (j.Answer == Found) {
			t.Errorf("a long step from 11 to 12 beside focus that goes back at %+v: %v", back.Events, j.Answer)
		}
	}
}

func TestStallRatio(t *testing.T) {
	for step, found := range map[float64]bool{0.1: true, 0.2: true, 0.4: false} {
		s := tell(24)
		s.links[11].motion.Scale = 0.001 * step
		st := s.evidence().askStalls(walks, Moved{}, joinedSteps{})
		if found != (st.Answer == Found) {
			t.Errorf("a step of %v times the usual: %v %+v", step, st.Answer, st.Events)
		}
	}
	// Steps that are all over the place: a small one proves nothing.
	s := tell(24)
	for i := range s.links {
		s.links[i].motion.Scale = 0.001 * (1 + 0.19*[...]float64{1, -1, -1, 1, 0.9, -0.9}[i%6])
	}
	s.links[11].motion.Scale = 0.00025
	if st := s.evidence().askStalls(walks, Moved{}, joinedSteps{}); st.Answer == Found {
		t.Errorf("a small step among uneven ones: %+v", st.Events)
	}
}

// TestStallChange: where focusing does not show in the motion, a picture that hardly
// changes over a link shows that nothing moved.
func TestStallChange(t *testing.T) {
	for change, found := range map[float64]bool{0.15: true, 0.4: false} {
		s := tell(24).standing()
		s.links[11].change = change
		st := s.evidence().askStalls(walks, Moved{}, joinedSteps{})
		if found != (st.Answer == Found) {
			t.Errorf("a change of %v times the usual: %v %+v", change, st.Answer, st.Events)
		}
		if st := s.evidence().askStalls(stands, Moved{}, joinedSteps{}); st.Answer != CannotTell {
			t.Errorf("focus that stands, stalls: %v", st.Answer)
		}
	}
}

func TestTurnRatio(t *testing.T) {
	for back, want := range map[float64]string{0.3: "", 0.5: "turned", 2: "turned", 3: "restarted"} {
		s := tell(24)
		s.links[11].motion.Scale = -0.001 * back
		o := s.evidence().askOrder(walks, &curves{})
		got := ""
		if len(o.Events) > 0 {
			got = string(o.Events[0].Kind)
		}
		if got != want {
			t.Errorf("a step back of %v: %q, want %q", back, got, want)
		}
	}
	s := tell(24)
	s.links[10].motion.Scale, s.links[11].motion.Scale, s.links[12].motion.Scale = 0.002, -0.001, 0.002
	if o := s.evidence().askOrder(walks, &curves{}); len(o.Events) != 1 || o.Events[0].Kind != Swapped || o.Events[0].From != 11 || o.Events[0].To != 12 {
		t.Errorf("two steps forward, one back, two forward: %+v, want 11 and 12 swapped", o.Events)
	}
}

func TestLightJumps(t *testing.T) {
	for ev, found := range map[float64]bool{0.08: false, 0.13: true, -0.13: true} {
		s := tell(20)
		s.links[9].ev += ev
		b := s.evidence().askBrightness()
		if found != b.Jumping || found && (len(b.Jumps) != 1 || b.Jumps[0].To != 10) {
			t.Errorf("a jump of %v EV: %v %+v", ev, b.Answer, b.Jumps)
		}
	}
	// In flickering light a jump must stand out.
	s := tell(20)
	for i := range s.links {
		s.links[i].ev = 0.06 * float64(i%3-1)
	}
	s.links[9].ev = 0.3
	if b := s.evidence().askBrightness(); b.Jumping {
		t.Errorf("0.3 EV in light that flickers by 0.06: %+v", b.Jumps)
	}
}

func TestLightFlickersAndDrifts(t *testing.T) {
	for size, found := range map[float64]bool{0.07: false, 0.14: true} {
		s := tell(40)
		for i := range s.links {
			s.links[i].ev = size * [...]float64{1, -1, 0, 0.2, -0.2}[i%5]
		}
		if b := s.evidence().askBrightness(); found != b.Flickering {
			t.Errorf("two in five links of %v EV: flicker %v, share %v", size, b.Flickering, b.Flicker)
		}
	}
	for total, found := range map[float64]bool{0.25: false, 0.4: true} {
		s := tell(41)
		for i := range s.links {
			s.links[i].ev = total / 40
		}
		if b := s.evidence().askBrightness(); found != b.Drifting {
			t.Errorf("light that walks by %v EV: drift %v, found %v", total, b.Drift, b.Drifting)
		}
	}
}

func TestDarkFrames(t *testing.T) {
	dark := func(ev float64, from, to int) darkness {
		s := tell(24)
		if from > 0 {
			s.links[from-1].ev -= ev
		}
		if to < 24 {
			s.links[to-1].ev += ev
		}
		return s.evidence().askDark()
	}
	for ev, found := range map[float64]bool{0.8: false, 1.2: true} {
		if d := dark(ev, 9, 10); found != (d.Answer == Found) || found && (len(d.Events) != 1 || d.Events[0].Frame != 9) {
			t.Errorf("one frame darker by %v EV: %v %+v", ev, d.Answer, d.Events)
		}
	}
	// The last half, darker by 1.5 EV, is a step of the light; by 2.5 the light failed.
	for ev, found := range map[float64]bool{1.5: false, 2.5: true} {
		if d := dark(ev, 13, 24); found != (d.Answer == Found) {
			t.Errorf("the last half darker by %v EV: %v", ev, d.Answer)
		}
	}
}

// TestDarkBySettings: what the settings explain is not dark, and where they change a
// tone curve may make half as much again.
func TestDarkBySettings(t *testing.T) {
	for seen, found := range map[float64]bool{-2: false, -3.5: false, -4.2: true} {
		s := tell(24)
		s.links[8].ev += seen
		s.links[9].ev -= seen
		s.settings[9] = -2
		if d := s.evidence().askDark(); found != (d.Answer == Found) {
			t.Errorf("settings of -2 EV and a picture of %v EV: %v %+v", seen, d.Answer, d.Events)
		}
	}
}

// bells returns curves of a run of n frames in which the tiles of a grid are sharpest
// one after another; the half width is hw frames.
func bells(n int, hw float64) *curves {
	c := &curves{n: n, cols: 10, rows: 10, hw: hw, real: make([]bool, n), tiles: make([]curve, 100)}
	for i := range c.real {
		c.real[i] = true
	}
	for i := range c.tiles {
		peak := 2 + (n-5)*i/len(c.tiles)
		t := &c.tiles[i]
		*t = curve{detail: true, textured: true, noise: 0.005, floor: 1, peak: 50, rise: 40, hw: hw, arg: peak, f: make([]float32, n)}
		for k := range n {
			x := float64(k-peak) / hw
			t.f[k] = float32(math.Exp2(-x * x))
		}
	}
	c.count()
	return c
}

// tilesOf gives the tiles from a to b the curve f.
func (c *curves) tilesOf(a, b int, f func(frame int) float64) {
	for i := a; i < b; i++ {
		t := &c.tiles[i]
		for k := range t.f {
			t.f[k] = float32(f(k))
			if t.f[k] > t.f[t.arg] {
				t.arg = k
			}
		}
	}
}

// TestEdgeFall: what is still getting sharper at the last frame counts where it has
// been blurred two half widths before; a far background rises slowly.
func TestEdgeFall(t *testing.T) {
	const n, hw = 24, 3
	e := tell(n).evidence()
	if _, last := e.askEnds(walks, bells(n, hw)); last.Answer != Fine {
		t.Errorf("a run that covers all: %v, %v", last.Answer, last.Share)
	}
	for floor, found := range map[float64]bool{0: true, 0.3: true, 0.5: false} {
		b := bells(n, hw)
		b.tilesOf(40, 60, func(k int) float64 { return floor + (1-floor)*math.Exp(-float64(n-1-k)/1.4) })
		_, last := e.askEnds(walks, b)
		if found != (last.Answer == Found) {
			t.Errorf("curves that fall to %v: %v, share %v", floor, last.Answer, last.Share)
		}
	}
}

func TestEdgeShare(t *testing.T) {
	const n = 24
	e := tell(n).evidence()
	for tiles, found := range map[int]bool{2: false, 4: true} {
		b := bells(n, 3)
		b.tilesOf(40, 40+tiles, func(k int) float64 {
			x := float64(k-(n-1)) / 3
			return math.Exp2(-(x-0.5)*(x-0.5) + 0.25)
		})
		_, last := e.askEnds(walks, b)
		if found != (last.Answer == Found) {
			t.Errorf("%d of 100 tiles: %v, share %v", tiles, last.Answer, last.Share)
		}
	}
}

func TestSoftLoss(t *testing.T) {
	const n = 24
	for loss, found := range map[float64]bool{0.38: false, 0.5: true} {
		b := bells(n, 3)
		for i := range b.tiles {
			b.tiles[i].f[12] *= float32(math.Exp(-loss))
		}
		s := tell(n).evidence().askSoft(walks, b, Stalls{}, Order{}, Brightness{})
		if found != (s.Answer == Found) || found && (len(s.Events) != 1 || s.Events[0].Frame != 12) {
			t.Errorf("a loss of %v in ln: %v %+v", loss, s.Answer, s.Events)
		}
		near := Stalls{Events: []Stall{{From: 12, To: 13}}}
		if s := tell(n).evidence().askSoft(walks, b, near, Order{}, Brightness{}); s.Answer == Found {
			t.Errorf("a loss of %v beside a stall: %+v", loss, s.Events)
		}
	}
}

// TestSoftSided: a smaller loss is enough where the directions of what is sharp differ from
// those in the frames beside it, alike in many tiles.
func TestSoftSided(t *testing.T) {
	const n = 24
	for _, c := range []struct {
		name          string
		loss          float64
		side, scatter float64
		tiles         int
		found         bool
	}{
		{"little is lost", 0.10, 0.06, 0.02, 30, false},
		{"enough is lost", 0.16, 0.06, 0.02, 30, true},
		{"no direction", 0.30, 0, 0.02, 30, false},
		{"hardly a direction", 0.30, 0.025, 0.01, 30, false},
		{"few tiles", 0.30, 0.06, 0.02, 11, false},
		{"tiles contradict each other", 0.30, 0.06, 0.5, 30, false},
	} {
		b := bells(n, 6)
		s := tell(n)
		for i := range b.tiles {
			b.tiles[i].f[12] *= float32(math.Exp(-c.loss))
		}
		for i := range c.tiles {
			sin, cos := math.Sincos(float64(i) * 2 * math.Pi / 10)
			s.frames[12].slants = append(s.frames[12].slants, slant{int32(35 + i), float32(0.6*c.side + c.scatter*cos), float32(-0.8*c.side + c.scatter*sin)})
		}
		soft := s.evidence().askSoft(walks, b, Stalls{}, Order{}, Brightness{})
		if c.found != (soft.Answer == Found) {
			t.Errorf("%s: %v %+v", c.name, soft.Answer, soft.Events)
		}
	}
}

// TestRevisit: without a signature, a frame whose sharp tiles are those of a much
// earlier one shows that focus came back, but for what noise makes of sharpness.
func TestRevisit(t *testing.T) {
	const n = 30
	for noise, found := range map[float64]bool{0: true, 0.08: true, 0.4: false} {
		b := bells(n, 2)
		for i := range b.tiles {
			f := b.tiles[i].f
			turn := float32(noise * [...]float64{1, -1, -1, 1}[i%4])
			for k := 20; k < n; k++ { // starts over at frame 20
				f[k] = f[k-16] + turn
			}
		}
		o := tell(n).standing().evidence().askOrder(walks, b)
		if found != (o.Answer == Found) || found && (o.Events[0].Kind != Revisited || o.Events[0].From != 4 || o.Events[0].To != 20) {
			t.Errorf("frame 20 repeats frame 4 to within %v: %v %+v", noise, o.Answer, o.Events)
		}
	}
	if o := tell(n).standing().evidence().askOrder(walks, bells(n, 2)); o.Answer != CannotTell {
		t.Errorf("focus that goes on, without a signature: %v %+v", o.Answer, o.Events)
	}
}

func TestStepBlur(t *testing.T) {
	e := tell(24).evidence()
	for hw, want := range map[float64]Answer{0.5: Found, 1: CannotTell, 1.5: CannotTell, 3: Fine} {
		if s := e.askStep(walks, bells(24, hw), Habit{}); want != s.Answer {
			t.Errorf("half width of %v frames: %v, %v px a frame", hw, s.Answer, s.Blur)
		}
	}
}

func TestWalkNeedsTilesThatComeAndGo(t *testing.T) {
	for _, c := range []struct {
		walking int
		rise    float64
		scales  bool
		want    Answer
	}{
		{30, 4, false, Found},
		{30, 2, false, CannotTell},
		{20, 4, false, CannotTell},
		{20, 4, true, Found},
		{8, 4, true, CannotTell},
		{3, 4, false, Fine},
		{3, 4, true, CannotTell},
	} {
		b := bells(24, 3)
		for i := range b.tiles {
			b.tiles[i].rise, b.tiles[i].textured = c.rise, i < c.walking
		}
		s := tell(24)
		if !c.scales {
			s.standing()
		}
		if w := s.evidence().askWalk(b); w.Answer != c.want {
			t.Errorf("%d of 100 tiles that rise %v times, picture scales %v: %v, want %v", c.walking, c.rise, c.scales, w.Answer, c.want)
		}
	}
}

// TestRegisterOtherThings: two things in the same light, brighter to the right, line
// up by that light; what they are is left unexplained.
func TestRegisterOtherThings(t *testing.T) {
	picture := func(seed uint64) *FrameMeasure {
		rng := rand.New(rand.NewPCG(seed, 3))
		img := image.NewGray(image.Rect(0, 0, 640, 480))
		texture := make([]int, len(img.Pix))
		for i := range texture {
			texture[i] = rng.IntN(100)
		}
		for i := range img.Pix {
			x, y := i%640, i/640
			img.Pix[i] = uint8(40 + x*90/640 + texture[y/4*640+x/4])
		}
		m, err := Measure(img)
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	if mo := Register(picture(1), picture(2)); mo.Converged {
		t.Errorf("two textures in one light are taken for one thing: %+v", mo)
	}
}
