package report

import (
	"errors"
	"io/fs"
	"strings"
	"time"

	"prestrike/audit"
	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/exifread"
)

// A model is the outcome of an audit as every form writes it: facts and sentences,
// no cells and no lines. Its strings may hold hostile text still, which each form
// makes harmless for the place it goes to.
type model struct {
	verdict  audit.Verdict
	head     string   // the verdict with what limits it, and what else to inspect
	closing  string   // what to do now, one sentence or two
	unused   []string // acceptances that accept nothing
	views    []viewModel
	time     timeModel
	sessions []sessionModel
	files    filesModel
}

// A sessionModel is one session.
type sessionModel struct {
	id          string
	first, last *shoot.Frame // by time; nil where no frame records its time
	bodies      []*shoot.Body
	frames      int
	verdict     audit.Verdict
	support     string // what the rules took to hold the camera, a sentence
	merged      string // which pictures the camera merged, a sentence; empty where none
	sequences   []sequenceModel
	findings    []*audit.Finding // those of no single sequence
	notJudged   []audit.NotJudged
	// instructions are all findings of the session and its sequences, joined
	// where they ask for the same, the most urgent last; reasons are why rules
	// could not judge, those of the most sequences first.
	instructions []instruction
	reasons      []reason
}

// A sequenceModel is one sequence.
type sequenceModel struct {
	reviewed     *audit.Reviewed // what it was made of
	id           string
	kind         shoot.Kind
	body         int // place in the session's bodies
	first, last  *shoot.Frame
	frames       []*shoot.Frame
	exposures    int                           // at each focus position, 0 where there is one
	merged       []*shoot.Frame                // in camera, from the frames
	cadence      exifread.Value[time.Duration] // not known where the pace is none of the run's own
	settings     shoot.Settings
	support      shoot.Support
	supportBy    string // what showed it
	verdict      audit.Verdict
	compared     []audit.Comparison
	supersededBy string // the ID of the retake; empty where there is none
	view         string // its name in the shot list; empty where there is none
	// with are the IDs of the sequences that this one is one with, as they close its
	// holes, or it theirs; patch tells that it does.
	with      []string
	patch     bool
	findings  []*audit.Finding
	notJudged []audit.NotJudged
	seen      *pixels.Seen             // what its pictures show; nil where they were not inspected
	working   map[*shoot.Frame]float64 // f-numbers that the sensor sees, where they are known
}

// A viewModel is one view of the shot list.
type viewModel struct {
	name     string
	sequence string // the ID of the sequence that shows it; empty where none does
	state    string // a word of viewStates
	optional bool
}

// A timeModel is how long what is open of the shot list takes, and how much time is left.
type timeModel struct {
	sentence string // empty where no courier comes, or nothing is open
	left     exifread.Value[time.Duration]
	needed   audit.TimeNeeded
	fit      exifread.Value[audit.Fit]
}

// A filesModel counts what became of every file.
type filesModel struct {
	read, frames, merged, copies, earlier, other int
	since                                        *string // from when on was judged, nil where everything was
	unreadable                                   []unreadableFile
	unread                                       []*shoot.Problem
	unfinished                                   []string
	sentence                                     string
}

// An unreadableFile is a picture file from which no picture can be read.
type unreadableFile struct{ path, reason string }

func newModel(r *audit.Result) *model {
	m := &model{verdict: r.Verdict, unused: unused(r), files: newFiles(r)}
	m.head, m.closing = closing(r)
	m.time = newTime(r)
	for _, s := range r.Sessions {
		m.sessions = append(m.sessions, newSession(s, r.Support))
	}
	m.addViews(r)
	return m
}

func newSession(s *audit.Session, declared shoot.Support) sessionModel {
	m := sessionModel{
		id: s.ID, bodies: s.Bodies, frames: s.Frames(), verdict: s.Verdict, support: support(s, declared), merged: merged(s),
		findings: s.Findings, notJudged: s.NotJudged, instructions: instructions(s), reasons: notJudged(s),
	}
	m.first, m.last = timedEnds(s.Sequences)
	place := map[*shoot.Body]int{}
	for i, b := range s.Bodies {
		place[b] = i
	}
	for _, q := range s.Sequences {
		if q.Patches != nil {
			continue // stands with the one it closes
		}
		for _, part := range append([]*audit.Reviewed{q}, q.PatchedBy...) {
			of := newSequence(part)
			of.body = place[q.Body]
			m.sequences = append(m.sequences, of)
		}
	}
	return m
}

