package main

import (
	"cmp"
	"context"
	"slices"

	"prestrike/audit"
	"prestrike/audit/report"
	"prestrike/audit/tablet"
)

// What a page may declare: the choices it offers, and the way to the watch.

// mostLater is how many later sequences a page offers as the retake.
const mostLater = 8

// Choices implements [tablet.Writer].
func (t *tabletPage) Choices(key string) (*tablet.Choices, error) {
	latest := t.latest.Load()
	if latest == nil {
		return nil, report.ErrGone
	}
	var out *tablet.Choices
	var of *audit.Reviewed
	for _, s := range latest.Sessions {
		for _, q := range s.Sequences {
			switch {
			case q.Frames[0].Path() == key:
				of, out = q, choicesOf(q)
			case of == nil || of.SupersededBy != nil || of.Patches != nil || q.Patches != nil || q.SupersededBy != nil:
			default:
				out.Later = append(out.Later, tablet.LaterSequence{Key: q.Frames[0].Path(), ID: q.ID, Title: report.SequenceName(q)})
			}
		}
	}
	if out == nil {
		return nil, report.ErrGone
	}
	// Those like it come first, and before all others the one that the pictures leave open.
	likely := func(l tablet.LaterSequence) int {
		q := t.sequence(l.Key)
		switch {
		case q == of.PerhapsRetaken && q != nil:
			return 0
		case q != nil && q.Body == of.Body && q.Kind == of.Kind:
			return 1
		}
		return 2
	}
	slices.SortStableFunc(out.Later, func(a, b tablet.LaterSequence) int { return likely(a) - likely(b) })
	out.Later = out.Later[:min(len(out.Later), mostLater)]
	out.Edition = latest.edition
	for _, v := range latest.Views {
		by := ""
		if v.Sequence != nil {
			by = v.Sequence.ID
		}
		out.Views = append(out.Views, tablet.ListedView{Name: v.Name, By: by})
	}
	return out, nil
}

// choicesOf returns what can be declared of a sequence alone.
func choicesOf(q *audit.Reviewed) *tablet.Choices {
	out := &tablet.Choices{ID: q.ID, Title: report.SequenceName(q), View: q.View}
	for _, f := range q.Findings {
		if mayBeMeant(f) && q.SupersededBy == nil && !slices.ContainsFunc(out.Open, func(o tablet.OpenFinding) bool { return o.Rule == f.Rule }) {
			out.Open = append(out.Open, tablet.OpenFinding{Rule: f.Rule, Title: cmp.Or(f.Title, f.Rule), Text: f.Message, Severity: f.Severity.String()})
		}
	}
	return out
}

// Declare implements [tablet.Writer].
func (t *tabletPage) Declare(ctx context.Context, d *tablet.Declaration) (string, error) {
	return t.edits.ask(ctx, pageEdit{declared: d, edition: d.Edition})
}

// TakeBack implements [tablet.Writer].
func (t *tabletPage) TakeBack(ctx context.Context, edition string) (string, error) {
	return t.edits.ask(ctx, pageEdit{edition: edition})
}
