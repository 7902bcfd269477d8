package board

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"prestrike/audit"
	"prestrike/audit/shoot"
)

// A Set follows one set that is shot. It is for one goroutine; the states that it returns
// may be handed on.
type Set struct {
	live *audit.Live

	phase Phase
	since time.Time
	// last is the sequence of the last report, again those to be shot again that were
	// reported and not settled, the latest last, each by its first frame.
	last   string
	again  []string
	closed []Closed
	gone   []string
	// silenced is true once the photographer took note of what again and gone hold.
	silenced bool
	room     int64 // free bytes of the folder's disk; negative where not known

	result *audit.Result // of which the following was computed
	byKey  map[string]*audit.Reviewed
	leaves *time.Time

	sounds sounds
}

// New begins to follow the set whose files a live audit judges.
func New(live *audit.Live) *Set {
	return &Set{live: live, room: -1, byKey: map[string]*audit.Reviewed{}}
}

// Start takes in what was there at the start. What must be shot again among it is shown
// and sounds once, and does not repeat: it may be known for long. A run that may still go
// on is open.
func (s *Set) Start(now time.Time) {
	s.refresh(now)
	sessions := s.result.Sessions
	if len(sessions) == 0 {
		return
	}
	for _, q := range sessions[len(sessions)-1].Sequences {
		if mustAgain(q) && q != s.live.Open() {
			s.again = append(s.again, keyOf(q))
			s.last = keyOf(q)
			s.byKey[s.last] = q
		}
	}
	if len(s.again) > 0 {
		s.sounds.next(SoundAgain)
		s.silenced = true
	}
}

// Report takes in an event of the live audit.
func (s *Set) Report(e audit.LiveEvent, now time.Time) {
	q := e.Sequence
	key := keyOf(q)
	s.byKey[key] = q
	if q.SupersededBy != nil {
		s.settle(q, now) // by another, which has its own events
		return
	}
	switch e.Kind {
	case audit.SequenceOverdue, audit.SequenceStalled:
		s.last = key
		s.sounds.next(SoundStalled)
		return
	case audit.FindingCertain:
		s.last = key
		s.sounds.next(SoundInspect)
	case audit.SequenceClosed, audit.SequenceCorrected:
		if q.Verdict == audit.VerdictGood && len(q.Frames) < fewest {
			return
		}
		s.settle(q, now)
		s.last = key
		switch {
		case e.Kind == audit.SequenceClosed && q.Verdict == audit.VerdictGood:
			s.sounds.next(SoundGood)
		case q.Verdict == audit.VerdictCheck && severest(e.Findings) >= audit.Check:
			s.sounds.next(SoundDoubt)
		}
	default:
		return
	}
	if mustAgain(q) && severest(e.Findings) == audit.Reshoot {
		s.again = append(slices.DeleteFunc(s.again, func(k string) bool { return k == key }), key)
		s.silenced = false
		s.sounds.next(SoundAgain)
	}
}

// fewest is of how many frames a good sequence is worth a report.
const fewest = 3

// settle notes a sequence that closed, or what became of one.
func (s *Set) settle(q *audit.Reviewed, now time.Time) {
	key := keyOf(q)
	c := Closed{Sequence: s.sequence(q, false), First: q.Frames[0].Label(), Last: q.Frames[len(q.Frames)-1].Label(), At: now}
	if q.SupersededBy != nil {
		c.Retaken = q.SupersededBy.ID
	}
	if i := slices.IndexFunc(s.closed, func(c Closed) bool { return c.Key == key }); i >= 0 {
		c.At = s.closed[i].At
		s.closed[i] = c
		return
	}
	s.closed = slices.Insert(s.closed, 0, c)
	s.closed = s.closed[:min(len(s.closed), MostClosed)]
}

// Lost takes in that a folder cannot be read for now, Back that it can be read again.
func (s *Set) Lost(folder string, _ time.Time) {
	if !slices.Contains(s.gone, folder) {
		s.gone = append(s.gone, folder)
		s.silenced = false
		s.sounds.next(SoundLost)
	}
}

// Back takes in that a folder can be read again.
func (s *Set) Back(folder string, _ time.Time) {
	if i := slices.Index(s.gone, folder); i >= 0 {
		s.gone = slices.Delete(s.gone, i, i+1)
		s.sounds.next(SoundBack)
	}
}

// Free takes in how many bytes are free on the folder's disk; negative where that is not
// known.
func (s *Set) Free(bytes int64) { s.room = bytes }

// Silence takes in that the photographer took note of what must be shot again, or of the
// loss. It reports whether there was any that had not been silenced.
func (s *Set) Silence() bool {
	s.unsettled()
	waits := !s.silenced && (len(s.again) > 0 || len(s.gone) > 0)
	s.silenced = true
	return waits
}

