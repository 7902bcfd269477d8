package main

import (
	"io"
	"runtime/debug"
	"runtime/metrics"
	"testing"

	"prestrike/audit/pictures"
)

// A gauge notes the collector's setting when something is written to it.
type gauge struct{ percent uint64 }

func (g *gauge) Write(p []byte) (int, error) {
	g.percent = collectorPercent()
	return len(p), nil
}

func collectorPercent() uint64 {
	sample := []metrics.Sample{{Name: "/gc/gogc:percent"}}
	metrics.Read(sample)
	return sample[0].Value.Uint64()
}

// TestMeasureCollectsGarbage holds that garbage is collected more often while
// pictures are inspected, and only then, unless the user has set how often.
func TestMeasureCollectsGarbage(t *testing.T) {
	defer debug.SetGCPercent(debug.SetGCPercent(200))
	for set, want := range map[string]uint64{"": 100, "200": 200} {
		t.Setenv("GOGC", set)
		var during gauge
		c := &console{out: io.Discard, err: &during, errTerminal: true} // the line of progress is written
		if _, err := measureWith(c, false, &pictures.Measurer{})(t.Context(), nil); err != nil {
			t.Fatal(err)
		}
		if during.percent != want {
			t.Errorf("GOGC=%s: %d percent while pictures are looked at, want %d", set, during.percent, want)
		}
		if after := collectorPercent(); after != 200 {
			t.Errorf("GOGC=%s: %d percent afterwards, want 200", set, after)
		}
	}
}
