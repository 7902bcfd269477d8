package audit

import (
	"context"
	"fmt"
	"maps"
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
	arrived time.Time // when the latest file came
	// gone are the folders that cannot be read for now, back is when one could be read
	// again for the last time.
	gone map[string]bool
	back time.Time
	// newest is the file that was made last, as far as files record it.
	newest *liveFile

	// touched are the paths of files that came, changed or went since the last
	// inspection: true where there was one before. failed are those from which no picture
	// can be read.
	touched, failed map[string]bool
	past            *past   // what need not be judged again; nil where all must be
	memory          *memory // of what pictures showed; nil where nobody inspects them

	result  *Result
	before  int                 // sessions of the result that stayed as they were
	fresh   bool                // nothing of the result was reported yet
	entries []liveEntry         // the sequences of the result, in its order
	pending []liveEntry         // those that are not closed
	runs    map[string]*liveRun // by the path of each frame's first file
}

// A liveEntry is a sequence and what was reported of it.
type liveEntry struct {
	q   *Reviewed
	run *liveRun
}

type liveFile struct {
	file *shoot.File
	at   time.Time // when it was put in
}

// liveRun is what was reported of one sequence.
type liveRun struct {
	opened, closed bool
	stalled        bool                // nothing came for longer than its cadence explains, and it is not complete
	counted        bool                // it was closed by its number of frames
	findings       map[string]Severity // the severest reported of each rule
	state          string              // verdict, frames and open findings when it was closed
	said           string              // the same without the frames
	open           []*Finding          // those of check and reshoot that were open then
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
	SequenceStalled                       // a sequence stops short of the frames that it should have
)

var liveKindNames = [...]string{SequenceOpened: "opened", FindingCertain: "finding", SequenceClosed: "closed", SequenceCorrected: "corrected", SequenceOverdue: "overdue", SequenceStalled: "stalled"}

// String returns the word for the kind in JSON.
func (k LiveKind) String() string { return liveKindNames[k] }

// A LiveEvent is something to report while a folder fills.
type LiveEvent struct {
	Kind     LiveKind
	Sequence *Reviewed
	Findings []*Finding // those reported for the first time
	Reason   string     // why a sequence counts as closed, or is overdue or stalled
	// Settled are those of check and reshoot that were reported of a sequence that is
	// corrected, and are no longer open.
	Settled []*Finding
}

// NewLive begins a live audit.
func NewLive(opt *Options) *Live {
	return &Live{
		opt: opt, files: map[string]*liveFile{}, runs: map[string]*liveRun{}, result: &Result{},
		touched: map[string]bool{}, failed: map[string]bool{},
	}
}

// Put takes a file that came at a time in, or again after it changed. A nil file is one
// that is no picture.
func (l *Live) Put(path string, f *shoot.File, now time.Time) {
	if f == nil {
		l.Remove(path)
		return
	}
	l.changed = true
	l.put(path, f, now)
}

func (l *Live) put(path string, f *shoot.File, now time.Time) {
	file := &liveFile{f, now}
	l.touch(path)
	l.files[path] = file
	if f.Err != nil {
		l.failed[path] = true
	}
	if now.After(l.arrived) {
		l.arrived = now
	}
	if l.newest == nil || l.newest.file.Path == path {
		l.newest = file
		return
	}
	made, ok := f.Meta.Captured.Get()
	before, known := l.newest.file.Meta.Captured.Get()
	if !ok || !known || !made.Wall.Before(before.Wall) {
		l.newest = file
	}
}

// touch notes that a file comes, changes or goes.
func (l *Live) touch(path string) {
	l.touched[path] = l.touched[path] || l.files[path] != nil
	delete(l.failed, path)
}

// Newest returns the file that was made last, as far as files record it, and when it was
// put in; nil before the first.
func (l *Live) Newest() (*shoot.File, time.Time) {
	if l.newest == nil {
		return nil, time.Time{}
	}
	return l.newest.file, l.newest.at
}

