package pixels

import "math"

// A Sequence takes the measures of a run's frames, in the order they were made,
// and answers what they prove. The zero value is ready for use. It is not safe
// for concurrent use: measure frames on many goroutines, add them on one.
type Sequence struct {
	n      int // frames added, with and without a measure
	grid   tileGrid
	frames []frame
	links  []link
	long   bool // the curves were given up
	// otherSize counts the frames whose pictures are of another size than most.
	otherSize int

	// The last frame that stands in the chain, and the one before, for the
	// case that the last turns out to show something else.
	last, before anchor
	first        anchor     // for a second part, which may start over
	aside        anchor     // the last frame that was found to show something else
	paused       *pause     // the last one; nil without
	composite    *composite // nil once given up

	noBlur bool // no change of blur is measured: no answer needs it
	// placesOnly means that nothing is asked but where tiles lie and what they show.
	placesOnly bool

	memo   *Memo       // nil where registrations are not shared
	sensor *sensorMean // nil where nobody asks for specks
	stills []Still     // of a run of a few frames
}

// An anchor is a frame that the next one is registered with.
type anchor struct {
	frame  int // index into frames
	levels []plane
	half   *bytePlane // nil where no link begins here
	print  uint64
}

// A frame is what stays of one measured picture.
type frame struct {
	index   int    // in the order added
	place   Motion // from the first frame's picture to this one's
	tiles   []tile // nil once given up
	light   float64
	luma    float64
	clipped float64
	sharp   float64 // focus measure, code values²
	tint    tint
	print   uint64
	flat    bool       // shows no detail, as when it is black: two such pictures need not be copies
	lines   []bandLine // against the frame before
	odd     bool       // shows something else than the frames around it
	slants  []slant    // against the frames before and behind
	// placed means that place is that of the picture, although the frame is odd or does not
	// match the one before.
	placed bool
}

// A tile is the content of one square of the first frame's picture, as seen in
// another frame.
type tile struct {
	energy  float32 // code values²; < 0 where the square lies outside
	luma    float32 // code values
	light   float32 // 0 to 1
	clipped float32 // share
	low     uint8   // share of the darkest 2 % of the scale, 255ths
	high    uint8   // share of what is clipped at its upper end, 255ths
}

// A link is the way from one frame to the next that shows the same thing.
type link struct {
	from, to int // indices into frames
	motion   Motion
	ev       float64 // brighter by, EV; NaN where nothing can be compared
	spread   float64 // deviation of ev over the tiles, EV
	gain     float64 // ln of the ratio of code values
	change   float64 // rms change of the tiles' luma without the common gain
	same     bool    // bit-identical
	loop     Motion  // over this link and the one before, registered at once; seldom converged as seldom asked
	blurs    []blurChange
}

// A tileGrid lays tiles over the first frame's picture.
type tileGrid struct {
	width, height int // of the picture, its own pixels
	factor        int
	smallPx       int
	cellPx        float64 // edge of a cell, px
	edge          int     // cells to a tile
	cols, rows    int
	cellCols      int
	cellRows      int
	centreX       float64 // cells; the point that motions refer to
	centreY       float64
}

func newGrid(m *FrameMeasure) tileGrid {
	c := &m.cells
	g := tileGrid{width: m.Width, height: m.Height, factor: m.Factor, smallPx: m.smallPx, cellPx: float64(2 * c.edge), edge: tileEdge(c.cols, c.rows), cellCols: c.cols, cellRows: c.rows}
	g.cols, g.rows = c.cols/g.edge, c.rows/g.edge
	g.centreX = float64(m.small.w*m.smallPx) / 2 / g.cellPx
	g.centreY = float64(m.small.h*m.smallPx) / 2 / g.cellPx
	return g
}

// tileEdge returns the side of a tile of a picture of so many cells, cells.
func tileEdge(cols, rows int) int {
	if cols*rows < 4500 {
		return 3
	}
	return 4
}

// Len returns the number of frames added.
func (s *Sequence) Len() int { return s.n }

