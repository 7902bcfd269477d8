package audit

import (
	"fmt"
	"math"
	"strings"
	"time"

	"prestrike/audit/shoot"
)

// When a sequence of a folder that fills is complete, and when it is late.

const (
	// A sequence that another follows is closed when no file of it came for
	// this long: files are copied in any order.
	quietAfterNext = 3 * time.Second
	// The last sequence is closed when it is quiet for quietCadences of its
	// own cadence, and for quietLast at least.
	quietLast     = 6 * time.Second
	quietSmall    = 90 * time.Second // of fewer than liveFrames
	quietCadences = 4
	// A run that stopped short of its frames is stalled then, and closed only so long
	// after: what stopped it takes a while to mend, such as a new battery.
	stalledMost = 2 * time.Minute
	// While files are still coming, one that seems to be missing may be among
	// them: such a finding waits for quietAll, but no longer than waitMost.
	quietAll = 2 * time.Second
	waitMost = 10 * time.Second
	// A time-lapse is overdue when two ticks passed without a frame.
	overdueTicks = 3
	// Fewer frames are not announced as a run.
	liveFrames = 5
)

// closes reports whether the sequence is complete as far as its frames and the quiet show,
// and why.
func (l *Live) closes(run *liveRun, q *Reviewed, now time.Time) (string, bool) {
	since := l.Since(q, now)
	if l.away(q) || worst(q.Findings) == VerdictReshoot && now.Sub(l.arrived) < quietAll && since < waitMost {
		return "", false
	}
	if n := q.Expected.Frames; !run.counted && complete(q) {
		run.counted = true
		return fmt.Sprintf("with %d frames, %s", n, q.Expected.Why), true
	}
	small := len(q.Frames) < liveFrames
	if next, ok := l.next(q, small); ok {
		wait := quietAfterNext
		if c, ok := q.Cadence.Get(); ok {
			// What seems to be another may be the run behind a lost frame.
			wait = min(max(wait, 3*c), waitMost)
		}
		if since >= wait && now.Sub(l.first(next)) >= wait {
			return "because another began", true
		}
	}
	limit := quietLimit(q)
	if short(q) {
		limit += stalledMost
	}
	if since >= limit {
		return fmt.Sprintf("after %s of quiet", shoot.FormatDuration(time.Duration(math.Floor(since.Seconds()))*time.Second)), true
	}
	return "", false
}

// quietLimit is the longest pause that the cadence of a sequence explains.
func quietLimit(q *Reviewed) time.Duration {
	limit := quietLast
	if len(q.Frames) < liveFrames {
		limit = quietSmall // it may be the start of a slow run
	}
	if c, ok := q.Cadence.Get(); ok {
		limit = max(limit, time.Duration(quietCadences*float64(c)))
	}
	longest := 0.0
	for _, f := range q.Frames {
		longest = max(longest, f.ExposureSeconds())
	}
	return limit + time.Duration(longest*float64(time.Second))
}

// complete reports whether a sequence has all the frames that it should have, and the last
// one as many files as the one before.
func complete(q *Reviewed) bool {
	n := len(q.Frames)
	return n > 1 && q.Expected.Frames > 0 && n >= q.Expected.Frames && len(q.Frames[n-1].Files) >= len(q.Frames[n-2].Files)
}

// short reports whether a run should have more frames than it has.
func short(q *Reviewed) bool {
	return len(q.Frames) >= min(liveFrames, q.Expected.Frames-1) && q.ExpectedFrames() < q.Expected.Frames
}

// goesOn reports whether the frames that a run lacks may still come: it is the last of its
// body, and nothing came for no longer than it would stay open.
func (l *Live) goesOn(q *Reviewed, now time.Time) bool {
	_, followed := l.next(q, false)
	return short(q) && !followed && l.Since(q, now) < quietLimit(q)+stalledMost
}