// Remove takes a file out.
func (l *Live) Remove(path string) {
	if l.files[path] != nil {
		l.changed = true
		l.touch(path)
		delete(l.files, path)
		if l.newest != nil && l.newest.file.Path == path {
			l.newest = nil
		}
	}
}

// SetAll takes in what was collected from the folder as a whole, in place of what was
// put in. Of several files of one path the last one holds.
func (l *Live) SetAll(c *shoot.Collection, now time.Time) {
	before := l.files
	l.past, l.failed = nil, map[string]bool{} // files may have gone
	l.files = make(map[string]*liveFile, len(c.Files))
	for _, f := range c.Files {
		if known := before[f.Path]; known != nil && known.file == f {
			l.files[f.Path] = known
			if f.Err != nil {
				l.failed[f.Path] = true
			}
			continue
		}
		l.put(f.Path, f, now)
	}
	l.other, l.unfinished, l.problems, l.changed = c.Other, c.Unfinished, c.Problems, true
}

// Lost takes in that the folder cannot be read: what was put in before stays.
func (l *Live) Lost(problem error) { l.problems, l.changed = []error{problem}, true }

// Gone takes in that a folder, by its path as those of the files, cannot be read for now;
// an empty path is the audited folder itself. What comes of a sequence there is not known
// until it is back: it is neither closed nor late.
func (l *Live) Gone(folder string) {
	if l.gone == nil {
		l.gone = map[string]bool{}
	}
	l.gone[folder] = true
}

// Back takes in that a folder can be read again: what came meanwhile is still to be put in.
func (l *Live) Back(folder string, now time.Time) {
	delete(l.gone, folder)
	l.back = now
}

// Reconsider has all that is there judged anew by other options at the next look. What was
// seen in pictures is kept.
func (l *Live) Reconsider(opt *Options) { l.opt, l.past, l.changed = opt, nil, true }

// Result returns the outcome of the last inspection.
func (l *Live) Result() *Result { return l.result }

// Waits reports whether the next inspection may have something to report, though no file
// comes: a sequence is open, or not everything was judged.
func (l *Live) Waits() bool { return l.changed || len(l.pending) > 0 }

// Open returns the sequence that the latest file belongs to, if it was reported
// open and not closed; nil otherwise.
func (l *Live) Open() *Reviewed {
	var open *Reviewed
	var at time.Time
	for _, e := range l.pending {
		if !e.run.opened || e.run.closed {
			continue
		}
		if t := l.latest(e.q); open == nil || t.After(at) {
			open, at = e.q, t
		}
	}
	return open
}

// Look audits what is there and returns what is to be reported, in order. closeAll
// closes every open sequence; silent takes all that is there as reported, for a
// start on a folder that holds frames already, but for a run that may still go on. An error means that a rule
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
	if len(l.opt.Views) > 0 {
		l.result.Left = timeLeft(l.result.Sessions, l.opt) // a sequence closes long after its last file
	}
	var events []LiveEvent
	for _, e := range l.toTell() {
		if silent {
			e.run.opened = true
			if l.goesOn(e.q, now) {
				l.news(e.run, e.q, true)
				continue
			}
			e.run.closed = true
			l.news(e.run, e.q, false)
			e.run.close(e.q)
			continue
		}
		events = append(events, l.tell(e.run, e.q, now, closeAll)...)
	}
	l.pending = slices.DeleteFunc(l.pending, func(e liveEntry) bool { return e.run.closed })
	return events, err
}

// toTell returns the sequences of which there may be something to report: those that are
// open and, where the result is new, those that were judged anew.
func (l *Live) toTell() []liveEntry {
	if !l.fresh {
		return l.pending
	}
	l.fresh = false
	old := 0 // sequences of sessions that stay as they were
	for _, session := range l.result.Sessions[:l.before] {
		old += len(session.Sequences)
	}
	l.pending = slices.DeleteFunc(slices.Clone(l.entries[:old]), func(e liveEntry) bool { return e.run.closed })
	l.entries = l.entries[:old]
	claimed := map[*liveRun]bool{}
	for _, session := range l.result.Sessions[l.before:] {
		for _, q := range session.Sequences {
			run := l.runOf(q)
			if run == nil || claimed[run] {
				run = &liveRun{findings: map[string]Severity{}}
			}
			claimed[run] = true
			for _, f := range q.Frames {
				l.runs[f.Path()] = run
			}
			l.entries = append(l.entries, liveEntry{q, run})
		}
	}
	l.pending = append(l.pending, l.entries[old:]...)
	if len(l.runs) > 2*len(l.files)+mostGone {
		maps.DeleteFunc(l.runs, func(path string, _ *liveRun) bool { return l.files[path] == nil })
	}
	return slices.Clone(l.pending)
}