// State returns what is to be shown at a moment.
func (s *Set) State(now time.Time) State {
	s.refresh(now)
	s.unsettled()
	open := s.live.Open()
	phase, about := s.about(open)
	if phase != s.phase || s.since.IsZero() {
		s.phase, s.since = phase, now
	}
	r := s.result
	state := State{
		Phase: phase, Since: s.since, At: now, Silenced: s.silenced,
		Again: []string{}, Closed: append([]Closed{}, s.closed...), Gone: append([]string{}, s.gone...),
		Views: audit.ViewsSentence(r.Views), Next: next(r.Views), Leaves: s.leaves, Time: audit.TimeSentence(r),
	}
	for _, key := range s.again {
		state.Again = append(state.Again, s.byKey[key].ID)
	}
	state.Findings = findings(r)
	if about != nil {
		q := s.sequence(about, about == open)
		state.Sequence = &q
		state.Room = s.roomFor(about)
	}
	if f, at := s.live.Newest(); f != nil {
		state.Last = &Frame{Path: f.Path, Came: at}
	}
	state.Do = s.do(phase, about, &state)
	return state
}

// about decides what the set is doing, and which sequence that is about.
func (s *Set) about(open *audit.Reviewed) (Phase, *audit.Reviewed) {
	last := s.byKey[s.last]
	for last != nil && last.SupersededBy != nil { // the retake counts, which may be faulty where it was declared
		last = last.SupersededBy
	}
	if len(s.gone) > 0 {
		if open != nil {
			last = open
		}
		return Lost, last
	}
	if n := len(s.again); n > 0 {
		// Another run may be the retake: whether it is shows when it closes.
		worst := s.byKey[s.again[n-1]]
		if open == worst || open == nil && (!s.silenced || worst == last) {
			return Again, worst
		}
	}
	switch {
	case open != nil && s.live.Late(open):
		return Stalled, open
	case open != nil && open == last && certain(s.live, open):
		return Inspect, open
	case open != nil:
		return Shooting, open
	case last == nil:
		return Idle, nil
	case last.Verdict == audit.VerdictGood:
		return Good, last
	}
	return Inspect, last
}

// certain reports whether a fault of an open sequence was reported that is certain.
func certain(live *audit.Live, q *audit.Reviewed) bool {
	return slices.ContainsFunc(q.Findings, func(f *audit.Finding) bool { return counts(f) && live.Reported(q, f) })
}

// do returns the one thing to do now.
func (s *Set) do(phase Phase, about *audit.Reviewed, state *State) string {
	switch phase {
	case Lost:
		return s.gone[len(s.gone)-1] + " cannot be read: check the camera, the cable and the disk"
	case Stalled:
		return "check the camera, its battery and its card; press Enter if the sequence is over"
	case Again, Inspect:
		if f := worstOf(about); f != nil && f.Action != "" {
			return f.Action
		}
		return "inspect the sequence before you go on"
	case Good:
		if n := len(state.Again); n > 0 {
			return "shoot " + state.Again[n-1] + " again"
		}
		if state.Next != "" {
			return "next is " + state.Next
		}
		return ""
	}
	return ""
}

// refresh makes what is derived from the result anew where that changed.
func (s *Set) refresh(now time.Time) {
	r := s.live.Result()
	if r == s.result {
		return
	}
	s.result, s.leaves = r, nil
	if left, known := r.Left.Get(); known {
		at := now.Add(left)
		s.leaves = &at
	}
	wanted := map[string]bool{s.last: true}
	for _, key := range s.again {
		wanted[key] = true
	}
	for _, c := range s.closed {
		wanted[c.Key] = true
	}
	s.byKey = map[string]*audit.Reviewed{}
	heads := map[string]*audit.Reviewed{}
	for _, session := range r.Sessions {
		for _, q := range session.Sequences {
			heads[keyOf(q)] = q
		}
	}
	var missing []string
	for key := range wanted {
		if q := heads[key]; q != nil {
			s.byKey[key] = q
		} else if key != "" {
			missing = append(missing, key)
		}
	}
	if len(missing) > 0 {
		s.search(r, missing)
	}
	for i := range s.closed {
		if q := s.byKey[s.closed[i].Key]; q != nil {
			s.settle(q, s.closed[i].At)
		}
	}
}

// search finds the sequences whose first frame is no longer the first.
func (s *Set) search(r *audit.Result, keys []string) {
	for _, session := range r.Sessions {
		for _, q := range session.Sequences {
			for _, f := range q.Frames {
				if slices.Contains(keys, f.Path()) {
					s.byKey[f.Path()] = q
				}
			}
		}
	}
}

// unsettled drops what no longer must be shot again.
func (s *Set) unsettled() {
	s.again = slices.DeleteFunc(s.again, func(key string) bool {
		q := s.byKey[key]
		return q == nil || !mustAgain(q) || q.PerhapsRetaken != nil
	})
}

func keyOf(q *audit.Reviewed) string { return q.Frames[0].Path() }

// counts reports whether a finding is still to be settled.
func counts(f *audit.Finding) bool { return f.Severity > audit.Note && !f.Accepted && !f.Closed }

// mustAgain reports whether a sequence must be shot again.
func mustAgain(q *audit.Reviewed) bool {
	return q.SupersededBy == nil && q.Patches == nil && q.Verdict == audit.VerdictReshoot
}

