package rules

import (
	"strings"
	"testing"
	"time"

	"prestrike/audit/audittest"
	"prestrike/audit/pictures"
	"prestrike/audit/pictures/picturestest"
	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
	"prestrike/audit/shoot"
)

// nearerAndFarther puts shots in the order of a camera that goes outwards from one of
// them, in turn.
func nearerAndFarther(shots []pixelstest.Shot, from int) []pixelstest.Shot {
	out := []pixelstest.Shot{shots[from]}
	for k := 1; len(out) < len(shots); k++ {
		if from-k >= 0 {
			out = append(out, shots[from-k])
		}
		if from+k < len(shots) {
			out = append(out, shots[from+k])
		}
	}
	return out
}

// TestPicturesOfOutwards holds that a run made outwards from its middle is one note, and
// that what is wrong in it is still found; where it is not sure, focus is not judged.
func TestPicturesOfOutwards(t *testing.T) {
	clean := picturestest.Covering()
	n := len(clean)
	half := n / 2
	turns := nearerAndFarther(clean, half)
	sides := append(backwards(clean[:half+1]), clean[half+1:]...)
	var few []pixelstest.Shot
	for i := 1; i < n; i += 3 {
		few = append(few, clean[i])
	}
	camera := picturestest.Camera{Every: 1300 * time.Millisecond}
	recording := picturestest.Camera{Every: camera.Every, Distance: func(f float64) float64 { return 0.3 + 0.01*f }}
	note := "note focus-turn: focus goes from frame 0001 outwards, to nearer and to farther"
	for name, c := range map[string]struct {
		camera picturestest.Camera
		shots  []pixelstest.Shot
		want   []string
		open   bool // whether focus goes outwards is not decided
	}{
		"in turn":                        {camera, turns, []string{note}, false},
		"in turn, with distances":        {recording, turns, []string{note}, false},
		"one side first":                 {camera, sides, []string{note}, false},
		"in turn, knocked":               {camera, pixelstest.Bump(turns, 11, n, 3, 1), []string{note, "check moved: the picture jumps between 0011 and 0012 by about 3"}, false},
		"in turn, flash not ready":       {camera, pixelstest.Brighten(turns, 13, 1, -2), []string{note, "reshoot dark-frame: frame 0014 is about 2 EV darker"}, false},
		"in turn, ends inside":           {camera, nearerAndFarther(clean[:n-9], (n-9)/2), []string{note, "check far-edge: "}, false},
		"in turn, too few to be sure":    {camera, nearerAndFarther(few, len(few)/2), nil, true},
		"starts over, which is no order": {camera, pixelstest.Restart(clean, 15), []string{"check focus-turn: focus jumps back"}, false},
	} {
		t.Run(name, func(t *testing.T) {
			if testing.Short() && name != "in turn, ends inside" && name != "in turn, too few to be sure" {
				t.Skip("renders many pictures")
			}
			result := lookAt(t, &pictures.Measurer{}, c.camera.Shoot(t, c.shots))
			q := result.Sessions[0].Sequences[0]
			got := aboutPictures(audittest.Told(result))
			ok := len(got) == len(c.want) && q.Kind == shoot.Focus
			for _, w := range c.want {
				found := false
				for _, g := range got {
					found = found || strings.HasPrefix(g, w)
				}
				ok = ok && found
			}
			open := 0
			for _, not := range q.NotJudged {
				if not.Reason == pixels.ReasonMaybeOutwards {
					open++
				}
			}
			if c.open != (open > 0) {
				t.Errorf("%d rules leave it open whether focus goes outwards: %v", open, q.NotJudged)
			}
			if !ok {
				t.Errorf("%v, found\n%s\nwant\n%s", q.Kind, strings.Join(got, "\n"), strings.Join(c.want, "\n"))
			}
			t.Logf("%s\nnot judged: %v", strings.Join(got, "\n"), q.NotJudged)
		})
	}
}
