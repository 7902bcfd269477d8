package shoot

import (
	"fmt"
	"testing"
	"time"

	"prestrike/exifread"
)

// timedRun is a run of n frames, one each c seconds by a clock of the given resolution in seconds;
// each gap is long or short in turn by the share of c.
func timedRun(n int, c, resolution, share float64) *Run {
	start := time.Date(2026, 3, 4, 10, 0, 0, 310e6, time.UTC)
	step := time.Duration(resolution * float64(time.Second))
	var files []*File
	for i := range n {
		at := c * float64(i)
		if i%2 == 1 {
			at += c * share
		}
		wall := start.Add(time.Duration(at * float64(time.Second))).Truncate(step)
		files = append(files, &File{Path: fmt.Sprintf("BX1_%04d.JPG", i+1), Meta: &exifread.Metadata{
			HasExif: true, Make: exifread.Of("Borealis"), Model: exifread.Of("BX-1"),
			Captured: exifread.Of(exifread.Timestamp{Wall: wall, Resolution: step}),
		}})
	}
	return Runs(files, 0)[0]
}

// Without pictures a time-lapse is claimed only at an interval that timers count.
func TestTimeLapseByTimesAlone(t *testing.T) {
	const fine, coarse = 0.01, 1.0
	for _, c := range []struct {
		what                   string
		n                      int
		cadence, clock, uneven float64
		want                   Kind
	}{
		{"whole seconds", 40, 3, fine, 0.002, TimeLapse},
		{"whole and a half", 40, 2.5, fine, 0.002, TimeLapse},
		{"too few frames", 29, 3, fine, 0.002, Series},
		{"off the half by 0.04 s", 40, 2.54, fine, 0.002, Series},
		{"a third", 40, 2.333, fine, 0.002, Series},
		{"as uneven as a camera's own sequence", 40, 3, fine, 0.03, Series},
		{"whole seconds on such a clock", 40, 3, coarse, 0.002, TimeLapse},
		{"off by 0.04 s on a clock of whole seconds", 40, 3.04, coarse, 0.002, Series},
		{"off by 0.04 s for long on a clock of whole seconds", 200, 3.04, coarse, 0.002, Series},
	} {
		r := timedRun(c.n, c.cadence, c.clock, c.uneven)
		if k := r.kind(&Seen{}); len(r.Frames) != c.n || k != c.want {
			t.Errorf("%s: %v of %d frames, want %v of %d", c.what, k, len(r.Frames), c.want, c.n)
		}
	}
}
