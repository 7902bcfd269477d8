package pixels

import (
	"cmp"
	"math"
	"slices"
)

// Specks reports dark round spots in the mean picture of a run, as it lies on the sensor:
// what the sensor carries stays where it is, while the subject changes its blur and size.
// One run alone does not decide what a spot is. Found means that there are spots.
type Specks struct {
	Verdict
	List []Speck // those first that stand out most from what is around them
	// Clear marks where a spot would be seen: one byte for each square of speckCell pixels
	// of the mean picture, row by row of Cols, 1 where it is smooth.
	Cols  int
	Clear []byte
}

// A Speck is a dark round spot. Places and lengths are shares of the long side of the
// picture as stored, from its upper left corner.
type Speck struct {
	X, Y   float64
	Radius float64
	Depth  float64 // by how much its code values lie below those around it, as a share of them
}

// A sensorMean adds up the pictures of a run as they lie on the sensor.
type sensorMean struct {
	w, h, bin int
	frames    int
	sum       []uint32
}

// KeepSensor has the sequence keep the mean picture that specks are sought in, some 430 KB.
// It is called before the first frame is added.
func (s *Sequence) KeepSensor() { s.sensor = new(sensorMean) }

func (p *sensorMean) clone() *sensorMean {
	if p == nil {
		return nil
	}
	c := *p
	c.sum = slices.Clone(p.sum)
	return &c
}

// again begins anew; nil stays nil.
func (p *sensorMean) again() *sensorMean {
	if p == nil {
		return nil
	}
	return new(sensorMean)
}

// add takes in the picture of the n-th frame, of the size of the first; of a long run not
// each. Nil takes in nothing.
func (p *sensorMean) add(half *bytePlane, n int) {
	if p == nil || n > sensorAll && n%sensorEvery != 0 {
		return
	}
	if p.sum == nil {
		p.bin = max(1, int(math.Round(float64(max(half.w, half.h))/sensorSide)))
		p.w, p.h = half.w/p.bin, half.h/p.bin
		p.sum = make([]uint32, p.w*p.h)
	}
	p.frames++
	if p.bin == 2 { // the usual case, worth its own loop
		for y := range p.h {
			a, b := half.pix[2*y*half.w:][:2*p.w], half.pix[(2*y+1)*half.w:][:2*p.w]
			for x := range p.w {
				p.sum[y*p.w+x] += uint32(a[2*x]) + uint32(a[2*x+1]) + uint32(b[2*x]) + uint32(b[2*x+1])
			}
		}
		return
	}
	for y := range p.h * p.bin {
		row, out := half.pix[y*half.w:][:p.w*p.bin], p.sum[y/p.bin*p.w:][:p.w]
		for x := range out {
			for _, v := range row[x*p.bin : (x+1)*p.bin] {
				out[x] += uint32(v)
			}
		}
	}
}

// plane returns the mean picture in code values.
func (p *sensorMean) plane() plane {
	out := plane{w: p.w, h: p.h, pix: make([]float32, len(p.sum))}
	n := float32(p.frames * p.bin * p.bin)
	for i, v := range p.sum {
		out.pix[i] = float32(v) / n
	}
	return out
}

// askSpecks seeks dark round spots, where the sequence was asked to keep what shows them.
func (s *Sequence) askSpecks() Specks {
	switch {
	case s.sensor == nil:
		return Specks{Verdict: cannot(ReasonWideOpen)}
	case s.sensor.frames < fewFrames:
		return Specks{Verdict: cannot(ReasonFew)}
	}
	p := s.sensor.plane()
	list := p.specks()
	sp := Specks{Verdict: decided(len(list) > 0), List: list, Cols: p.w / speckCell}
	clear := 0
	for y := range p.h / speckCell {
		for x := range sp.Cols {
			sp.Clear = append(sp.Clear, 0)
			if p.smoothCell(x*speckCell, y*speckCell) {
				sp.Clear[len(sp.Clear)-1] = 1
				clear++
			}
		}
	}
	if len(list) == 0 && clear < leastClear {
		sp.Verdict = cannot(ReasonNotSmooth)
	}
	return sp
}

// smoothCell reports whether a square varies by less than a faint spot makes it.
func (p plane) smoothCell(x0, y0 int) bool {
	var sum, squares float64
	for y := y0; y < y0+speckCell; y++ {
		for _, v := range p.pix[y*p.w+x0:][:speckCell] {
			sum += float64(v)
			squares += float64(v) * float64(v)
		}
	}
	const n = speckCell * speckCell
	mean := sum / n
	return mean >= speckDark && mean <= speckBright && math.Sqrt(max(0, squares/n-mean*mean)) <= clearSpread*mean
}

// A probe compares a disc with a ring around it, in sectors: of each, the places against that
// of the middle in a picture of one width.
type probe struct {
	radius float64
	reach  int
	disc   []int
	ring   [speckSectors][]int
}