// mostGone is of how many frames that went it stays known what was reported: they may have
// been moved, and come back.
const mostGone = 1000

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
			settled := run.settled(q)
			run.state, run.said, run.open = state, saidOf(q), openOf(q)
			return append(events, LiveEvent{Kind: SequenceCorrected, Sequence: q, Findings: l.news(run, q, false), Settled: settled})
		}
		// It was quiet for long, and goes on.
		run.closed, run.opened, run.stalled = false, run.size >= liveFrames, false
	}
	if !run.opened && len(q.Frames) >= liveFrames {
		run.opened = true
		events = append(events, LiveEvent{Kind: SequenceOpened, Sequence: q})
	}
	if certain := l.news(run, q, true); len(certain) > 0 {
		events = append(events, LiveEvent{Kind: FindingCertain, Sequence: q, Findings: certain})
	}
	if len(q.Frames) > run.frames {
		run.frames, run.stalled = len(q.Frames), false
	}
	why, closed := l.closes(run, q, now)
	if closeAll && !closed {
		why, closed = "as you asked", true
	}
	if closed {
		run.closed, run.opened = true, true
		// What goes on as it was is closed once more; only what was reported in
		// vain is corrected.
		again := run.size >= liveFrames && saidOf(q) != run.said
		settled := run.settled(q)
		run.close(q)
		if again {
			return append(events, LiveEvent{Kind: SequenceCorrected, Sequence: q, Findings: l.news(run, q, false), Reason: why, Settled: settled})
		}
		return append(events, LiveEvent{Kind: SequenceClosed, Sequence: q, Findings: l.news(run, q, false), Reason: why})
	}
	if kind, why := l.late(q, now); kind != 0 && !run.stalled {
		run.stalled = true
		events = append(events, LiveEvent{Kind: kind, Sequence: q, Reason: why})
	}
	return events
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
		// while the run is open, and again only where it has become severer.
		if before, known := run.findings[f.Rule]; !known || f.Severity > before {
			run.findings[f.Rule] = f.Severity
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
	r.state, r.said, r.open, r.last, r.size = stateOf(q), saidOf(q), openOf(q), q.Frames[len(q.Frames)-1].Path(), len(q.Frames)
}

// settled returns those that were open when the sequence was closed, and whose rules find
// nothing in it any more.
func (r *liveRun) settled(q *Reviewed) (list []*Finding) {
	now := openOf(q)
	for _, f := range r.open {
		if !slices.ContainsFunc(now, func(o *Finding) bool { return o.Rule == f.Rule }) {
			list = append(list, f)
		}
	}
	return list
}

// openOf returns the findings of check and reshoot that are neither accepted nor closed.
func openOf(q *Reviewed) (list []*Finding) {
	for _, f := range q.Findings {
		if f.Severity > Note && !f.Accepted && !f.Closed {
			list = append(list, f)
		}
	}
	return list
}

// stateOf is what was reported of a closed sequence; where it changes, a
// correction is due.
func stateOf(q *Reviewed) string { return fmt.Sprint(len(q.Frames), " ", saidOf(q)) }

// saidOf is stateOf but for the number of frames, which grows where a sequence
// goes on.
func saidOf(q *Reviewed) string {
	s := fmt.Sprint(q.Verdict, " ", q.SupersededBy != nil, len(q.PatchedBy))
	for _, f := range openOf(q) {
		s += " " + f.Rule
	}
	return s
}
