package shoot

import (
	"cmp"
	"slices"
	"strings"
	"time"
)

// assignBodies gives every frame its body and returns the bodies' frames: the
// timed ones in the order they were made, and those without a time.
func assignBodies(frames []*Frame) []*bodyFrames {
	type model struct{ make, model string }
	bySerial := map[model]map[string]*bodyFrames{}
	var all []*bodyFrames
	var strangers []*Frame
	add := func(m model, serial string, f *Frame) {
		if bySerial[m] == nil {
			bySerial[m] = map[string]*bodyFrames{}
		}
		b := bySerial[m][serial]
		if b == nil {
			b = &bodyFrames{body: &Body{Make: m.make, Model: m.model, Serial: serial}}
			bySerial[m][serial] = b
			all = append(all, b)
		}
		b.frames = append(b.frames, f)
	}
	for _, f := range frames {
		m := model{f.meta.Make.Or(""), f.meta.Model.Or("")}
		if m == (model{}) {
			strangers = append(strangers, f)
			continue
		}
		add(m, serialOf(f), f)
	}
	// Frames without a serial number belong to the one body of their model
	// that has one, where there is just one.
	for _, serials := range bySerial {
		blank := serials[""]
		if blank == nil || len(serials) != 2 {
			continue
		}
		for serial, b := range serials {
			if serial != "" {
				b.frames = append(b.frames, blank.frames...)
				blank.frames = nil
			}
		}
	}
	all = slices.DeleteFunc(all, func(b *bodyFrames) bool { return len(b.frames) == 0 })
	var bodies []*bodyFrames
	for _, b := range all {
		b.order()
		bodies = append(bodies, b.split()...)
	}
	bodies = adopt(bodies, strangers)
	slices.SortFunc(bodies, func(a, b *bodyFrames) int {
		return cmp.Or(cmp.Compare(a.body.Make, b.body.Make), cmp.Compare(a.body.Model, b.body.Model),
			cmp.Compare(a.body.Serial, b.body.Serial), cmp.Compare(a.body.Index, b.body.Index))
	})
	for _, b := range bodies {
		for _, f := range b.frames {
			f.Body = b.body
		}
		b.untimed = placeOrder(b.frames)
		b.frames = slices.DeleteFunc(b.frames, func(f *Frame) bool { return !f.Timed() })
		unroll(b.frames, b.untimed)
	}
	return bodies
}

// serialOf returns the serial number, empty where it is none.
func serialOf(f *Frame) string {
	s := f.meta.BodySerial.Or("")
	if strings.Trim(s, "0 ") == "" {
		return ""
	}
	return s
}

// bodyFrames are the frames of one body.
type bodyFrames struct {
	body    *Body
	frames  []*Frame // timed, in order
	untimed []*Frame // by series and number
}

// order sorts the frames by time and, within one reading of the clock, by
// number; frames without a time come last.
func (b *bodyFrames) order() {
	oneZone(b.frames)
	slices.SortStableFunc(b.frames, func(x, y *Frame) int {
		if x.Timed() != y.Timed() {
			if x.Timed() {
				return -1
			}
			return 1
		}
		if c := x.Time.Compare(y.Time); c != 0 {
			return c
		}
		return cmp.Or(cmp.Compare(x.Number.Series, y.Number.Series),
			cmp.Compare(x.Number.along(), y.Number.along()), cmp.Compare(x.Path(), y.Path()))
	})
	// Where the number rolled over within one reading of the clock, the small
	// numbers come after the large ones.
	for i := 0; i < len(b.frames); {
		j := i + 1
		for j < len(b.frames) && b.frames[j].Timed() && b.frames[j].Time.Equal(b.frames[i].Time) {
			j++
		}
		turn := slices.IndexFunc(b.frames[i:j], func(f *Frame) bool { return f.Number.N > rolloverHigh })
		if turn > 0 && b.frames[i].Number.N < rolloverLow && b.frames[i].Number.Series == b.frames[i+turn].Number.Series {
			same := slices.Clone(b.frames[i:j])
			copy(b.frames[i:j], append(same[turn:], same[:turn]...))
		}
		i = j
	}
}

