package shoot

import (
	"math"
	"slices"
	"time"

	"prestrike/exifread"
)

// A picture that the camera merged from the frames before it, of a bracket, of a focus
// sequence or of frames shifted by parts of a pixel, is no frame of that run: it is taken out
// before runs are searched for, and stands beside the one that it was made from.
//
// CompositeImage records it (CIPA DC-008, tag 0xA460). Bodies that do not record it give the
// picture away all the same: it has no raw file where the frames before have one, or a
// size of its own, and it comes alone, later than the next frame of the run would have
// (common practice).

const (
	// How long a camera may take to merge.
	longestMerge = time.Minute
	// Frames that are merged follow each other faster than this.
	mergedPace = 10 * time.Second
	// A picture without the tag comes later than a frame of the run would have, by this
	// factor of the time between two exposures.
	mergedLate = 2.0
	// Sizes that differ by less are those of raw files and their JPEGs.
	ownSize = 0.02
)

// composite reports whether the frame records that it was put together of several pictures.
func (f *Frame) composite() bool {
	return slices.ContainsFunc(f.Files, func(file *File) bool { return file.Meta.CompositeImage.Or(0) > 1 })
}

// takeOutMerged takes pictures that the camera merged out of a body's timed frames, and
// returns them in order.
func (b *bodyFrames) takeOutMerged() []*Frame {
	var sure, likely []int
	for i := 2; i < len(b.frames); i++ {
		switch b.mergedAt(i) {
		case mergedSurely:
			sure = append(sure, i)
		case mergedLikely:
			likely = append(likely, i)
		}
	}
	// What only a missing raw file shows, and what only a size shows, counts where the
	// camera does it again.
	if len(sure)+len(likely) > 1 {
		sure = append(sure, likely...)
		slices.Sort(sure)
	}
	if len(sure) == 0 {
		return nil
	}
	merged := make([]*Frame, 0, len(sure))
	kept := make([]*Frame, 0, len(b.frames)-len(sure))
	for i, f := range b.frames {
		if len(merged) < len(sure) && sure[len(merged)] == i {
			merged = append(merged, f)
		} else {
			kept = append(kept, f)
		}
	}
	b.frames = kept
	return merged
}

type mergedness uint8

const (
	mergedNot mergedness = iota
	mergedLikely
	mergedSurely
)

// mergedAt decides whether the frame at i was merged from those before it.
func (b *bodyFrames) mergedAt(i int) mergedness {
	f, last, before := b.frames[i], b.frames[i-1], b.frames[i-2]
	if !f.whole() || last.composite() || before.composite() {
		return mergedNot // phones make every picture of several
	}
	since, pace := f.Time.Sub(last.Time), last.Time.Sub(before.Time)
	if since > longestMerge || pace < 0 || pace > mergedPace {
		return mergedNot
	}
	var next *Frame
	if i+1 < len(b.frames) {
		next = b.frames[i+1]
	}
	if next != nil && next.composite() {
		return mergedNot
	}
	lone, sized := f.standsOut(before, last, next)
	switch {
	case f.composite():
		quick := pace < 2*time.Second || steps(before, last)
		if lone || sized || quick && (next == nil || next.Time.Sub(f.Time) > pace) {
			return mergedSurely
		}
	case !f.mergedLate(before, last):
	case lone && sized:
		return mergedSurely
	case lone || sized:
		return mergedLikely
	}
	return mergedNot
}

// standsOut reports whether the frame lacks the raw file that those around it have,
// and whether it has a size of its own. next is nil at the end.
func (f *Frame) standsOut(before, last, next *Frame) (lone, sized bool) {
	lone = !f.HasRaw() && last.HasRaw() && before.HasRaw() && (next == nil || next.HasRaw())
	sized = f.otherSize(last) && !before.otherSize(last) &&
		(next == nil || !next.otherSize(last) || !next.HasRaw() && next.Time.Sub(f.Time) > mergedPace)
	return lone, sized
}

// mergedLate reports whether the frame comes later than the next one of a run
// would have, or ends a bracket that the body was set to make.
func (f *Frame) mergedLate(before, last *Frame) bool {
	if last.autoBracket() && before.autoBracket() && !f.autoBracket() {
		return true
	}
	dead := func(x, y *Frame) float64 { return y.Time.Sub(x.Time).Seconds() - x.ExposureSeconds() }
	least := max(dead(before, last), 0.1, f.Resolution.Seconds())
	return dead(last, f) >= mergedLate*least
}

// autoBracket reports whether the body was set to make a bracket.
func (f *Frame) autoBracket() bool {
	return f.meta.ExposureMode.Or(exifread.ExposureAuto) == exifread.ExposureBracket
}

// steps reports whether the exposures of two frames are steps of a bracket.
func steps(a, b *Frame) bool {
	x, y := a.ExposureSeconds(), b.ExposureSeconds()
	return x > 0 && y > 0 && math.Abs(math.Log2(y/x)) > 0.5
}

// otherSize reports whether the frame's picture has other dimensions than the other
// frame's one of the same format, or than its only one.
func (f *Frame) otherSize(other *Frame) bool {
	size := func(f *Frame, format exifread.Format) (long, short float64, ok bool) {
		for _, file := range f.Files {
			if file.Meta.Format == format || len(f.Files) == 1 {
				w, h := float64(file.Meta.Width.Or(0)), float64(file.Meta.Height.Or(0))
				return max(w, h), min(w, h), w > 0 && h > 0
			}
		}
		return 0, 0, false
	}
	format := f.Files[len(f.Files)-1].Meta.Format
	long, short, ok := size(f, format)
	l, s, known := size(other, format)
	return ok && known && (math.Abs(long/l-1) > ownSize || math.Abs(short/s-1) > ownSize)
}

// attach gives pictures that the camera merged to the runs that they were made from. One
// without such a run is a frame like others.
func attach(runs []*Run, merged []*Frame, body *Body) []*Run {
	for _, m := range merged {
		var from *Run
		for _, r := range runs {
			if !r.End().After(m.Time) && (from == nil || !r.End().Before(from.End())) {
				from = r
			}
		}
		if from == nil || len(from.Frames) < 2 {
			runs = append(runs, &Run{Body: body, Frames: []*Frame{m}})
			continue
		}
		from.Merged = append(from.Merged, m)
	}
	return runs
}
