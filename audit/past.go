package audit

import (
	"cmp"
	"context"
	"errors"
	"maps"
	"slices"
	"time"

	"prestrike/audit/shoot"
)

// A past is what an audit of a folder that fills need not judge again: all sessions but
// the last one, to which what comes now cannot belong.
type past struct {
	sessions []*Session
	end      time.Time // of their last frame
	files    int       // they hold
	models   models    // of their bodies
	// present are the paths of the files of the last session.
	present map[string]bool
}

// newPast returns what of a result is past; nil where what comes may change all of it:
// clocks of several bodies and bodies without serial numbers are known by all their frames,
// frames without a time are placed among all sessions, so are the views of a shot list, and
// a declared retake may be in another session.
// Old is what was past before, of sessions that the result still has.
func newPast(r *Result, files int, opt *Options, old *past) *past {
	n := len(r.Sessions)
	if n < 2 || opt.Since != nil || len(opt.Views) > 0 || len(opt.Retaken) > 0 {
		return nil
	}
	last := r.Sessions[n-1]
	p := &past{sessions: r.Sessions[: n-1 : n-1], models: models{}, present: map[string]bool{}}
	from := 0
	if old != nil && len(old.sessions) <= len(p.sessions) {
		from, p.end, p.models = len(old.sessions), old.end, old.models
	}
	known := true
	for _, session := range p.sessions[from:] {
		known = p.models.add(session) && known
		if end := session.End(); end.After(p.end) {
			p.end = end
		}
	}
	if !known || !p.models.with(last) || last.Start().IsZero() {
		return nil
	}
	for _, f := range last.files() {
		p.present[f.Path] = true
	}
	p.files = files - len(p.present)
	return p
}

// A model is a maker's camera.
type model struct{ maker, name string }

// models are those whose frames were met: true where these record a serial number.
type models map[model]bool

// add takes in the frames of a session, and reports whether the body of each is known by
// that session alone: no clock was aligned with another, and of no model some frames
// record a serial number and others none.
func (m models) add(s *Session) bool {
	for _, b := range s.Bodies {
		if b.Index > 0 || b.Clock != (shoot.ClockOffset{}) {
			return false
		}
	}
	for _, q := range s.Sequences {
		for _, frames := range [][]*shoot.Frame{q.Frames, q.Merged} {
			for _, f := range frames {
				meta := f.Meta()
				of := model{meta.Make.Or(""), meta.Model.Or("")}
				has, known := m[of]
				if serial := meta.BodySerial.Or("") != ""; known && has != serial {
					return false
				} else if !known {
					m[of] = serial
				}
			}
		}
	}
	return true
}

// with is add, which takes in nothing.
func (m models) with(sessions ...*Session) bool {
	all := maps.Clone(m)
	return !slices.ContainsFunc(sessions, func(s *Session) bool { return !all.add(s) })
}

// files returns the files of all frames of the session, of their copies, and of what the
// camera merged.
func (s *Session) files() []*shoot.File {
	var files []*shoot.File
	add := func(frames []*shoot.Frame) {
		for _, f := range frames {
			files = append(files, f.Files...)
			for _, c := range f.Copies {
				files = append(files, c.Files...)
			}
		}
	}
	for _, q := range s.Sequences {
		add(q.Frames)
		add(q.Merged)
	}
	return files
}

// touches reports whether a file that came, changed or went may change what is past. It
// was known before where a file of its path was there.
func (p *past) touches(path string, known bool, f *shoot.File, gap time.Duration) bool {
	return known && !p.present[path] || f != nil && !p.behind(f, gap)
}

// behind reports whether a file was made so long after all that is past that it cannot
// belong there.
func (p *past) behind(f *shoot.File, gap time.Duration) bool {
	at, ok := f.Meta.Captured.Get()
	return ok && at.Wall.Sub(p.end) > gap
}

// A remembered is what was seen in the pictures of runs of which one may go on in the next.
type remembered struct {
	runs []*shoot.Run
	seen []shoot.Seen
}

// A memory has only those pictures measured that were not measured before, however long ago
// that was. It keeps what was seen by the first file of the runs.
type memory struct {
	measure func(context.Context, []*shoot.Run) ([]shoot.Seen, error)
	kept    map[*shoot.File]remembered
	last    []remembered // of the last call
}

// ask has the pictures of runs measured, as [Options.Measure].
func (m *memory) ask(ctx context.Context, runs []*shoot.Run) ([]shoot.Seen, error) {
	seen := make([]shoot.Seen, len(runs))
	var asked []*shoot.Run
	var places []int
	groups := together(runs)
	at := 0
	for _, g := range groups {
		if known, ok := m.kept[g[0].Frames[0].Files[0]]; ok && sameRuns(known.runs, g) {
			copy(seen[at:], known.seen)
		} else {
			for i, r := range g {
				asked, places = append(asked, r), append(places, at+i)
			}
		}
		at += len(g)
	}
	found, err := m.measure(ctx, asked)
	if found == nil && len(asked) > 0 {
		return nil, err
	}
	for i, place := range places {
		seen[place] = found[i]
	}
	m.last = m.last[:0]
	at = 0
	for _, g := range groups {
		if err == nil {
			m.last = append(m.last, remembered{g, seen[at : at+len(g)]})
		}
		at += len(g)
	}
	return seen, err
}

