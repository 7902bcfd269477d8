package shoot

import "time"

const (
	// patchWithin is how long behind a run the few frames begin at the latest that are made
	// to close a hole in it: later the set has changed.
	patchWithin = time.Hour
	// fewerFrames is the number of frames of which the pictures are inspected for their own
	// sake: with fewer there is nothing to compare.
	fewerFrames = 4
)

// MayPatch returns the runs of one to three frames that may have been made to close a hole in
// a run before, of those whose pictures are inspected: begun within an hour behind it, by the
// same body at the same settings. Whether there is a hole, and whether they close it, is found
// later, by the pictures of both.
func MayPatch(runs []*Run, inspected func(*Run) bool) map[*Run]bool {
	few := map[*Run]bool{}
	last := map[*Body]*Run{} // run that may have a hole
	for _, r := range runs {
		switch kind := r.kind(&Seen{}); {
		case r.Start().IsZero():
		case inspected(r) && kind.Steady() && len(r.Frames) >= fewFrames:
			last[r.Body] = r
		case len(r.Frames) < fewerFrames && (kind == Single || kind == Burst):
			before := last[r.Body]
			few[r] = before != nil && before.goesBefore(r)
		}
	}
	return few
}

// goesBefore reports whether a run follows soon, at the same settings.
func (r *Run) goesBefore(few *Run) bool {
	ps := points([]*Frame{r.Frames[len(r.Frames)-1], few.Frames[0]})
	w := compare(&ps[0], &ps[1])
	late := few.Start().Sub(r.End())
	return late >= 0 && late <= patchWithin && !w.setup && !w.changed
}
