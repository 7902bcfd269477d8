package rules

import (
	"cmp"
	"fmt"
	"slices"

	"prestrike/audit"
	"prestrike/exifread"
)

var focusTurn = &audit.Rule{
	ID:       "focus-turn",
	Title:    "focus goes back inside a focus sequence",
	Severity: audit.Check,
	Doc: `Finds focus sequences whose recorded focus distance goes back by more than a step or
two: the lens reached its end and began again, autofocus went its own way, or two
sequences ran into one.

The sequence may cover less of the subject than its frames suggest.

Look whether the frames after the turn begin where the subject begins and reach its
end. If not, shoot the sequence again.

It is wrong where two takes were made without a pause. A step back and forth is the
scale of the lens, or a repeated frame, and is left alone, as are the first and last
few frames.`,
	Source: "common practice",
	Params: []audit.Param{
		{
			Name: "back", Unit: "focus steps", Doc: "going back by more is a turn",
			Default: 2, Min: 0.5, Max: 100,
		},
		{
			Name: "edge", Unit: "frames", Doc: "so many frames at each end are left alone: test frames, and the lens on its way back",
			Default: 3, Min: 0, Max: 100,
		},
	},
	Check: checkFocusTurn,
}

func checkFocusTurn(v *audit.Review) error {
	q := v.Sequence
	w, why, ok := walkOf(q)
	if !ok {
		if why != "" {
			v.Unjudged(why)
		}
		return nil
	}
	turns := w.turns(v.Param("back"), int(v.Param("edge")))
	const wanders = 3 // so many turns are no mishap of a walk
	switch {
	case len(turns) == 0:
		return nil
	case len(turns) > wanders:
		v.Unjudged("the recorded focus distance goes to and fro")
		return nil
	}
	longest := slices.MaxFunc(turns, func(a, b turn) int { return cmp.Compare(w.back(a), w.back(b)) })
	at := w.frames[longest.from+1]
	found := audit.Finding{
		Message: fmt.Sprintf("focus goes back at %s, from %s to %s",
			audit.FrameRange(at, at), writeMetres(w.at[longest.from]), writeMetres(w.at[longest.to])),
		Action:   "look whether the frames from there on cover the subject; if not, shoot this sequence again",
		Measured: exifread.Of(w.back(longest)), Limit: exifread.Of(v.Param("back")), Unit: "focus steps",
	}
	if n := len(turns); n > 1 {
		found.Message += fmt.Sprintf(", and in %s", many(n-1, "other place", "other places"))
	}
	for _, t := range turns {
		for _, f := range w.frames[t.from : t.from+2] {
			if n := len(found.Frames); n == 0 || found.Frames[n-1] != f {
				found.Frames = append(found.Frames, f)
			}
		}
	}
	v.Found(found)
	return nil
}

// A turn is a way back of a walk: from the frame where focus was farthest along
// to the one where it goes on.
type turn struct{ from, to int }

// back returns how many steps a turn goes back.
func (w walk) back(t turn) float64 { return w.away * (w.at[t.from] - w.at[t.to]) / w.step }

// turns returns the turns that go back by more than so many steps, without
// those at the first and last few frames.
func (w walk) turns(back float64, edge int) []turn {
	var list []turn
	now := turn{} // its end is the frame farthest back since its start
	returning := false
	for i := range w.at {
		switch {
		case returning && w.back(turn{now.to, i}) >= 0:
			now.to = i
		case returning && w.back(turn{i, now.to}) > back: // goes on
			list = append(list, now)
			returning, now = false, turn{i, i}
		case returning:
		case w.back(turn{now.from, i}) <= 0:
			now.from = i
		case w.back(turn{now.from, i}) > back:
			if now.from+1 < edge { // a test frame
				now.from = i
				continue
			}
			returning, now.to = true, i
		}
	}
	if returning {
		list = append(list, now)
	}
	return slices.DeleteFunc(list, func(t turn) bool { return len(w.at)-1-t.from < edge })
}
