package audittest

import (
	"math/rand/v2"
	"slices"
	"time"

	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// A Fault is what was done to a made-up shoot, and the rule that is to find it.
type Fault struct {
	Rule     string
	Sequence []string // the frames of the faulty sequence, without lost ones
	What     string
}

// Faults are the kinds of fault that Break knows, by the rule that finds them.
var Faults = []string{
	"missing-frame", "iso-drift", "exposure-drift", "aperture-drift", "focal-length-drift", "frame-turn", "size-change",
	"torn-file", "unreadable-file", "interval-gap", "flash-missed",
}

// Break does one fault of the given kind to a clean shoot, in a focus or
// time-lapse run. It reports false where the shoot has no run that could have it.
func (s *Shoot) Break(kind string, seed uint64) (Fault, bool) {
	r := rand.New(rand.NewPCG(seed, 0x6661756c74))
	fit := s.breakable(kind)
	if len(fit) == 0 {
		return Fault{}, false
	}
	q := &s.Sequences[fit[r.IntN(len(fit))]]
	n := len(q.Frames)
	at := 4 + r.IntN(n-8) // well inside
	each := func(from, to int, do func(*shoot.File)) {
		for _, p := range q.Frames[from:to] {
			for _, f := range s.frame(p) {
				do(f)
			}
		}
	}
	switch kind {
	case "missing-frame":
		lost := 1 + r.IntN(min(3, n-at-3))
		each(at, at+lost, func(f *shoot.File) {
			s.Files = slices.DeleteFunc(s.Files, func(o *shoot.File) bool { return o == f })
		})
		q.Frames = slices.Delete(slices.Clone(q.Frames), at, at+lost)
	case "interval-gap":
		s.skipTick(q, at)
	default:
		if do, ok := faultOfOne[kind]; ok {
			each(at, at+1, do)
		} else {
			each(at, n, faultOfRest[kind])
		}
	}
	s.Clean = false
	return Fault{Rule: kind, What: q.What, Sequence: q.Frames}, true
}

// breakable returns the places of the sequences that can have a fault of the kind.
func (s *Shoot) breakable(kind string) []int {
	var fit []int
	for i, q := range s.Sequences {
		long := q.Kind.Steady() && len(q.Frames) >= 10
		switch kind {
		case "interval-gap":
			long = long && q.Kind == shoot.TimeLapse
		case "flash-missed":
			long = long && s.frame(q.Frames[0])[0].Meta.Flash.Or(0).Fired()
		}
		if long {
			fit = append(fit, i)
		}
	}
	return fit
}

// faultOfOne are the faults of a single frame.
var faultOfOne = map[string]func(*shoot.File){
	"torn-file": func(f *shoot.File) {
		f.Meta.Integrity = exifread.Integrity{State: exifread.IntegrityTorn, Reason: "the image data ends early"}
	},
	"unreadable-file": func(f *shoot.File) {
		f.Meta = &exifread.Metadata{}
		f.Err = &exifread.FormatError{Problem: "the file is empty"}
	},
	"flash-missed": func(f *shoot.File) {
		f.Meta.Flash = exifread.Of[exifread.Flash](16) // switched off, by what the body records
	},
}

// faultOfRest are the faults of all frames from one on.
var faultOfRest = map[string]func(*shoot.File){
	"iso-drift": func(f *shoot.File) { f.Meta.Sensitivity = exifread.Of(f.Meta.Sensitivity.Or(100) * 4) },
	"exposure-drift": func(f *shoot.File) {
		t := f.Meta.ExposureTime.Or(exifread.Rational{Num: 1, Den: 60})
		t.Den *= 2
		f.Meta.ExposureTime = exifread.Of(t)
	},
	"aperture-drift":     func(f *shoot.File) { f.Meta.FNumber = exifread.Of(exifread.Rational{Num: 16, Den: 1}) },
	"focal-length-drift": func(f *shoot.File) { f.Meta.FocalLength = exifread.Of(exifread.Rational{Num: 70, Den: 1}) },
	"frame-turn":         func(f *shoot.File) { f.Meta.Orientation = exifread.Of[uint16](8) },
	"size-change": func(f *shoot.File) {
		f.Meta.Width, f.Meta.Height = exifread.Of[uint32](6192), exifread.Of[uint32](4128)
	},
}

// skipTick leaves a tick of the timer out: everything that this body makes from the
// frame on comes a tick later.
func (s *Shoot) skipTick(q *TrueSequence, at int) {
	meta := func(i int) *exifread.Metadata { return s.frame(q.Frames[i])[0].Meta }
	wall := func(i int) time.Time { return meta(i).Captured.Or(exifread.Timestamp{}).Wall }
	n, body := len(q.Frames), meta(0)
	tick, from := wall(n-1).Sub(wall(0))/time.Duration(n-1), wall(at)
	for _, f := range s.Files {
		c, ok := f.Meta.Captured.Get()
		if ok && !c.Wall.Before(from) && f.Meta.Model == body.Model && f.Meta.BodySerial == body.BodySerial && folderOf(f.Path) == folderOf(q.Frames[0]) {
			c.Wall = c.Wall.Add(tick).Truncate(c.Resolution)
			f.Meta.Captured = exifread.Of(c)
		}
	}
}

// folderOf returns the card of a path: what two twin bodies do not share,
// unless they were copied into one folder.
func folderOf(p string) string {
	for i := range p {
		if p[i] == '/' {
			return p[:i]
		}
	}
	return ""
}

// frame returns the files of the frame whose first file has the path.
func (s *Shoot) frame(path string) []*shoot.File {
	if s.byStem == nil {
		s.byStem = map[string][]*shoot.File{}
		for _, f := range s.Files {
			s.byStem[stem(f.Path)] = append(s.byStem[stem(f.Path)], f)
		}
	}
	return s.byStem[stem(path)]
}

func stem(p string) string {
	for i := len(p) - 1; i >= 0; i-- {
		if p[i] == '.' {
			return p[:i]
		}
	}
	return p
}