// worstOf returns the severest finding that is still to be settled, or nil.
func worstOf(q *audit.Reviewed) *audit.Finding {
	var worst *audit.Finding
	for _, f := range q.Findings {
		if counts(f) && (worst == nil || f.Severity > worst.Severity) {
			worst = f
		}
	}
	return worst
}

func severest(findings []*audit.Finding) audit.Severity {
	var worst audit.Severity
	for _, f := range findings {
		if counts(f) {
			worst = max(worst, f.Severity)
		}
	}
	return worst
}

// next returns the view that is to be shot next: the first that is missing or must be
// shot again.
func next(views []*audit.ShotView) string {
	for _, v := range views {
		if v.Missing() || v.Sequence != nil && !v.Shot() {
			return v.Name
		}
	}
	return ""
}

// findings returns those that are still to be settled, of the latest sequence first.
func findings(r *audit.Result) []Finding {
	list := []Finding{}
	for _, session := range slices.Backward(r.Sessions) {
		for _, f := range session.Findings {
			if counts(f) && len(list) < MostFindings {
				list = append(list, finding("", "", f))
			}
		}
		for _, q := range slices.Backward(session.Sequences) {
			if q.SupersededBy != nil || q.Patches != nil {
				continue
			}
			for _, f := range q.Findings {
				if counts(f) && len(list) < MostFindings {
					list = append(list, finding(q.ID, keyOf(q), f))
				}
			}
		}
	}
	return list
}

func finding(id, key string, f *audit.Finding) Finding {
	shown := f.Closest
	if len(shown) == 0 {
		shown = f.Frames
	}
	const most = 8
	out := Finding{
		Sequence: id, Key: key, Rule: f.Rule, Frames: []string{}, Title: cmp.Or(f.Title, f.Rule), Severity: f.Severity.String(), Message: f.Message, Action: f.Action,
	}
	for _, frame := range shown[:min(len(shown), most)] {
		out.Frames = append(out.Frames, frame.Path())
	}
	return out
}

// sequence returns what is shown of a sequence.
func (s *Set) sequence(q *audit.Reviewed, open bool) Sequence {
	out := Sequence{
		Key: keyOf(q), ID: q.ID, Kind: q.Kind.String(), View: q.View, Verdict: q.Verdict.String(),
		Frames: len(q.Frames), Expected: q.Expected.Frames, Open: open,
	}
	if c, ok := q.Cadence.Get(); ok && q.Kind != shoot.Bracket {
		seconds := c.Seconds()
		out.Cadence = &seconds
	}
	return out
}

// roomFor returns how many more sequences like this one the folder's disk holds: by the
// bytes of its frames, and by the number that it should have or, where nothing shows that,
// has when it is closed.
func (s *Set) roomFor(q *audit.Reviewed) *float64 {
	if s.room < 0 {
		return nil
	}
	bytes, n := int64(0), 0
	for _, f := range q.Frames {
		for _, file := range f.Files {
			bytes += file.Size
		}
		n++
	}
	whole := float64(bytes)
	switch {
	case q.Expected.Frames > 0:
		whole *= float64(q.Expected.Frames) / float64(n)
	case q == s.live.Open():
		frames := 0
		for _, c := range s.closed {
			if c.Kind == q.Kind.String() {
				frames = max(frames, c.Frames)
			}
		}
		if frames == 0 {
			return nil
		}
		whole *= float64(max(frames, n)) / float64(n)
	}
	if whole <= 0 {
		return nil
	}
	room := float64(s.room) / whole
	return &room
}

// Headline writes the phase for people: "shooting 27 of 50", "shoot 1.4 again",
// "stalled at 37 of 50", "good: 1.2; next is back". It may hold text from files.
func (s *State) Headline() string {
	q := s.Sequence
	switch s.Phase {
	case Idle:
		return "waiting for frames"
	case Lost:
		return "no folder"
	case Shooting:
		return "shooting " + q.Count()
	case Stalled:
		return "stalled at " + q.Count()
	case Again:
		return "shoot " + q.ID + " again"
	case Inspect:
		return "inspect " + q.ID
	}
	if s.Do != "" {
		return "good: " + q.ID + "; " + s.Do
	}
	return "good: " + q.ID
}

// scarce is from how few sequences on the disk's room is a warning.
const scarce = 2

// RoomSentence writes how many more sequences the disk of the folder holds where these
// are fewer than two; empty else.
func (s *State) RoomSentence() string {
	switch {
	case s.Room == nil || *s.Room >= scarce:
		return ""
	case *s.Room < 1:
		return "the disk of the folder has no room for one more sequence like " + s.Sequence.ID
	}
	return "the disk of the folder has room for one more sequence like " + s.Sequence.ID
}

// Count writes how many frames there are, and of how many where that is known: "27 of 50".
func (q *Sequence) Count() string {
	if q.Expected > 0 {
		return fmt.Sprintf("%d of %d", q.Frames, q.Expected)
	}
	return fmt.Sprint(q.Frames)
}
