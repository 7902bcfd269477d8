package report

import "prestrike/audit/pixels"

// newJSONSeen lists what the pictures answer about the sequence as a whole; nothing where they
// were not inspected.
func newJSONSeen(q *sequenceModel) []jsonSeen {
	out := []jsonSeen{}
	if q.seen != nil {
		j := q.seen.Judgement
		out = append(out,
			newJSONAnswer("hand-held", j.Held.Verdict, j.Held.Shift, "px"), // of a picture 1,600 wide
			newJSONAnswer("view-changes", j.Views.Verdict, j.Views.Apart, "share"),
			newJSONAnswer("focus-walks", j.Walk.Verdict, j.Walk.Share, "share"),
		)
		if b := q.seen.Behind; b != nil {
			out = append(out, newJSONAnswer("goes-on", b.Verdict, b.Steps, "steps"))
		}
	}
	for _, c := range q.compared {
		v := pixels.Verdict{Reason: pixels.ReasonBetweenViews}
		switch {
		case c.Known && c.Same:
			v = pixels.Verdict{Answer: pixels.Found}
		case c.Known:
			v = pixels.Verdict{Answer: pixels.Fine}
		}
		a := newJSONAnswer("same-view", v, c.Apart, "share")
		a.With = textOrNull(c.With.ID)
		out = append(out, a)
	}
	return out
}

// newJSONAnswer is an answer with its figure, which is not known where it is 0 and the answer
// is not.
func newJSONAnswer(question string, v pixels.Verdict, measured float64, unit string) jsonSeen {
	a := jsonSeen{Question: question, Answer: "not known", Reason: textOrNull(v.Reason)}
	switch v.Answer {
	case pixels.Found:
		a.Answer = "yes"
	case pixels.Fine:
		a.Answer = "no"
	}
	if v.Answer != pixels.CannotTell || measured != 0 {
		a.Measured, a.Unit = FiniteOrNull(measured), &unit
	}
	return a
}