// probesFor returns the probes of all sizes for a picture of the given width.
func probesFor(width int) (list []probe) {
	for _, r := range speckRadii {
		p := probe{radius: r, reach: int(math.Ceil(r + ringTo))}
		for y := -p.reach; y <= p.reach; y++ {
			for x := -p.reach; x <= p.reach; x++ {
				switch d := math.Hypot(float64(x), float64(y)); {
				case d <= r:
					p.disc = append(p.disc, y*width+x)
				case d >= r+ringFrom && d <= r+ringTo:
					k := int((math.Atan2(float64(y), float64(x))+math.Pi)/(2*math.Pi)*speckSectors) % speckSectors
					p.ring[k] = append(p.ring[k], y*width+x)
				}
			}
		}
		list = append(list, p)
	}
	return list
}

// specks returns the spots of a picture, those first that stand out most from what is
// around them.
func (p plane) specks() []Speck {
	long := float64(max(p.w, p.h))
	type spot struct {
		Speck
		alone float64 // how far it stands out of what the ring varies
	}
	var all []spot
	for _, pr := range probesFor(p.w) {
		far, aslant := pr.reach-1, int(math.Round(float64(pr.reach-1)/math.Sqrt2))
		around := [...]int{-far, far, -far * p.w, far * p.w, -aslant * (p.w + 1), aslant * (p.w + 1), -aslant * (p.w - 1), aslant * (p.w - 1)}
		stride := max(1, int(pr.radius/2)) // a spot is found beside its middle, too
		for y := pr.reach; y < p.h-pr.reach; y += stride {
			for x := pr.reach; x < p.w-pr.reach; x += stride {
				at := y*p.w + x
				c := p.pix[at]
				if c < speckDark || c > speckBright {
					continue
				}
				least, brighter := c*(1+speckDepth/2), true
				for _, d := range around {
					if p.pix[at+d] < least {
						brighter = false
						break
					}
				}
				if !brighter {
					continue
				}
				if depth, spread := p.probe(&pr, at); depth > 0 {
					all = append(all, spot{Speck{X: (float64(x) + 0.5) / long, Y: (float64(y) + 0.5) / long, Radius: pr.radius / long, Depth: depth}, depth / (spread + clearSpread)})
				}
			}
		}
	}
	slices.SortStableFunc(all, func(a, b spot) int { return cmp.Compare(b.alone, a.alone) })
	var kept []Speck
	for _, s := range all {
		near := func(o Speck) bool {
			return math.Hypot(s.X-o.X, s.Y-o.Y) < max(s.Radius, o.Radius)+ringTo/long
		}
		if len(kept) < mostSpecks && !slices.ContainsFunc(kept, near) {
			kept = append(kept, s.Speck)
		}
	}
	return kept
}

// probe reports by how much a disc is darker than the ring around it, where the ring is
// even and all its sectors are brighter, and how much the ring varies; 0 elsewhere: a line
// or an edge is no spot.
func (p plane) probe(pr *probe, at int) (depth, spread float64) {
	disc, darkest := 0.0, math.Inf(1)
	for _, d := range pr.disc {
		v := float64(p.pix[at+d])
		disc, darkest = disc+v, min(darkest, v)
	}
	disc /= float64(len(pr.disc))
	var sectors [speckSectors]float64
	var sum, squares, n float64
	for k, list := range pr.ring {
		s := 0.0
		for _, d := range list {
			v := float64(p.pix[at+d])
			s += v
			squares += v * v
		}
		if sectors[k] = s / float64(len(list)); sectors[k] < disc*(1+sectorDepth*speckDepth) {
			return 0, 0 // most places end here
		}
		sum, n = sum+s, n+float64(len(list))
	}
	ring := sum / n
	depth = (ring - disc) / ring
	spread = math.Sqrt(max(0, squares/n-ring*ring)) / ring
	if depth < speckDepth || (ring-darkest)/ring > speckDeepest || spread > ringSpread*depth {
		return 0, 0
	}
	for _, s := range sectors {
		if s < disc+sectorDepth*depth*ring {
			return 0, 0
		}
	}
	return depth, spread
}

// rank returns which spot in the list, from 1, is at the place of another, and of about its
// size and depth; 0 where none is.
func (s *Specks) rank(o Speck) int {
	return 1 + slices.IndexFunc(s.List, func(c Speck) bool {
		return math.Hypot(c.X-o.X, c.Y-o.Y) <= max(speckApart/sensorSide, speckAside*o.Radius) &&
			max(c.Radius, o.Radius) <= speckSize*min(c.Radius, o.Radius) && max(c.Depth, o.Depth) <= speckDepths*min(c.Depth, o.Depth)
	})
}

// clearAt reports whether the picture is smooth at a place, so that a spot would be seen.
func (s *Specks) clearAt(o Speck) bool {
	if s.Cols == 0 {
		return false
	}
	rows := len(s.Clear) / s.Cols
	// A little more than the mean picture may be long; the last squares are cut off.
	long := float64(max(s.Cols, rows)*speckCell) + speckCell/2
	x, y := int(o.X*long/speckCell), int(o.Y*long/speckCell)
	return x < s.Cols && y < rows && s.Clear[y*s.Cols+x] == 1
}
