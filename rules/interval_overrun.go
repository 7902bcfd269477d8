package rules

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"time"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/exifread"
	"prestrike/rules/evidence"
	"prestrike/rules/optics"
)

var intervalOverrun = &audit.Rule{
	ID:       "interval-overrun",
	Title:    "Interval too short",
	Severity: audit.Check,
	Shows:    audit.ShowNothing,
	Doc: `Finds time-lapses whose frames come late, because the interval is too short for the
exposure time and for what the camera needs between two frames.

It finds two things. First, frames that come late, or are left out, after an exposure of
more than nine tenths of the interval. Second, sequences that begin at an interval of whole
seconds and go on at a slower pace: the buffer was full.

The clip jumps there, or is shorter than planned.

Make the interval longer or the exposure time shorter before the next clip. Check whether
this one has jumps.

Where no frame is left out, the recorded times count, however little is left between two
exposures: star trails of 25 s every 26 s are good. The shortest gap of the sequence shows
what the camera needs. The finding is wrong where the interval was changed by hand.`,
	Source: "common practice; dpreview.com/forums/post/31437081 measured an interval of 33 s for exposures of 30 s",
	Params: []audit.Param{
		{
			Name: "share", Doc: "a longer share of the interval leaves the camera little time",
			Default: optics.FullestInterval, Min: 0.1, Max: 1,
		},
		{
			Name: "slower", Doc: "the least growth of the interval that is another pace",
			Default: optics.JitterFraction, Min: 0.01, Max: 1,
		},
	},
	Check: checkIntervalOverrun,
}

func checkIntervalOverrun(v *audit.Review) error {
	q := v.Sequence
	c, ok := q.Cadence.Get()
	if q.Kind != shoot.TimeLapse && q.Kind != shoot.Series || !ok {
		return nil
	}
	if p, ok := slowedPace(v, v.Param("slower")); ok {
		v.Found(audit.Finding{
			Message: fmt.Sprintf("a frame comes every %s up to %s, and every %s from there on; the camera does not keep the interval%s",
				shoot.FormatDuration(p.set), p.from.Label(), shoot.FormatDuration(p.then), p.leaves()),
			Action:   "make the interval longer or the exposure time shorter, and shoot the clip again where its speed matters",
			Frames:   p.frames,
			Measured: exifread.Of(p.then.Seconds() / p.set.Seconds()), Limit: exifread.Of(1 + v.Param("slower")), Unit: "of the interval",
		})
		return nil
	}
	if q.Kind != shoot.TimeLapse || !wholeSeconds(c.Seconds()) {
		return nil
	}
	_, unknown := evidence.Exposed(q)
	if len(unknown) > 0 {
		v.Unjudged(noExposureTime, unknown...)
	}
	var late []*shoot.Frame
	longest := 0.0
	jitter := v.ParamOf("interval-jitter", jitterParam)
	for _, s := range q.Steps {
		t := exifread.Positive(s.From.Meta().ExposureTime)
		ticks, ok := s.Ticks.Get()
		if !ok || t <= v.Param("share")*c.Seconds() || s.Count.Or(1) > 1 {
			continue
		}
		if s.Slack > coarsest {
			v.Unjudged("the clock is too coarse for this cadence")
			return nil
		}
		if ticks-1 <= max(jitter, s.Slack)+1e-9 {
			continue
		}
		late = append(late, s.To)
		longest = max(longest, t)
	}
	if len(late) == 0 {
		return nil
	}
	v.Found(audit.Finding{
		Message: fmt.Sprintf("%s late, after exposures of up to %s, which fill %.0f %% of the interval of %s",
			words.Count(len(late), "frame comes", "frames come"), writeTime(longest), 100*longest/c.Seconds(), shoot.FormatDuration(c)),
		Action:   "inspect the clip for jumps; a longer interval or a shorter exposure time avoids them",
		Frames:   late,
		Measured: exifread.Of(longest / c.Seconds()), Limit: exifread.Of(v.Param("share")), Unit: "of the interval",
	})
	return nil
}

// A pace is how a run slows down.
type pace struct {
	set, then time.Duration
	from      *shoot.Frame // the last one at the first interval
	frames    []*shoot.Frame
	exposure  float64 // s, of the first frame; 0 where not known
}

