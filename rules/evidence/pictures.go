package evidence

import (
	"maps"
	"math"
	"slices"

	"prestrike/audit"
	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
)

// notLooked is the reason where no picture was inspected.
const notLooked = "the pictures were not inspected"

// Seen returns what was found in the pictures of the review's sequence; nil
// where nothing was, with the reason, which is empty where the pictures of such
// a sequence answer no rule.
func Seen(v *audit.Review) (j *pixels.Judgement, why string) { return seenIn(v.Sequence, v.Pictures) }

// SeenIn is Seen for any sequence of the session.
func SeenIn(v *audit.Review, q *shoot.Sequence) (j *pixels.Judgement, why string) {
	return seenIn(q, v.Pictured[q])
}

func seenIn(q *shoot.Sequence, pictures any) (j *pixels.Judgement, why string) {
	p, ok := pictures.(*pixels.Seen)
	if ok && p.Few {
		return nil, ""
	}
	if !ok {
		if q.AsksForPictures() {
			why = notLooked
		} else if q.PositionExposures > 0 {
			why = "each focus position has several exposures, whose pictures are not compared"
		}
		return nil, why
	}
	j = p.Judgement
	if j.Frames != len(q.Frames) {
		return nil, notLooked
	}
	if len(p.Missing) == j.Frames {
		return nil, slices.Min(slices.Collect(maps.Values(p.Missing)))
	}
	return j, ""
}

// Shows is Seen for rules that only pictures can answer: it reports by itself
// why it is not judged, and for which frames.
func Shows(v *audit.Review) *pixels.Judgement {
	j, why := Seen(v)
	if why != "" {
		v.Blind(why)
	}
	if j != nil {
		lackPictures(v)
	}
	return j
}

// lackPictures reports which frames have no picture, where others of the sequence
// have, with the reason: a file that is torn or cannot be read is no file without a
// preview.
func lackPictures(v *audit.Review) {
	q := v.Sequence
	missing := v.Pictures.(*pixels.Seen).Missing
	var reasons []string
	frames := map[string][]*shoot.Frame{}
	for _, i := range slices.Sorted(maps.Keys(missing)) {
		why := missing[i]
		if why == pixels.DamagedFile || lost(q.Frames[i]) {
			why = ""
		}
		if frames[why] == nil {
			reasons = append(reasons, why)
		}
		frames[why] = append(frames[why], q.Frames[i])
	}
	for _, why := range reasons {
		text := shoot.FrameRanges(q.Frames, frames[why])
		if why == "" {
			text += " cannot be read"
		} else {
			text = why + " in " + text
		}
		v.Blind(text, frames[why]...)
	}
}

// lost reports whether all files of a frame are torn or cannot be read.
func lost(f *shoot.Frame) bool {
	return !slices.ContainsFunc(f.Files, func(file *shoot.File) bool { return file.Err == nil && !file.Torn() })
}

// LacksPicture reports whether a frame of the review's sequence has no picture, which
// [Shows] has reported then.
func LacksPicture(v *audit.Review, frame int) bool {
	p, ok := v.Pictures.(*pixels.Seen)
	return ok && p.Missing[frame] != ""
}

// jumps are the places of a sequence where focus moves much farther than around
// them, by the pictures or by recorded distances.
type jumps struct {
	seen  []pixels.Jump
	place map[*shoot.Frame]int
	// apart are the recorded distances as multiples of the usual step, where they
	// are fine enough to show them.
	apart map[*shoot.Frame]float64
}

// focusJumps returns the jumps of the review's sequence, without those at its
// ends, where motors are uneven.
func focusJumps(v *audit.Review) jumps {
	q := v.Sequence
	var s jumps
	if q.Kind != shoot.Focus && q.Kind != shoot.Series {
		return s
	}
	j, _ := Seen(v)
	if w, _, ok := WalkOf(v); ok && !w.Outwards && w.fine() && (j == nil || j.Jumps.Answer != pixels.Fine) {
		s.apart = make(map[*shoot.Frame]float64, len(w.Frames))
		for i, f := range w.Frames {
			s.apart[f] = w.At[i] / w.Step
		}
	}
	if j != nil && j.Jumps.Answer == pixels.Found && j.Habit.Outwards == nil {
		s.place = make(map[*shoot.Frame]int, len(q.Frames))
		for _, e := range j.Jumps.Events {
			if !e.Weak {
				s.seen = append(s.seen, e)
			}
		}
		for i, f := range q.Frames {
			s.place[f] = i
		}
	}
	return s
}

// over returns how many times as far as around them focus moves between two
// frames; 0 where it does not jump, or where that is not known.
func (s jumps) over(from, to *shoot.Frame) float64 {
	// Distances, where they are recorded that finely, give the length better.
	a, okA := s.apart[from]
	b, okB := s.apart[to]
	if d := math.Abs(b - a); okA && okB && d >= pixels.DefaultThresholds().JumpRatio {
		return d
	}
	for _, e := range s.seen {
		if e.From >= s.place[from] && e.To <= s.place[to] {
			return e.Ratio
		}
	}
	return 0
}

// Tells reports whether a check found something, and reports why where it has no answer.
func Tells(v *audit.Review, verdict pixels.Verdict) bool {
	if verdict.Answer == pixels.CannotTell {
		v.Unjudged(verdict.Reason)
	}
	return verdict.Answer == pixels.Found
}

// UnknownTo joins the reasons where neither the recorded distances nor the pictures have an
// answer: that of the pictures, where they were inspected.
func UnknownTo(distance string, j *pixels.Judgement, notSeen string, check func(*pixels.Judgement) pixels.Verdict) string {
	if j == nil {
		if notSeen == "" || notSeen == notLooked {
			return distance
		}
		return notSeen
	}
	return check(j).Reason
}

// long is the long side of the picture that px count in.
const long = 1600

// InLong returns px of the analysed picture as px of one with a long side of
// 1,600.
func InLong(j *pixels.Judgement, px float64) float64 {
	return px * long * float64(j.Factor) / float64(max(j.Width, j.Height))
}

// FullSize returns px of the analysed picture as pixels of the frame.
func FullSize(q *shoot.Sequence, j *pixels.Judgement, px float64) float64 {
	side, _ := PictureSize(q)
	if side == 0 {
		side = max(j.Width, j.Height)
	}
	return px * float64(j.Factor) * float64(side) / float64(max(j.Width, j.Height))
}
