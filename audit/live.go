package audit

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"prestrike/audit/shoot"
)

// A Live audits a folder while it fills. Files are put in as they come, in any
// order; what is known so far is always the same as an audit of the same files
// would give. It is for one goroutine.
type Live struct {
	opt        *Options
	files      map[string]*liveFile
	other      int      // files that are no pictures, as far as they are known
	unfinished []string // frames whose copies are not complete, as far as they are known
	problems   []error  // what could not be read, as far as it is known
	// changed is true where files came or went since the last inspection.
	changed bool
	arrived time.Time // of the latest file

	result *Result
	runs   map[string]*liveRun // by the path of each frame's first file
}

type liveFile struct {
	file *shoot.File
	at   time.Time // when it was put in
}

// liveRun is what was reported of one sequence.
type liveRun struct {
	opened, closed bool
	overdue        bool
	findings       map[string]bool // rule and message
	state          string          // verdict, frames and open findings when it was closed
	said           string          // the same without the frames
	frames         int
	last           string // the last frame when it was closed, by its first file's path
	size           int    // its frames then
}

// LiveKind is what a LiveEvent reports.
type LiveKind uint8

// The kinds of event.
const (
	SequenceOpened    LiveKind = iota + 1 // a run of frames has begun
	FindingCertain                        // a fault that is certain before the sequence ends
	SequenceClosed                        // a sequence is complete
	SequenceCorrected                     // what was reported of a closed sequence has changed
	SequenceOverdue                       // a time-lapse has lost its beat by two intervals
)

var liveKindNames = [...]string{SequenceOpened: "opened", FindingCertain: "finding", SequenceClosed: "closed", SequenceCorrected: "corrected", SequenceOverdue: "overdue"}

// String returns the word for the kind in JSON.
func (k LiveKind) String() string { return liveKindNames[k] }

// A LiveEvent is something to report while a folder fills.
type LiveEvent struct {
	Kind     LiveKind
	Sequence *Reviewed
	Findings []*Finding // those reported for the first time
	Reason   string     // why a sequence counts as closed, or is overdue
}

// NewLive begins a live audit.
func NewLive(opt *Options) *Live {
	return &Live{opt: opt, files: map[string]*liveFile{}, runs: map[string]*liveRun{}, result: &Result{}}
}

// Put takes a file in, or again after it changed. A nil file is one that is no
// picture.
func (l *Live) Put(path string, f *shoot.File, now time.Time) {
	if f == nil {
		l.Remove(path)
		return
	}
	l.changed = true
	l.files[path] = &liveFile{f, now}
	l.arrived = now
}

// Remove takes a file out.
func (l *Live) Remove(path string) {
	if l.files[path] != nil {
		l.changed = true
		delete(l.files, path)
	}
}

// SetAll takes in what was collected from the folder as a whole, in place of what was
// put in. Of several files of one path the last one holds.
func (l *Live) SetAll(c *shoot.Collection, now time.Time) {
	before := l.files
	l.files = make(map[string]*liveFile, len(c.Files))
	for _, f := range c.Files {
		if known := before[f.Path]; known != nil && known.file == f {
			l.files[f.Path] = known
			continue
		}
		l.files[f.Path] = &liveFile{f, now}
		l.arrived = now
	}
	l.other, l.unfinished, l.problems, l.changed = c.Other, c.Unfinished, c.Problems, true
}

// Lost takes in that the folder cannot be read: what was put in before stays.
func (l *Live) Lost(problem error) { l.problems, l.changed = []error{problem}, true }

// Result returns the outcome of the last inspection.
func (l *Live) Result() *Result { return l.result }

// Open returns the sequence that the latest file belongs to, if it was reported
// open and not closed; nil otherwise.
func (l *Live) Open() *Reviewed {
	var open *Reviewed
	var at time.Time
	for _, session := range l.result.Sessions {
		for _, q := range session.Sequences {
			if run := l.runOf(q); run == nil || !run.opened || run.closed {
				continue
			}
			if t := l.latest(q); open == nil || t.After(at) {
				open, at = q, t
			}
		}
	}
	return open
}