// UnderWay returns the sequence of which more frames may come: the last of its body, not
// complete, and not quiet for longer than its cadence explains. Of several it is that of the
// latest file; nil where there is none.
func (l *Live) UnderWay(now time.Time) *Reviewed {
	var found *Reviewed
	for _, session := range l.result.Sessions {
		for _, q := range session.Sequences {
			_, followed := l.next(q, false)
			if followed || len(q.Frames) < liveFrames || complete(q) || l.Since(q, now) >= quietLimit(q) && !l.goesOn(q, now) {
				continue
			}
			if found == nil || l.latest(q).After(l.latest(found)) {
				found = q
			}
		}
	}
	return found
}

// late reports which way a sequence is late, and why: a run that stops short of the frames
// that it should have, after the pause that its cadence explains, or a time-lapse that
// has lost its beat by two ticks. The kind is 0 where it is not.
func (l *Live) late(q *Reviewed, now time.Time) (LiveKind, string) {
	if l.away(q) {
		return 0, ""
	}
	if _, followed := l.next(q, false); followed {
		return 0, ""
	}
	since := l.Since(q, now)
	c, paced := q.Cadence.Get()
	if q.Kind == shoot.Bracket {
		paced = false // its exposure times differ, and so does the time between its frames
	}
	quiet := "no frame for " + shoot.FormatDuration(since.Truncate(time.Second))
	if paced {
		quiet += ", where one comes every " + shoot.FormatDuration(c)
	}
	timed := (q.Kind == shoot.TimeLapse || q.Kind == shoot.Series && q.Regular()) && len(q.Frames) >= liveFrames
	overdue := paced && timed && since >= overdueTicks*c
	switch planned := l.opt.Planned(q.Kind); {
	case short(q) && (overdue || since >= quietLimit(q)):
		return SequenceStalled, fmt.Sprintf("at %d of %d frames, %s", len(q.Frames), q.Expected.Frames, quiet)
	case overdue && (planned == 0 || len(q.Frames) < planned):
		return SequenceOverdue, quiet
	}
	return 0, ""
}

// away reports whether the latest frames of a sequence lie in a folder that cannot be read
// for now.
func (l *Live) away(q *Reviewed) bool {
	last := q.Frames[len(q.Frames)-1].Path()
	for folder := range l.gone {
		if folder == "" || strings.HasPrefix(last, folder+"/") {
			return true
		}
	}
	return false
}

// Since returns how long ago the latest file of the sequence came, or could have come.
func (l *Live) Since(q *Reviewed, now time.Time) time.Duration {
	latest := l.latest(q)
	if l.back.After(latest) {
		latest = l.back
	}
	return now.Sub(latest)
}

// Reported reports whether a finding of a sequence was reported.
func (l *Live) Reported(q *Reviewed, f *Finding) bool {
	run := l.runOf(q)
	return run != nil && run.findings[f.Rule] >= f.Severity
}

// Late reports whether an open sequence was reported as stalled or overdue, and nothing
// came since.
func (l *Live) Late(q *Reviewed) bool {
	run := l.runOf(q)
	return run != nil && run.stalled && !run.closed
}

// latest returns when the latest file of the sequence came.
func (l *Live) latest(q *Reviewed) time.Time {
	var t time.Time
	for _, f := range q.Frames {
		for _, file := range f.Files {
			if lf := l.files[file.Path]; lf != nil && lf.at.After(t) {
				t = lf.at
			}
		}
	}
	return t
}

// first returns when the first file of the sequence came.
func (l *Live) first(q *Reviewed) time.Time {
	var t time.Time
	for _, f := range q.Frames {
		for _, file := range f.Files {
			if lf := l.files[file.Path]; lf != nil && (t.IsZero() || lf.at.Before(t)) {
				t = lf.at
			}
		}
	}
	return t
}

// next returns the sequence that the body made after q; where long is set, one
// that is a run.
func (l *Live) next(q *Reviewed, long bool) (*Reviewed, bool) {
	for _, session := range l.result.Sessions {
		for _, o := range session.Sequences {
			if o.Body == q.Body && o != q && o.Start().After(q.End()) && (!long || len(o.Frames) >= liveFrames) {
				return o, true
			}
		}
	}
	return nil, false
}