// keep keeps what was seen last in runs that ended before a time, to which nothing comes
// any more.
func (m *memory) keep(end time.Time) {
	if m.kept == nil {
		m.kept = map[*shoot.File]remembered{}
	}
	for _, r := range m.last {
		if e := r.runs[len(r.runs)-1].End(); !e.IsZero() && !e.After(end) {
			m.kept[r.runs[0].Frames[0].Files[0]] = r
		}
	}
	m.last = nil
}

// forget drops what is kept of files that are no longer there.
func (m *memory) forget(there func(*shoot.File) bool) {
	for f := range m.kept {
		if !there(f) {
			delete(m.kept, f)
		}
	}
}

// together splits runs where none goes on in the next.
func together(runs []*shoot.Run) [][]*shoot.Run {
	var groups [][]*shoot.Run
	for i, r := range runs {
		if n := len(groups); i > 0 && r.MayContinue == runs[i-1] {
			groups[n-1] = append(groups[n-1], r)
		} else {
			groups = append(groups, []*shoot.Run{r})
		}
	}
	return groups
}

// sameRuns reports whether runs have the same files and parts.
func sameRuns(a, b []*shoot.Run) bool {
	return slices.EqualFunc(a, b, func(x, y *shoot.Run) bool {
		return x.Pause == y.Pause && slices.EqualFunc(x.Frames, y.Frames, func(f, g *shoot.Frame) bool { return slices.Equal(f.Files, g.Files) })
	})
}

// judge makes the result anew: of the last session alone, where nothing of what came can
// belong to those before. It leaves the old result where it was stopped: of frames that
// were not inspected, less is known than before.
func (l *Live) judge(ctx context.Context) error {
	if l.memory == nil && l.opt.Measure != nil {
		l.memory = &memory{measure: l.opt.Measure}
	}
	opt := *l.opt
	if l.memory != nil {
		l.memory.measure = l.opt.Measure // a watch that ends sets another
		opt.Measure = l.memory.ask
	}
	files, before := l.toJudge()
	counted := counts(&shoot.Collection{Files: l.unreadable(), Other: l.other, Unfinished: l.unfinished, Problems: l.problems})
	counted.Read = len(l.files)
	result, err := judge(ctx, before, files, counted, &opt)
	if result == nil || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	if before != nil && !l.past.models.with(result.Sessions[len(before):]...) {
		l.past = nil
		return l.judge(ctx)
	}
	l.result, l.changed, l.fresh, l.before = result, false, true, len(before)
	l.touched = map[string]bool{}
	old := l.past
	if before == nil {
		old = nil
	}
	l.past = newPast(result, len(l.files), l.opt, old)
	if l.memory != nil && l.past != nil {
		if before == nil {
			l.memory.forget(func(f *shoot.File) bool { return l.files[f.Path] != nil && l.files[f.Path].file == f })
		}
		l.memory.keep(l.past.end)
	}
	return err
}

// toJudge returns the files that must be judged, by their paths, and the sessions before
// that need not.
func (l *Live) toJudge() ([]*shoot.File, []*Session) {
	var files []*shoot.File
	gap := l.opt.SessionGap
	if gap <= 0 {
		gap = shoot.DefaultSessionGap
	}
	p := l.past
	for path, known := range l.touched {
		f := l.files[path]
		if p == nil {
			break
		}
		if f == nil && p.touches(path, known, nil, gap) || f != nil && p.touches(path, known, f.file, gap) {
			p = nil
		}
	}
	if p != nil {
		of := map[string]bool{}
		for _, list := range []map[string]bool{p.present, l.touched} {
			for path := range list {
				if f := l.files[path]; f != nil && !of[path] {
					of[path] = true
					files = append(files, f.file)
				}
			}
		}
		if p.files+len(files) != len(l.files) {
			p, files = nil, nil
		}
	}
	if p == nil {
		files = make([]*shoot.File, 0, len(l.files))
		for _, f := range l.files {
			files = append(files, f.file)
		}
	}
	slices.SortFunc(files, func(a, b *shoot.File) int { return cmp.Compare(a.Path, b.Path) })
	if p == nil {
		return files, nil
	}
	return files, p.sessions
}

// unreadable returns the files from which no picture can be read.
func (l *Live) unreadable() []*shoot.File {
	var files []*shoot.File
	for path := range l.failed {
		files = append(files, l.files[path].file)
	}
	return files
}
