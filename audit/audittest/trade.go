package audittest

import (
	"errors"
	"fmt"
	"path"
	"slices"
	"strings"

	"prestrike/audit"
	"prestrike/audit/shoot"
)

// A Span is a run of frames by its ends, each the end of a path without its
// ending ("0019", "card2/DCIM/100BXCAM/BX1_0019"); "*" is any frame.
type Span struct{ First, Last string }

func parseSpan(s string) Span {
	if first, last, ok := strings.Cut(s, "-"); ok {
		return Span{first, last}
	}
	return Span{s, s}
}

// String writes the span as a want line does.
func (s Span) String() string {
	if s.First == s.Last {
		return s.First
	}
	return s.First + "-" + s.Last
}

// A WantSequence is a sequence wanted, by its ends.
type WantSequence struct {
	Kinds   []string // any of them
	Span    Span
	Support string // empty where the text does not state it
}

// Words are words that a finding of the rule must hold.
type Words struct{ Rule, Text string }

// bounds returns the places of a span's ends among the files.
func (t *Text) bounds(s Span) (from, to int, err error) {
	if s.First == "*" {
		return 0, len(t.Files) - 1, nil
	}
	from, _, err = t.place(s.First)
	if err != nil {
		return 0, 0, err
	}
	last, to, err := t.place(s.Last)
	if last < from { // numbers that count down
		_, to, _ = t.place(s.First)
		from = last
	}
	return from, to, err
}

// place returns the first and last file of the frame that the name belongs to.
func (t *Text) place(name string) (first, last int, err error) {
	first = -1
	stem := ""
	for i, f := range t.Files {
		own := strings.TrimSuffix(f.Path, path.Ext(f.Path))
		if !strings.HasSuffix(own, name) {
			continue
		}
		if first < 0 {
			first, stem = i, own
		}
		if own != stem {
			return 0, 0, fmt.Errorf("%q may be %s or %s: write more of its path", name, stem, own)
		}
		last = i
	}
	if first < 0 {
		return 0, 0, fmt.Errorf("%q is no frame of this session", name)
	}
	return first, last, nil
}

// places returns the positions of the first and the last file of some frames.
func (t *Text) places(frames []*shoot.Frame) (from, to int) {
	from, to = len(t.Files), -1
	for _, frame := range frames {
		for _, file := range frame.Files {
			i := slices.IndexFunc(t.Files, func(f *shoot.File) bool { return f.Path == file.Path })
			from, to = min(from, i), max(to, i)
		}
	}
	return from, to
}

// fits reports whether a finding is the one wanted: of one of the rules
// ("a|b"), of the severity or, after a plus sign, a higher one, and on frames
// that all lie between those named.
func (t *Text) fits(w Want, f *audit.Finding) bool {
	if !slices.Contains(strings.Split(w.Rule, "|"), f.Rule) {
		return false
	}
	least, err := audit.ParseSeverity(strings.TrimSuffix(w.Severity, "+"))
	if err != nil || f.Severity < least || f.Severity > least && !strings.HasSuffix(w.Severity, "+") {
		return false
	}
	from, to, err := t.bounds(Span{w.First, w.Last})
	if err != nil {
		return false
	}
	first, last := t.places(f.Frames)
	return len(f.Frames) == 0 || from <= first && last <= to
}

// Differences compares the outcome of an audit with what a photographer wants
// of it: every finding wanted in its place; nothing else above a note, but
// for what may be found too and what a retake has settled; nothing at all of
// the rules that are to be silent; the sequences, words and verdict wanted.
func (t *Text) Differences(result *audit.Result) []string {
	if err := t.names(); err != nil {
		return []string{err.Error()}
	}
	var all []*reported
	var sequences []*shoot.Sequence
	for _, session := range result.Sessions {
		for _, f := range session.Findings {
			all = append(all, &reported{Finding: f})
		}
		for _, q := range session.Sequences {
			sequences = append(sequences, q.Sequence)
			for _, f := range q.Findings {
				all = append(all, &reported{Finding: f, settled: q.SupersededBy != nil})
			}
		}
	}
	out := t.compareFindings(all)
	differ := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	for _, n := range t.NotJudged {
		if !told(result, n) {
			differ("judged, but should not be: %s: %s", n.Rule, n.Reason)
		}
	}
	if t.Count > 0 && len(sequences) != t.Count {
		differ("%d sequences, want %d", len(sequences), t.Count)
	}
	for _, w := range t.Sequences {
		if why := t.sequence(w, sequences); why != "" {
			differ("%s", why)
		}
	}
	if got := result.Verdict.String(); t.Verdict != "" && got != t.Verdict {
		differ("verdict %s, want %s", got, t.Verdict)
	}
	return out
}

