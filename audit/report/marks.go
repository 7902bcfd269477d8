package report

import (
	"slices"
	"strings"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
)

// Marks along the frames of a sequence, a sign each.
const (
	markPresent = '|' // a frame
	markMissing = '.' // a file number that is not there
	markOdd     = 'X' // a frame that a finding names
	// longestMarks is how many signs a line of marks has at most.
	longestMarks = 120
)

// marksKey explains the marks.
const marksKey = "Frames: | there, . missing, X named in a finding"

// frameMarks are the frames of a sequence as a line of signs.
type frameMarks struct {
	Line                  string
	Present, Missing, Odd int
	Words                 string // what the line shows
}

// Key explains the marks.
func (*frameMarks) Key() string { return marksKey }

// oddFrames are the frames that open findings name; not where a finding is about most of
// the sequence, which sets none apart.
func (q *sequenceModel) oddFrames() map[*shoot.Frame]bool {
	beside := map[*shoot.Frame]bool{} // a hole
	for i := range q.frames {
		if q.missingBefore(i) > 0 {
			beside[q.frames[i-1]], beside[q.frames[i]] = true, true
		}
	}
	odd := map[*shoot.Frame]bool{}
	for _, f := range q.findings {
		if f.Accepted || f.Severity == audit.Note || 2*len(f.Frames) > len(q.frames) || !slices.ContainsFunc(f.Frames, func(f *shoot.Frame) bool { return !beside[f] }) {
			continue
		}
		for _, frame := range f.Frames {
			odd[frame] = true
		}
	}
	return odd
}

// missingBefore returns how many file numbers are not there between a frame and the one
// before; 0 where the numbers do not show it.
func (q *sequenceModel) missingBefore(i int) int {
	if i == 0 {
		return 0
	}
	before, at := q.frames[i-1].Number, q.frames[i].Number
	if !before.Known || !at.Known || before.Series != at.Series {
		return 0
	}
	return max(0, at.Count-before.Count-1)
}

// marks returns the marks of a sequence; nil where it has no open finding, is too short or
// too long for them, or nothing in it is missing or odd.
func (q *sequenceModel) marks() *frameMarks {
	if len(q.frames) < fewPlotted || worst(q.findings) == audit.VerdictGood {
		return nil
	}
	odd := q.oddFrames()
	var b strings.Builder
	m := &frameMarks{Present: len(q.frames)}
	for i, f := range q.frames {
		gap := q.missingBefore(i)
		if gap > longestMarks {
			return nil // another card, rather
		}
		for range gap {
			b.WriteByte(markMissing)
			m.Missing++
		}
		if odd[f] {
			b.WriteByte(markOdd)
			m.Odd++
		} else {
			b.WriteByte(markPresent)
		}
	}
	if m.Line = b.String(); len(m.Line) > longestMarks || m.Missing+m.Odd == 0 {
		return nil
	}
	m.Words = words.Count(m.Present, "frame", "frames")
	if m.Missing > 0 {
		m.Words += ", " + words.Count(m.Missing, "missing", "missing")
	}
	if m.Odd > 0 {
		m.Words += ", " + words.Count(m.Odd, "named", "named")
	}
	return m
}