// oneZone shifts the times to the zone of the first frame, where every timed
// frame records its zone: a clock set to another zone in between does not move
// the frames against each other.
func oneZone(frames []*Frame) {
	var first *Frame
	for _, f := range frames {
		if !f.Timed() {
			continue
		}
		if _, ok := f.zone(); !ok {
			return
		}
		if first == nil || f.Time.Before(first.Time) {
			first = f
		}
	}
	if first == nil {
		return
	}
	home, _ := first.zone()
	for _, f := range frames {
		if zone, ok := f.zone(); ok && zone != home {
			f.Time = f.Time.Add(home - zone)
		}
	}
}

// A stream is frames whose numbers count up with time.
type stream struct {
	frames []*Frame
	body   int
}

func (s *stream) last() *Frame { return s.frames[len(s.frames)-1] }

const (
	// Numbers of one stream rise by at most streamGap: more is a jump.
	streamGap = 50
	// Two streams that take turns this often at least ran at the same time.
	interleaved = 3
	// Only the latest streams can go on.
	openStreams = 8
)

// split separates bodies of one model that record no serial number, by
// number streams that run at the same time. Of a body with a serial number,
// such streams mean that its clock was set back: they are put in the order of
// the numbers.
func (b *bodyFrames) split() []*bodyFrames {
	streams := b.streams()
	overlaps := overlapping(streams)
	if len(overlaps) == 0 {
		return []*bodyFrames{b}
	}
	if b.body.Serial != "" {
		slices.SortStableFunc(streams, func(x, y *stream) int {
			if !slices.Contains(overlaps[x], y) {
				return x.frames[0].Time.Compare(y.frames[0].Time)
			}
			return cmp.Compare(x.frames[0].Number.N, y.frames[0].Number.N)
		})
		var rest []*Frame
		for _, f := range b.frames {
			if !f.Timed() || !f.Number.Known {
				rest = append(rest, f)
			}
		}
		b.frames = b.frames[:0:0]
		for _, s := range streams {
			b.frames = append(b.frames, s.frames...)
		}
		b.frames = append(b.frames, rest...)
		return []*bodyFrames{b}
	}
	// Each stream goes to the body that it does not run beside and whose
	// number and folder it continues best.
	var last []*stream // of each body
	for _, s := range streams {
		s.body = -1
	}
	for _, s := range streams {
		best, bestGap := -1, 0
		for i, l := range last {
			if slices.ContainsFunc(overlaps[s], func(o *stream) bool { return o.body == i }) {
				continue
			}
			gap := s.frames[0].Number.N - l.last().Number.N
			if gap < 0 {
				gap += 9999
			}
			if folder(s.frames[0].Path()) != folder(l.last().Path()) {
				gap += 9999
			}
			if best < 0 || gap < bestGap {
				best, bestGap = i, gap
			}
		}
		if best < 0 {
			last = append(last, nil)
			best = len(last) - 1
		}
		s.body, last[best] = best, s
	}
	owner := map[*Frame]int{}
	for _, s := range streams {
		for _, f := range s.frames {
			owner[f] = s.body
		}
	}
	out := make([]*bodyFrames, len(last))
	for i := range out {
		body := *b.body
		body.Index = i + 1
		out[i] = &bodyFrames{body: &body}
	}
	latest := 0
	for _, f := range b.frames {
		if i, ok := owner[f]; ok {
			latest = i
		}
		out[latest].frames = append(out[latest].frames, f)
	}
	return out
}