// A reported finding, and what becomes of it in the comparison.
type reported struct {
	*audit.Finding
	settled bool // by a retake
	wanted  bool
}

// compareFindings compares the findings with those wanted, allowed and ruled out.
func (t *Text) compareFindings(all []*reported) []string {
	var out []string
	differ := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	for _, w := range t.Wants {
		i := slices.IndexFunc(all, func(f *reported) bool { return !f.wanted && t.fits(w, f.Finding) })
		if i < 0 {
			differ("missing finding: %v", w)
			continue
		}
		all[i].wanted = true
	}
	counts := map[string]int{}
	for _, f := range all {
		counts[f.Rule]++
		may := slices.ContainsFunc(t.May, func(w Want) bool { return t.fits(w, f.Finding) })
		switch {
		case slices.Contains(t.Never, f.Rule):
			differ("%s is to be silent: %s (%v)", f.Rule, f.Message, f.Severity)
		case f.wanted || f.settled || f.Accepted || may || f.Severity <= audit.Note:
		default:
			differ("surplus finding: %s %v: %s", f.Rule, f.Severity, f.Message)
		}
	}
	for rule, most := range t.AtMost {
		if counts[rule] > most {
			differ("%s %d times, want %d at most", rule, counts[rule], most)
		}
	}
	for _, w := range t.Words {
		if !slices.ContainsFunc(all, func(f *reported) bool {
			return f.Rule == w.Rule && strings.Contains(f.Message+" "+f.Action, w.Text)
		}) {
			differ("no finding of %s holds %q", w.Rule, w.Text)
		}
	}
	return out
}

// names checks that every frame named in the head of the session is in it.
func (t *Text) names() error {
	var errs []error
	for _, list := range [][]Want{t.Wants, t.May} {
		for _, w := range list {
			_, _, err := t.bounds(Span{w.First, w.Last})
			errs = append(errs, err)
		}
	}
	for _, w := range t.Sequences {
		_, _, err := t.bounds(w.Span)
		errs = append(errs, err)
	}
	return errors.Join(errs...)
}

func told(result *audit.Result, want NotJudged) bool {
	fits := func(n audit.NotJudged) bool {
		return slices.Contains(strings.Split(want.Rule, "|"), n.Rule) && strings.Contains(n.Reason, want.Reason)
	}
	for _, session := range result.Sessions {
		if slices.ContainsFunc(session.NotJudged, fits) {
			return true
		}
		for _, q := range session.Sequences {
			if slices.ContainsFunc(q.NotJudged, fits) {
				return true
			}
		}
	}
	return false
}

// sequence returns what is wrong with a sequence wanted; empty where nothing is.
func (t *Text) sequence(w WantSequence, have []*shoot.Sequence) string {
	from, to, err := t.bounds(w.Span)
	if err != nil {
		return err.Error()
	}
	for _, q := range have {
		if first, last := t.places(q.Frames); first != from || last != to {
			continue
		}
		if k := q.Kind.String(); !slices.Contains(w.Kinds, k) {
			return fmt.Sprintf("sequence %v is of kind %s, want %s", w.Span, k, strings.Join(w.Kinds, " or "))
		}
		if w.Support != "" && q.Support.String() != w.Support {
			return fmt.Sprintf("sequence %v: support %v, want %s", w.Span, q.Support, w.Support)
		}
		return ""
	}
	return fmt.Sprintf("no sequence %v", w.Span)
}