// Add takes the next frame. A nil measure, or one of another picture size than
// those before, keeps the frame's place in the order but is not judged.
func (s *Sequence) Add(m *FrameMeasure) {
	index := s.n
	s.n++
	s.keepStill(m, index)
	if m == nil {
		return
	}
	if len(s.frames) > 0 && (m.Width != s.grid.width || m.Height != s.grid.height) {
		s.otherSize++
		if len(s.frames) > 1 {
			return
		}
		// The first picture alone is of another size, as where its preview is damaged
		// and a smaller one takes its place: it must not blind all that follow.
		s.frames, s.last, s.before, s.aside = nil, anchor{}, anchor{}, anchor{}
		s.sensor = s.sensor.again()
	}
	s.sensor.add(&m.half, s.n)
	f := frame{index: index, light: m.Light, luma: m.Luma, clipped: m.Clipped, sharp: m.Sharpness, tint: m.tint, print: m.print, flat: m.Sharpness == 0}
	half := m.half // a pointer into the measure would keep all of it
	now := anchor{frame: len(s.frames), levels: m.pyramid(), half: &half, print: m.print}
	if s.placesOnly {
		now.half = nil // neither is blur compared
	}
	if len(s.frames) == 0 {
		s.grid = newGrid(m)
		f.tiles, f.placed = s.read(m, f.place), true
		s.frames = append(s.frames, f)
		s.last, s.first = now, now
		s.first.half = nil
		if !s.placesOnly {
			s.composite = newComposite(m.small.w, m.small.h)
			s.composite.add(m, f.place, &s.grid)
		}
		return
	}
	px := float64(m.smallPx)
	from := s.last
	mo := s.register(from, now, px)
	if !mo.Converged && s.before.levels != nil {
		if back := s.register(s.before, now, px); back.Converged {
			// The frame between shows something else.
			s.frames[s.last.frame].odd = true
			s.aside = s.last
			s.aside.half = nil
			if n := len(s.links); n > 0 && s.links[n-1].to == s.last.frame {
				s.links = s.links[:n-1]
			}
			from, mo = s.before, back
			s.last = from
			s.composite.back()
		}
	}
	step := mo
	if !mo.Converged {
		step = Motion{Gain: 1} // go on from the same place
	}
	f.place = s.registerAgain(now, px, s.frames[from.frame].place.then(step), mo.Converged)
	if f.placed = mo.Converged; !mo.Converged {
		f.place, f.placed = s.placeAside(now, px, f.place)
	}
	f.tiles = s.read(m, f.place)
	s.composite.take(m, f.place, mo.Converged, &s.grid)
	if !s.placesOnly {
		f.lines = s.grid.bandLines(s.frames[len(s.frames)-1].tiles, f.tiles)
	}
	s.frames = append(s.frames, f)
	s.link(from, now, mo, px)
	s.before, s.last = s.last, now
	if len(s.frames) > maxCurves {
		s.long = true
	}
	if s.long {
		s.forget()
	}
}

// link adds the way from one frame to the last one, and what changes on it.
func (s *Sequence) link(from, now anchor, mo Motion, px float64) {
	l := s.compare(from.frame, now.frame, mo)
	if !s.placesOnly {
		l.loop = s.close(from, now, mo, px)
	}
	if mo.Converged && from.half != nil && !s.noBlur && !s.long {
		l.blurs = s.grid.blurChanges(&s.frames[from.frame], &s.frames[now.frame], from.half, now.half, &l)
	}
	s.compareDirections(&l, from, now)
	s.links = append(s.links, l)
	if n := len(s.links); n >= blurAsked && n&(n-1) == 0 && !s.placesOnly {
		s.noBlur = !s.needsBlur()
	}
}

// forget gives up what only a run that is not too long is asked for.
func (s *Sequence) forget() {
	s.composite = nil
	for i := len(s.frames) - 4; i >= 0 && s.frames[i].tiles != nil; i-- {
		s.frames[i].tiles, s.frames[i].slants = nil, nil
	}
	for i := len(s.links) - 1; i >= 0 && (s.links[i].motion.blocks != nil || !s.links[i].motion.Converged); i-- {
		s.links[i].motion.blocks = nil
	}
}

// compareDirections compares the directions of blur in the frame from which a link goes
// with those in the frames beside it.
func (s *Sequence) compareDirections(l *link, from, now anchor) {
	s.frames[l.from].slants = nil
	n := len(s.links)
	if n == 0 || s.long || s.before.half == nil {
		return
	}
	before := &s.links[n-1]
	if !l.motion.Converged || !before.motion.Converged || before.to != l.from || before.from != s.before.frame {
		return
	}
	s.frames[l.from].slants = s.grid.slants(
		[3]*frame{&s.frames[before.from], &s.frames[l.from], &s.frames[l.to]},
		[3]*bytePlane{s.before.half, from.half, now.half}, [2]float64{before.gain, l.gain},
	)
}

// placeAside finds the place of a frame that matches neither of the two before. Focus may
// have come from the other side of the run, or have come back to where it began: then the
// frame matches the last one that was set aside, or the first of all.
func (s *Sequence) placeAside(now anchor, px float64, place Motion) (Motion, bool) {
	n := len(s.links)
	switch {
	case s.aside.levels != nil && s.aside.frame == now.frame-2 && s.frames[s.aside.frame].placed:
		if mo := s.register(s.aside, now, px); mo.Converged {
			return s.frames[s.aside.frame].place.then(mo), true
		}
	case n > 0 && s.links[n-1].motion.Converged && s.links[n-1].to == s.last.frame:
		if mo := s.register(s.first, now, px); mo.Converged {
			return s.frames[s.first.frame].place.then(mo), true
		}
	}
	return place, false
}

func (s *Sequence) register(a, b anchor, px float64) Motion {
	return s.memo.motion(pair{a: a.print, b: b.print}, func() Motion { return register(a.levels, b.levels, px) })
}