// streams splits the timed frames into number streams.
func (b *bodyFrames) streams() []*stream {
	var streams []*stream
	for _, f := range b.frames {
		if !f.Timed() || !f.Number.Known {
			continue
		}
		var best *stream
		bestGap := 0
		for i := len(streams) - 1; i >= max(0, len(streams)-openStreams); i-- {
			l := streams[i].last()
			gap := f.Number.along() - l.Number.along()
			if f.Number.Digits == 4 && l.Number.N > rolloverHigh && f.Number.N < rolloverLow {
				gap += 9999
			}
			if gap < 1 || gap > streamGap {
				continue
			}
			if f.Number.Series != l.Number.Series {
				gap += streamGap // possible, but one of the same series is better
			}
			if best == nil || gap < bestGap {
				best, bestGap = streams[i], gap
			}
		}
		if best == nil {
			best = &stream{}
			streams = append(streams, best)
		}
		best.frames = append(best.frames, f)
	}
	return streams
}

// overlapping returns, for each stream, those that it took turns with in time.
func overlapping(streams []*stream) map[*stream][]*stream {
	type turn struct {
		at time.Time
		s  *stream
	}
	out := map[*stream][]*stream{}
	for i, a := range streams {
		for _, b := range streams[i+1:] {
			if !b.frames[0].Time.Before(a.last().Time) {
				break // streams stand in the order of their first frames
			}
			turns := make([]turn, 0, len(a.frames)+len(b.frames))
			for _, f := range a.frames {
				turns = append(turns, turn{f.Time, a})
			}
			for _, f := range b.frames {
				turns = append(turns, turn{f.Time, b})
			}
			slices.SortStableFunc(turns, func(x, y turn) int { return x.at.Compare(y.at) })
			switches := 0
			for j := 1; j < len(turns); j++ {
				if turns[j].s != turns[j-1].s {
					switches++
				}
			}
			if switches >= interleaved {
				out[a] = append(out[a], b)
				out[b] = append(out[b], a)
			}
		}
	}
	return out
}

// adopt gives frames that record no body to the body whose numbers they
// continue, or to the only body of their folder; the rest share an unknown one.
func adopt(bodies []*bodyFrames, strangers []*Frame) []*bodyFrames {
	if len(strangers) == 0 {
		return bodies
	}
	type place struct {
		owner *bodyFrames
		n     int
	}
	bySeries := map[string][]place{}
	byFolder := map[string]*bodyFrames{}
	shared := map[string]bool{}
	for _, b := range bodies {
		for _, f := range b.frames {
			if f.Number.Known {
				bySeries[f.Number.Series] = append(bySeries[f.Number.Series], place{b, f.Number.N})
			}
			dir := folder(f.Path())
			if o := byFolder[dir]; o != nil && o != b {
				shared[dir] = true
			}
			byFolder[dir] = b
		}
	}
	for _, places := range bySeries {
		slices.SortStableFunc(places, func(x, y place) int { return cmp.Compare(x.n, y.n) })
	}
	unknown := &bodyFrames{body: &Body{}}
	grown := map[*bodyFrames]bool{}
	for _, f := range strangers {
		owner := unknown
		if places := bySeries[f.Number.Series]; f.Number.Known && len(places) > 0 {
			i, _ := slices.BinarySearchFunc(places, f.Number.N, func(p place, n int) int { return cmp.Compare(p.n, n) })
			switch {
			case i == 0:
				owner = places[0].owner
			case i == len(places) || f.Number.N-places[i-1].n <= places[i].n-f.Number.N:
				owner = places[i-1].owner
			default:
				owner = places[i].owner
			}
		} else if b := byFolder[folder(f.Path())]; b != nil && !shared[folder(f.Path())] {
			owner = b
		}
		owner.frames = append(owner.frames, f)
		grown[owner] = true
	}
	for b := range grown {
		if b == unknown {
			bodies = append(bodies, b)
		}
		b.order()
	}
	return bodies
}

// placeOrder returns the frames without a time by series, number and path.
func placeOrder(frames []*Frame) []*Frame {
	var out []*Frame
	for _, f := range frames {
		if !f.Timed() {
			out = append(out, f)
		}
	}
	slices.SortStableFunc(out, func(x, y *Frame) int {
		return cmp.Or(cmp.Compare(x.Number.Series, y.Number.Series), cmp.Compare(x.Number.N, y.Number.N), cmp.Compare(x.Path(), y.Path()))
	})
	return out
}