const (
	// A sequence that another follows is closed when no file of it came for
	// this long: files are copied in any order.
	quietAfterNext = 3 * time.Second
	// The last sequence is closed when it is quiet for quietCadences of its
	// own cadence, and for quietLast at least.
	quietLast     = 6 * time.Second
	quietSmall    = 90 * time.Second // of fewer than liveFrames
	quietCadences = 4
	// While files are still coming, one that seems to be missing may be among
	// them: such a finding waits for quietAll, but no longer than waitMost.
	quietAll = 2 * time.Second
	waitMost = 10 * time.Second
	// A time-lapse is overdue when two ticks passed without a frame.
	overdueTicks = 3
	// Fewer frames are not announced as a run.
	liveFrames = 5
)

// Look audits what is there and returns what is to be reported, in order. closeAll
// closes every open sequence; silent takes all that is there as reported, for a
// start on a folder that holds frames already. An error means that a rule
// failed, or that ctx ended: nothing is reported then, Result stays what it was, and
// the next call makes up for it.
func (l *Live) Look(ctx context.Context, now time.Time, closeAll, silent bool) ([]LiveEvent, error) {
	var err error
	if l.changed {
		err = l.judge(ctx)
	}
	if l.changed { // it was stopped
		return nil, err
	}
	var events []LiveEvent
	claimed := map[*liveRun]bool{}
	for _, session := range l.result.Sessions {
		for _, q := range session.Sequences {
			run := l.runOf(q)
			if run == nil || claimed[run] {
				run = &liveRun{findings: map[string]bool{}}
			}
			claimed[run] = true
			for _, f := range q.Frames {
				l.runs[f.Path()] = run
			}
			if silent {
				run.opened, run.closed = true, true
				l.news(run, q, false)
				run.close(q)
				continue
			}
			events = append(events, l.tell(run, q, now, closeAll)...)
		}
	}
	return events, err
}

// judge makes the result anew. It leaves the old one where it was stopped: of
// frames that were not inspected, less is known than before.
func (l *Live) judge(ctx context.Context) error {
	files := make([]*shoot.File, 0, len(l.files))
	for _, f := range l.files {
		files = append(files, f.file)
	}
	slices.SortFunc(files, func(a, b *shoot.File) int { return cmp.Compare(a.Path, b.Path) })
	result, err := Judge(ctx, &shoot.Collection{Files: files, Other: l.other, Unfinished: l.unfinished, Problems: l.problems}, l.opt)
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	l.result, l.changed = result, false
	return err
}

// runOf returns what was reported of the sequence that q was before.
func (l *Live) runOf(q *Reviewed) *liveRun {
	for _, f := range q.Frames {
		if run := l.runs[f.Path()]; run != nil {
			return run
		}
	}
	return nil
}

// tell returns what is to be reported of one sequence.
func (l *Live) tell(run *liveRun, q *Reviewed, now time.Time, closeAll bool) []LiveEvent {
	var events []LiveEvent
	if run.closed {
		state := stateOf(q)
		if state == run.state {
			return nil
		}
		at := slices.IndexFunc(q.Frames, func(f *shoot.Frame) bool { return f.Path() == run.last })
		if at < 0 || at == len(q.Frames)-1 {
			run.state, run.said = state, saidOf(q)
			return append(events, LiveEvent{Kind: SequenceCorrected, Sequence: q, Findings: l.news(run, q, false)})
		}
		// It was quiet for long, and goes on.
		run.closed, run.opened = false, run.size >= liveFrames
	}
	if !run.opened && len(q.Frames) >= liveFrames {
		run.opened = true
		events = append(events, LiveEvent{Kind: SequenceOpened, Sequence: q})
	}
	if certain := l.news(run, q, true); len(certain) > 0 {
		events = append(events, LiveEvent{Kind: FindingCertain, Sequence: q, Findings: certain})
	}
	if len(q.Frames) > run.frames {
		run.frames, run.overdue = len(q.Frames), false
	}
	why, closed := l.quiet(q, now)
	if closeAll && !closed {
		why, closed = "as you asked", true
	}
	if closed {
		run.closed, run.opened = true, true
		// What goes on as it was is closed once more; only what was reported in
		// vain is corrected.
		again := run.size >= liveFrames && saidOf(q) != run.said
		run.close(q)
		if again {
			return append(events, LiveEvent{Kind: SequenceCorrected, Sequence: q, Findings: l.news(run, q, false), Reason: why})
		}
		return append(events, LiveEvent{Kind: SequenceClosed, Sequence: q, Findings: l.news(run, q, false), Reason: why})
	}
	if since, late := l.late(q, now); late && !run.overdue {
		run.overdue = true
		c, _ := q.Cadence.Get()
		events = append(events, LiveEvent{
			Kind: SequenceOverdue, Sequence: q,
			Reason: fmt.Sprintf("no frame for %s, where one comes every %s", shoot.FormatDuration(since), shoot.FormatDuration(c)),
		})
	}
	return events
}

