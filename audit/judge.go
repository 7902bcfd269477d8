package audit

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"sync"

	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// Judge groups the files of a collection, has their pictures measured, and runs the
// rules over the sessions. It fills the whole result. Where ctx ends first, there is no
// result, and the error is that of ctx. Any other error means that a rule or the
// measuring failed; the result is then still complete but for that.
func Judge(ctx context.Context, c *shoot.Collection, opt *Options) (*Result, error) {
	return judge(ctx, nil, c.Files, counts(c), opt)
}

// judge is Judge of files behind sessions that were judged before and stay as they are,
// with the counts of all files.
func judge(ctx context.Context, before []*Session, files []*shoot.File, counted FileCounts, opt *Options) (*Result, error) {
	runs := shoot.Runs(files, opt.PlannedFrames)
	from := newSince(runs, opt)
	var seen []shoot.Seen
	var errs []error
	if opt.Measure != nil {
		var err error
		seen, err = from.measure(ctx, runs, opt)
		errs = append(errs, err)
	}
	r := &Result{Sessions: slices.Clone(before), Files: counted, Support: opt.Support}
	for _, session := range newSessions(before, from.leaveOut(shoot.Sessions(runs, seen, &opt.Options))) {
		errs = append(errs, review(ctx, session, opt)...)
		r.Sessions = append(r.Sessions, session)
	}
	r.Since, r.Files.Earlier = from.at, from.earlier
	if r.Files.Missed() {
		r.Verdict = VerdictCheck
	}
	r.Unused = accept(r.Sessions, opt.Accept)
	for _, session := range r.Sessions[len(before):] {
		patches(session, opt)
	}
	r.UnusedRetaken = declaredRetakes(r.Sessions, opt.Retaken)
	if !r.Since.IsZero() {
		r.Unused, r.UnusedRetaken = nil, nil // they may mean something earlier
	}
	for _, session := range r.Sessions[len(before):] {
		retakes(session, opt)
		session.settle()
	}
	if len(opt.Views) > 0 && len(r.Sessions) > 0 {
		errs = append(errs, reviewViews(ctx, r, opt)...)
	}
	for _, session := range r.Sessions {
		r.Verdict = max(r.Verdict, session.Verdict)
		r.Files.Frames += session.Frames()
		r.Files.Copies += session.copies()
		for _, q := range session.Sequences {
			r.Files.Merged += len(q.Merged)
		}
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return r, errors.Join(distinct(errs)...)
}

// distinct returns the errors, each text once: a rule
// that fails does so on many sequences.
func distinct(errs []error) []error {
	said := map[string]bool{}
	return slices.DeleteFunc(errs, func(err error) bool {
		if err == nil || said[err.Error()] {
			return true
		}
		said[err.Error()] = true
		return false
	})
}

// measure has the pictures measured. Where that panics, nothing is known of any, which
// the rules report.
func measure(ctx context.Context, runs []*shoot.Run, opt *Options) (seen []shoot.Seen, err error) {
	defer exifread.Recovered(&err)
	return opt.Measure(ctx, runs)
}

// counts returns what became of the files of a collection, but for the frames they make.
func counts(c *shoot.Collection) FileCounts {
	n := FileCounts{Read: len(c.Files), Other: c.Other, Unfinished: c.Unfinished}
	for _, err := range c.Problems {
		p, ok := errors.AsType[*shoot.Problem](err)
		if !ok { // what was read before is still there
			p = &shoot.Problem{Err: err}
		}
		n.Unread = append(n.Unread, p)
	}
	for _, f := range c.Files {
		if f.Err != nil {
			n.Unreadable = append(n.Unreadable, f)
		}
	}
	slices.SortFunc(n.Unreadable, func(a, b *shoot.File) int { return cmp.Compare(a.Path, b.Path) })
	return n
}

// review runs every rule over a session and its sequences. What is found stands in
// the order of the rules. It ends with ctx.
func review(ctx context.Context, session *Session, opt *Options) []error {
	var errs []error
	known := facts{}
	for _, s := range session.Sequences {
		// All rules on one sequence before the next: what they share of it can
		// then be forgotten.
		for _, rule := range opt.Rules {
			if opt.Off[rule.ID] || rule.Check == nil {
				continue
			}
			if err := ctx.Err(); err != nil {
				return append(errs, err)
			}
			found, not, err := rule.apply(session, s, opt, known)
			errs = append(errs, err)
			s.Findings = append(s.Findings, found...)
			s.NotJudged = append(s.NotJudged, not...)
		}
		errs = append(errs, s.ask(session, opt, known))
		known.forget(s.Sequence)
	}
	owner := sync.OnceValue(session.owners)
	for _, rule := range opt.Rules {
		if opt.Off[rule.ID] || rule.CheckSession == nil {
			continue
		}
		if err := ctx.Err(); err != nil {
			return append(errs, err)
		}
		found, not, err := rule.apply(session, nil, opt, known)
		errs = append(errs, err)
		for _, f := range found {
			// A finding on frames of one sequence belongs to it.
			if s := oneOwner(f, owner()); s != nil {
				s.Findings = append(s.Findings, f)
			} else {
				session.Findings = append(session.Findings, f)
			}
		}
		session.NotJudged = append(session.NotJudged, not...)
	}
	place := map[string]int{}
	for i, rule := range opt.Rules {
		place[rule.ID] = i
	}
	for _, s := range session.Sequences {
		slices.SortStableFunc(s.Findings, func(a, b *Finding) int { return place[a.Rule] - place[b.Rule] })
	}
	return errs
}

// ask fills in what is known of a sequence beside what rules find: the f-numbers that
// the sensor sees, and with how many frames it is complete.
func (s *Reviewed) ask(session *Session, opt *Options, known facts) (err error) {
	if opt.WorkingFNumbers == nil && opt.Expected == nil {
		return nil
	}
	defer exifread.Recovered(&err)
	v := &Review{
		Session: session.Session, Sessions: session.all, Sequence: s.Sequence, Pictures: s.Pictures,
		Options: opt, Pictured: session.pictured(), facts: known,
	}
	if opt.WorkingFNumbers != nil {
		s.WorkingFNumbers = opt.WorkingFNumbers(v)
	}
	if opt.Expected != nil {
		s.Expected = opt.Expected(v)
	}
	return nil
}

// owners returns the sequence of each frame and of its copies.
func (s *Session) owners() map[*shoot.Frame]*Reviewed {
	owner := make(map[*shoot.Frame]*Reviewed, s.Frames())
	for _, q := range s.Sequences {
		for _, f := range q.Frames {
			owner[f] = q
			for _, c := range f.Copies {
				owner[c] = q
			}
		}
	}
	return owner
}

func oneOwner(f *Finding, owner map[*shoot.Frame]*Reviewed) *Reviewed {
	var s *Reviewed
	for i, frame := range f.Frames {
		if i > 0 && owner[frame] != s {
			return nil
		}
		s = owner[frame]
	}
	return s
}

// settle gives the session and its sequences their verdicts: the worst finding
// that is neither accepted, superseded nor closed by a patch. A patch has the verdict of
// the sequence that it closes.
func (s *Session) settle() {
	s.Verdict = worst(s.Findings)
	for _, q := range s.Sequences {
		q.Verdict = worst(q.Findings)
		if q.Patches != nil {
			q.Verdict = worst(q.Patches.Findings)
		}
		if q.SupersededBy == nil {
			s.Verdict = max(s.Verdict, q.Verdict)
		}
	}
}

func worst(findings []*Finding) Verdict {
	v := VerdictGood
	for _, f := range findings {
		if f.Accepted || f.Closed {
			continue
		}
		switch f.Severity {
		case Check:
			v = max(v, VerdictCheck)
		case Reshoot:
			v = max(v, VerdictReshoot)
		}
	}
	return v
}
