package main

import (
	"io"
	"runtime/debug"
	"testing"

	"prestrike/audit/pictures"
)

// A gauge notes the collector's setting when something is written to it.
type gauge struct{ percent int }

func (g *gauge) Write(p []byte) (int, error) {
	g.percent = share()
	return len(p), nil
}

// TestMeasureCollectsGarbage holds that garbage is collected more often while
// pictures are inspected, and only then, in a watch more often still, unless the user has
// set how often or it is collected often already.
func TestMeasureCollectsGarbage(t *testing.T) {
	before := debug.SetGCPercent(200)
	defer debug.SetGCPercent(before)
	for _, test := range []struct {
		set                  string
		outside, during, off int
	}{
		{"", 200, 100, 200},
		{"200", 200, 200, 200},
		{"", watchGarbage, watchPictureGarbage, watchGarbage},
		{"", 60, 60, 60},
		{"", -1, 100, -1},
	} {
		t.Setenv("GOGC", test.set)
		debug.SetGCPercent(test.outside)
		var during gauge
		c := &console{out: io.Discard, err: &during, errTerminal: true} // the line of progress is written
		if _, err := measureWith(c, false, &pictures.Measurer{})(t.Context(), nil); err != nil {
			t.Fatal(err)
		}
		if during.percent != test.during || share() != test.off {
			t.Errorf("%+v: %d percent while pictures are inspected, %d afterwards", test, during.percent, share())
		}
	}
}