func newSequence(q *audit.Reviewed) sequenceModel {
	m := sequenceModel{
		reviewed: q,
		id:       q.ID, kind: q.Kind, frames: q.Frames, merged: q.Merged, exposures: q.PositionExposures, cadence: cadence(q), settings: q.Settings, support: q.Support,
		supportBy: q.SupportBy, compared: q.Compared,
		verdict: q.Verdict, findings: q.Findings, notJudged: q.NotJudged, working: q.WorkingFNumbers,
	}
	if seen, ok := q.Pictures.(*pixels.Seen); ok && !seen.Few && len(seen.Judgement.PerFrame) == len(q.Frames) {
		m.seen = seen
	}
	m.first, m.last = timedEnds([]*audit.Reviewed{q})
	m.view = q.View
	if q.SupersededBy != nil {
		m.supersededBy = q.SupersededBy.ID
	}
	for _, p := range q.PatchedBy {
		m.with = append(m.with, p.ID)
	}
	if q.Patches != nil {
		m.with, m.patch = []string{q.Patches.ID}, true
	}
	return m
}

// verdictWord is the sequence's verdict, with the sequences that it is one with, or that
// it was retaken.
func (q *sequenceModel) verdictWord() string {
	if q.supersededBy == "" && len(q.with) > 0 {
		return q.verdictAlone() + " with " + words.List(q.with, len(q.with))
	}
	return q.verdictAlone()
}

// verdictAlone is verdictWord without the sequences that it is one with.
func (q *sequenceModel) verdictAlone() string {
	if q.supersededBy != "" {
		return wordRetaken
	}
	return q.verdict.String()
}

// measured returns what was measured of the picture of a frame; nil where it was not.
func (q *sequenceModel) measured(at int) *pixels.FrameSummary {
	if q.seen == nil || !q.seen.Judgement.PerFrame[at].Measured {
		return nil
	}
	return &q.seen.Judgement.PerFrame[at]
}

// cadence returns the time from one frame's start to the next, where it is one.
// In a bracket it is not: the exposure times differ, and the pace between them
// would be taken for it.
func cadence(q *audit.Reviewed) exifread.Value[time.Duration] {
	if q.Kind == shoot.Bracket {
		return exifread.Value[time.Duration]{}
	}
	return q.Cadence
}

// timedEnds returns the earliest and the latest timed frame; nil where no
// frame records its time.
func timedEnds(sequences []*audit.Reviewed) (first, last *shoot.Frame) {
	for _, q := range sequences {
		for _, f := range q.Frames {
			if !f.Timed() {
				continue
			}
			if first == nil || f.Time.Before(first.Time) {
				first = f
			}
			if last == nil || !f.Time.Before(last.Time) {
				last = f
			}
		}
	}
	return first, last
}

func newFiles(r *audit.Result) filesModel {
	c := &r.Files
	m := filesModel{read: c.Read, frames: c.Frames, merged: c.Merged, copies: c.Copies, other: c.Other, unread: c.Unread, unfinished: c.Unfinished, earlier: c.Earlier, sentence: filesSentence(c, r.Since)}
	if !r.Since.IsZero() {
		m.since = new(FormatTime(r.Since, time.Second, nil))
	}
	for _, f := range c.Unreadable {
		m.unreadable = append(m.unreadable, unreadableFile{f.Path, unreadable(f)})
	}
	return m
}

// unreadable returns why a file cannot be read, without the path that it was opened
// by: a report must not depend on where the folder lies.
func unreadable(f *shoot.File) string {
	if f.Err == nil {
		return ""
	}
	if e, ok := errors.AsType[*fs.PathError](f.Err); ok {
		return e.Err.Error()
	}
	return strings.TrimPrefix(f.Err.Error(), "read "+f.Abs+": ")
}
