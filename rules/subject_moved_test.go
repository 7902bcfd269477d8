package rules

import (
	"slices"
	"strings"
	"testing"
	"time"

	"prestrike/audit/audittest"
	"prestrike/audit/pictures"
	"prestrike/audit/pictures/picturestest"
	"prestrike/audit/pixels/pixelstest"
)

// TestSubjectMoved has the four cases of the rule: nothing moves, a leaf moves, on both
// sides of the limit, and too few pictures. Where focus stands, the series may be a
// time-lapse, in which things may move.
func TestSubjectMoved(t *testing.T) {
	pixelstest.Long(t)
	clean := picturestest.Covering()
	n := len(clean)
	const at = 12
	x, y := sharpIn(t, clean[at-1], clean[at])
	part := func(px float64) pixelstest.Part {
		return pixelstest.Part{X: x, Y: y, Radius: 0.11, DX: 0.8 * px, DY: 0.6 * px}
	}
	leaf := func(px float64, frames int) []pixelstest.Shot {
		return pixelstest.MovePart(clean, at, frames, part(px))
	}
	stands := pixelstest.Run(5, n, clean[at].Focus, clean[at].Focus, 0)
	camera := picturestest.Camera{Every: 1300 * time.Millisecond}
	for name, c := range map[string]struct {
		shots       []pixelstest.Shot
		found, then string // the beginning of the finding, and what is in it
		blind       string // why it is not judged
	}{
		"clean":           {clean, "", "", ""},
		"fault":           {leaf(3, n), "check subject-moved: a part of the picture (", ") moves between 0012 and 0013 by about 3", ""},
		"comes back":      {leaf(3, 1), "check subject-moved: a part of the picture (", "; it comes back soon after", ""},
		"focus stands":    {pixelstest.MovePart(stands, at, n, part(3)), "note subject-moved: a part of the picture (", ") moves between 0012 and 0013 by about ", ""},
		"below the limit": {leaf(0.2, n), "", "", ""}, // 0.6 px of a picture 1,600 wide
		"above the limit": {leaf(0.8, n), "note subject-moved: ", "by under a pixel", ""},
		"missing":         {clean[8:13], "", "", "fewer than 6 frames with a picture"},
	} {
		result := lookAt(t, &pictures.Measurer{}, camera.Shoot(t, c.shots))
		q := result.Sessions[0].Sequences[0]
		got := slices.DeleteFunc(audittest.Told(result), func(s string) bool { return !strings.Contains(s, "subject-moved") })
		if (c.found == "") != (len(got) == 0) || c.found != "" && (!strings.HasPrefix(got[0], c.found) || !strings.Contains(got[0], c.then)) {
			t.Errorf("%s: found %q", name, got)
		}
		why := ""
		for _, j := range q.NotJudged {
			if j.Rule == "subject-moved" {
				why = j.Reason
			}
		}
		if why != c.blind {
			t.Errorf("%s: not judged as %q, want %q", name, why, c.blind)
		}
		for _, f := range q.Findings {
			if f.Rule != "subject-moved" {
				continue
			}
			if in := f.Region; !(in.X0 < x && x < in.X1 && in.Y0 < y && y < in.Y1) || len(f.Closest) != 2 || f.Closest[1] != q.Frames[at] {
				t.Errorf("%s: shown at %v of %v, want %.2f, %.2f of frame %d", name, in, f.Closest, x, y, at)
			}
		}
	}
}

// sharpIn returns a place of the scene that is sharp in two shots.
func sharpIn(t *testing.T, a, b pixelstest.Shot) (x, y float64) {
	t.Helper()
	for y = 0.3; y <= 0.7; y += 0.02 {
		for x = 0.3; x <= 0.7; x += 0.02 {
			all := true
			for _, d := range [][2]float64{{0, 0}, {-0.05, 0}, {0.05, 0}, {0, -0.07}, {0, 0.07}} {
				all = all && picturestest.Scene().SharpAt(x+d[0], y+d[1], a.Focus, b.Focus, 3)
			}
			if all {
				return x, y
			}
		}
	}
	t.Fatal("no place is sharp in both")
	return 0, 0
}