// quiet reports whether the sequence is complete as far as the quiet shows,
// and why.
func (l *Live) quiet(q *Reviewed, now time.Time) (string, bool) {
	since := now.Sub(l.latest(q))
	if worst(q.Findings) == VerdictReshoot && now.Sub(l.arrived) < quietAll && since < waitMost {
		return "", false
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
	limit := quietLast
	if small {
		limit = quietSmall // it may be the start of a slow run
	}
	if c, ok := q.Cadence.Get(); ok {
		limit = max(limit, time.Duration(quietCadences*float64(c)))
	}
	longest := 0.0
	for _, f := range q.Frames {
		longest = max(longest, f.ExposureSeconds())
	}
	limit += time.Duration(longest * float64(time.Second))
	if since >= limit {
		return fmt.Sprintf("after %s of quiet", shoot.FormatDuration(time.Duration(math.Floor(since.Seconds()))*time.Second)), true
	}
	return "", false
}

// late reports whether a time-lapse that runs has lost its beat by two ticks,
// and for how long nothing came.
func (l *Live) late(q *Reviewed, now time.Time) (time.Duration, bool) {
	c, ok := q.Cadence.Get()
	timed := q.Kind == shoot.TimeLapse || q.Kind == shoot.Series && q.Regular()
	if !ok || !timed || len(q.Frames) < liveFrames {
		return 0, false
	}
	if _, followed := l.next(q, false); followed {
		return 0, false
	}
	if planned := l.opt.Planned(q.Kind); planned > 0 && len(q.Frames) >= planned {
		return 0, false
	}
	since := now.Sub(l.latest(q))
	return since, since >= overdueTicks*c
}

// Since returns how long ago the latest file of the sequence came.
func (l *Live) Since(q *Reviewed, now time.Time) time.Duration { return now.Sub(l.latest(q)) }

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

// news returns the open findings not reported yet, and counts them as reported; of an
// open sequence only those of rules that are certain before its end.
func (l *Live) news(run *liveRun, q *Reviewed, certain bool) []*Finding {
	var out []*Finding
	for _, f := range q.Findings {
		if f.Accepted || f.Closed || certain && (f.Severity == Note || f.Provisional || !l.atOnce(f.Rule)) {
			continue
		}
		// The ranges in a message grow with the run: one rule is reported once
		// while the run is open.
		key := f.Rule
		if !run.findings[key] {
			run.findings[key] = true
			out = append(out, f)
		}
	}
	return out
}

func (l *Live) atOnce(id string) bool {
	for _, r := range l.opt.Rules {
		if r.ID == id {
			return r.AtOnce
		}
	}
	return false
}

// close takes the sequence as closed as it is.
func (r *liveRun) close(q *Reviewed) {
	r.state, r.said, r.last, r.size = stateOf(q), saidOf(q), q.Frames[len(q.Frames)-1].Path(), len(q.Frames)
}

// stateOf is what was reported of a closed sequence; where it changes, a
// correction is due.
func stateOf(q *Reviewed) string { return fmt.Sprint(len(q.Frames), " ", saidOf(q)) }

// saidOf is stateOf but for the number of frames, which grows where a sequence
// goes on.
func saidOf(q *Reviewed) string {
	s := fmt.Sprint(q.Verdict, " ", q.SupersededBy != nil, len(q.PatchedBy))
	for _, f := range q.Findings {
		if f.Severity > Note && !f.Accepted && !f.Closed {
			s += " " + f.Rule
		}
	}
	return s
}
