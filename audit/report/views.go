package report

import (
	"bytes"
	"fmt"
	"slices"

	"prestrike/audit"
)

// The shot list in the report.

// The states of a view.
const (
	viewShot    = "shot"
	viewAgain   = "to be shot again"
	viewUnsure  = "not sure"
	viewMissing = "missing"
	viewLeft    = "left out" // an optional one
)

// addViews takes the shot list in.
func (m *model) addViews(r *audit.Result) {
	for _, v := range r.Views {
		of := viewModel{name: v.Name, optional: v.Optional}
		switch {
		case v.Missing():
			of.state = viewMissing
		case v.Sequence == nil:
			of.state = viewLeft
		case !v.Shot():
			of.state = viewAgain
		case v.Or != nil:
			of.state = viewUnsure + ": " + v.Sequence.ID + " or " + v.Or.ID
		default:
			of.state = viewShot
		}
		if v.Sequence != nil {
			of.sequence = v.Sequence.ID
		}
		m.views = append(m.views, of)
	}
}

// newTime takes in how long what is open takes.
func newTime(r *audit.Result) timeModel {
	m := timeModel{left: r.Left, needed: r.Needed}
	if left, ok := r.Left.Get(); ok {
		m.fit = r.Needed.Fitting(left)
	}
	if sentence := audit.TimeSentence(r); sentence != "" {
		m.sentence = capital(sentence) + "."
	}
	return m
}

// closingTimed is what to do now, with how long what is open takes.
func (m *model) closingTimed() string { return withTime(m.closing, m.time) }

func withTime(closing string, t timeModel) string {
	if t.sentence == "" {
		return closing
	}
	return closing + " " + t.sentence
}

// writeViews writes the shot list, a line for each view.
func writeViews(b *bytes.Buffer, views []viewModel, width int) {
	if len(views) == 0 {
		return
	}
	Paragraph(b, "", 2, "Shot list:", width)
	longest := 0
	for _, v := range views {
		longest = max(longest, len(v.sequence))
	}
	for _, v := range views {
		where := v.sequence
		if where == "" {
			where = notRecorded
		}
		text := v.name
		if v.state != viewShot {
			text += " (" + v.state + ")"
		}
		Paragraph(b, fmt.Sprintf("  %-*s  ", longest, where), longest+4, text, width)
	}
	b.WriteByte('\n')
}

// missingNow returns what a finding asks to inspect that views are missing and must be
// shot now; empty where there is none.
func missingNow(r *audit.Result) string {
	if !slices.ContainsFunc(r.Views, (*audit.ShotView).Missing) {
		return ""
	}
	for _, s := range r.Sessions {
		for _, f := range s.Findings {
			if f.Look != "" && worst([]*audit.Finding{f}) == audit.VerdictReshoot {
				return f.Look
			}
		}
	}
	return ""
}