// close registers the frame before last with this one, for the noise of registration:
// at the beginning, and now and then behind. The motions of the links are where it
// begins.
func (s *Sequence) close(from, now anchor, mo Motion, px float64) Motion {
	n := len(s.links)
	if now.frame > loopFrames && now.frame%loopEvery != 0 || n == 0 || s.before.levels == nil || s.before.frame != from.frame-1 {
		return Motion{}
	}
	first := s.links[n-1].motion
	if !mo.Converged || !first.Converged {
		return Motion{}
	}
	before, near := s.before, first.then(mo)
	return s.memo.motion(pair{before.print, now.print, near, true}, func() Motion {
		return registerNear(before.levels, now.levels, near, px)
	})
}

// read returns the tiles of the first frame where they lie in this one.
func (s *Sequence) read(m *FrameMeasure, place Motion) []tile {
	g, c := &s.grid, &m.cells
	out := make([]tile, g.cols*g.rows)
	size := float64(g.edge) * (1 + place.Scale)
	for ty := range g.rows {
		for tx := range g.cols {
			xc := (float64(tx)+0.5)*float64(g.edge) - g.centreX
			yc := (float64(ty)+0.5)*float64(g.edge) - g.centreY
			mx := (1+place.Scale)*xc - place.Rotation*yc + place.ShiftX/g.cellPx + g.centreX
			my := place.Rotation*xc + (1+place.Scale)*yc + place.ShiftY/g.cellPx + g.centreY
			x0, y0, x1, y1 := mx-size/2, my-size/2, mx+size/2, my+size/2
			t := &out[ty*g.cols+tx]
			// A sliver outside the cells is let go, more is not.
			if x0 < -sliver || y0 < -sliver || x1 > float64(c.cols)+sliver || y1 > float64(c.rows)+sliver {
				t.energy = -1
				continue
			}
			x0, y0 = max(0, x0), max(0, y0)
			x1, y1 = min(float64(c.cols), x1), min(float64(c.rows), y1)
			*t = c.mean(x0, y0, x1, y1)
			t.low, t.high = c.endsOf(x0, y0, x1, y1)
		}
	}
	return out
}

// mean returns the means over a rectangle, of whose border cells the part counts that lies
// in it. It lies within the cells.
func (c *cellMaps) mean(x0, y0, x1, y1 float64) tile {
	u0, u1 := int(x0), min(int(math.Ceil(x1)), c.cols)
	v0, v1 := int(y0), min(int(math.Ceil(y1)), c.rows)
	var energy, luma, light, clipped float64
	for v := v0; v < v1; v++ {
		high := min(float64(v+1), y1) - max(float64(v), y0)
		from, to := v*c.cols+u0, v*c.cols+u1
		// What is read from slices of known lengths takes no check of its own.
		energies := c.energy[from:to]
		lumas, lights, clips := c.luma[from:to][:len(energies)], c.light[from:to][:len(energies)], c.clipped[from:to][:len(energies)]
		for i, e := range energies {
			w := high
			if i == 0 || i == len(energies)-1 {
				x := float64(u0 + i)
				w *= min(x+1, x1) - max(x, x0)
			}
			energy += w * float64(e)
			luma += w * float64(lumas[i])
			light += w * float64(lights[i])
			clipped += w * float64(clips[i])
		}
	}
	area := (x1 - x0) * (y1 - y0)
	return tile{
		energy: float32(energy / area), luma: float32(luma / area / 256),
		light: float32(light / area / 65535), clipped: float32(clipped / area / 255),
	}
}

// compare makes the link from one frame to the next.
func (s *Sequence) compare(from, to int, mo Motion) link {
	a, b := &s.frames[from], &s.frames[to]
	l := link{from: from, to: to, motion: mo, same: a.print == b.print && !a.flat}
	ev, gain := make([]float64, 0, len(a.tiles)), make([]float64, 0, len(a.tiles))
	for i, p := range a.tiles {
		q := b.tiles[i]
		if p.energy < 0 || q.energy < 0 || p.clipped > clippedTile || q.clipped > clippedTile || p.luma < darkTile || q.luma < darkTile {
			continue
		}
		ev = append(ev, math.Log2(float64(q.light/p.light)))
		gain = append(gain, float64(q.luma/p.luma))
	}
	if len(ev) < max(lightTiles, len(a.tiles)/lightEvery) { // too dark or too bright: the whole picture's light must do
		l.ev = math.Log2((b.light + lightFloor) / (a.light + lightFloor))
		l.gain = math.Log((b.luma + 1) / (a.luma + 1))
		l.spread = math.NaN()
	} else {
		l.ev = quickMedian(ev)
		for i, x := range ev {
			ev[i] = math.Abs(x - l.ev)
		}
		l.spread = consistent * quickMedian(ev)
		l.gain = quickMedianOf(gain, math.Log)
	}
	g := float32(math.Exp(l.gain))
	diff := ev[:0]
	for i, p := range a.tiles {
		q := b.tiles[i]
		if p.energy >= 0 && q.energy >= 0 && p.clipped <= clippedTile && q.clipped <= clippedTile {
			diff = append(diff, float64(q.luma/g-p.luma))
		}
	}
	l.change = math.NaN()
	if len(diff) > 0 {
		m := quickMedian(diff)
		var sum float64
		for _, d := range diff {
			sum += (d - m) * (d - m)
		}
		l.change = math.Sqrt(sum / float64(len(diff)))
	}
	return l
}
