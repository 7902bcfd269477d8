package rules

import (
	"flag"
	"fmt"
	"strings"
	"testing"
	"time"

	"prestrike/audit/audittest"
	"prestrike/audit/pictures"
	"prestrike/audit/pictures/picturestest"
	"prestrike/audit/pixels/pixelstest"
	"prestrike/audit/shoot"
)

var scenes = flag.Int("scenes", 1, "rendered scenes to report on")

// TestCleanPicturesRaiseNoAlarm holds that the report on rendered runs without a
// fault asks for nothing: as focus sequences, whose blur grows by less than the limit, and
// as time-lapses.
func TestCleanPicturesRaiseNoAlarm(t *testing.T) {
	pixelstest.Long(t)
	n := *scenes
	runs, settled := 0, map[shoot.Kind]int{}
	for i := range n {
		d := pixelstest.Random(uint64(1541 + 2*i))
		built := d.Build()
		standing := pixelstest.Run(d.Seed, 30, 0.4, 0.4, 0)
		for what, c := range map[string]struct {
			every time.Duration
			shots []pixelstest.Shot
		}{
			"focus":      {1300 * time.Millisecond, d.Shots()},
			"time-lapse": {10 * time.Second, standing},
		} {
			folder := picturestest.Camera{Every: c.every}.Write(t, len(c.shots), func(i int) []byte { return built.JPEG(c.shots[i]) })
			result := lookAt(t, &pictures.Measurer{}, folder)
			runs++
			settled[result.Sessions[0].Sequences[0].Kind]++
			for _, s := range audittest.Told(result) {
				if !strings.HasPrefix(s, "note ") {
					t.Errorf("%s", fmt.Sprintf("seed %d, %s, %v, %.2f px: %s", d.Seed, what, d.Shape, d.CoC, s))
				}
			}
		}
	}
	t.Logf("%d runs: %v", runs, settled)
}