// leaves writes what the exposure leaves of the interval that was set.
func (p pace) leaves() string {
	if p.exposure == 0 || p.exposure >= p.set.Seconds() {
		return ""
	}
	left := time.Duration((p.set.Seconds() - p.exposure) * float64(time.Second)).Round(time.Millisecond)
	return fmt.Sprintf(" (exposures of %s leave it %s)", writeTime(p.exposure), shoot.FormatDuration(left))
}

// slowedPace finds a run that keeps to an interval of whole seconds, which only a timer
// does, and then to a longer one that no timer counts, to its end. The two may
// have been taken for two sequences.
func slowedPace(v *audit.Review, slower float64) (pace, bool) {
	const (
		fewest = 5    // steps at each pace
		alike  = 0.03 // of the pace
		most   = 2.0  // intervals: a slower camera leaves out frames, which interval-gap reports
		// exceptions is one in how many steps of the slower pace may be off it.
		exceptions = 10
	)
	q := v.Sequence
	frames := q.Frames
	if before := sequenceBefore(v); before != nil && sameLook(before.Frames[len(before.Frames)-1], frames[0]) {
		frames = slices.Concat(before.Frames, frames)
	}
	own := len(frames) - len(q.Frames)
	var steps []float64
	for i := 1; i < len(frames); i++ {
		a, b := frames[i-1], frames[i]
		e := b.Time.Sub(a.Time).Seconds()
		if !a.Timed() || !b.Timed() || max(a.Resolution, b.Resolution).Seconds() > alike*e {
			return pace{}, false // the clock is too coarse to distinguish paces
		}
		steps = append(steps, e)
	}
	if len(steps) < 2*fewest {
		return pace{}, false
	}
	set := math.Round(steps[0])
	n := 0
	for n < len(steps) && set > 0 && math.Abs(steps[n]-set) <= alike*set {
		n++
	}
	if n < fewest || len(steps)-n < fewest || n < own-1 {
		return pace{}, false
	}
	then := 0.0
	for _, s := range steps[n:] {
		then += s / float64(len(steps)-n)
	}
	if then < set*(1+slower) || then > most*set || wholeSeconds(then) {
		return pace{}, false
	}
	// Where one sequence ends and another begins, the camera went on at one of the two
	// paces; else a timer was started again.
	if own > 0 && (steps[own-1] < (1-alike)*set || steps[own-1] > (1+alike)*then) {
		return pace{}, false
	}
	off := 0
	for _, s := range steps[n:] {
		if math.Abs(s-then) > alike*then {
			off++
		}
	}
	if off*exceptions > len(steps)-n {
		return pace{}, false
	}
	return pace{
		set:  time.Duration(set * float64(time.Second)),
		then: time.Duration(then * float64(time.Second)).Round(time.Second / 10),
		from: frames[n], frames: frames[max(n, own):], exposure: exifread.Positive(frames[0].Meta().ExposureTime),
	}, true
}

// sequenceBefore returns the run of its kind that the body made just before the sequence
// under review, of those that end together the first; nil where there is none.
func sequenceBefore(v *audit.Review) *shoot.Sequence {
	q := v.Sequence
	list := byEnd.Of(v)[ofKind{q.Body, q.Kind}]
	ended := sort.Search(len(list), func(i int) bool { return list[i].End().After(q.Start()) })
	var before *shoot.Sequence
	for _, o := range slices.Backward(list[:ended]) {
		if o == q {
			continue
		}
		if before != nil && before.End().After(o.End()) {
			break
		}
		before = o
	}
	return before
}

// ofKind is runs of one kind of a body.
type ofKind struct {
	body *shoot.Body
	kind shoot.Kind
}

// byEnd are the sequences of each kind in the order of their ends.
var byEnd = audit.SessionFact(func(v *audit.Review) map[ofKind][]*shoot.Sequence {
	all := map[ofKind][]*shoot.Sequence{}
	for _, q := range v.Session.Sequences {
		key := ofKind{q.Body, q.Kind}
		all[key] = append(all[key], q)
	}
	for _, list := range all {
		slices.SortStableFunc(list, func(a, b *shoot.Sequence) int { return a.End().Compare(b.End()) })
	}
	return all
})

// wholeSeconds reports whether an interval is one that a timer counts.
func wholeSeconds(s float64) bool {
	return math.Abs(s-math.Round(s)) <= max(0.02, 0.002*s)
}
