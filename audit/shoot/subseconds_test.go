package shoot

import (
	"testing"
	"time"
)

// Four digits that begin with a zero in every frame are milliseconds where that makes the
// runs steadier, and decimals else.
func TestUnpad(t *testing.T) {
	start := time.Date(2026, 3, 4, 10, 11, 12, 0, time.UTC)
	// stamp is what a body records of a moment: padded milliseconds, or decimals.
	padded := func(at time.Duration) time.Time {
		ms := at % time.Second / time.Millisecond
		return start.Add(at.Truncate(time.Second) + ms*100*time.Microsecond)
	}
	decimals := func(at time.Duration) time.Time { return start.Add(at.Truncate(100 * time.Microsecond)) }
	for _, c := range []struct {
		what       string
		stamp      func(time.Duration) time.Time
		every      time.Duration
		frames     int
		resolution time.Duration
		want       time.Duration // to the third frame
	}{
		{"padded milliseconds", padded, 370 * time.Millisecond, 12, time.Millisecond, 740 * time.Millisecond},
		{"decimals", decimals, 370 * time.Millisecond, 12, paddedResolution, 740 * time.Millisecond},
		{"decimals that happen to begin with a zero, of a timer", decimals, 2 * time.Second, 12, paddedResolution, 4 * time.Second},
		{"too few to tell", padded, 370 * time.Millisecond, 4, paddedResolution, 74 * time.Millisecond},
		{"one frame", padded, 0, 1, paddedResolution, 0},
	} {
		t.Run(c.what, func(t *testing.T) {
			var frames []*Frame
			for i := range c.frames {
				frames = append(frames, &Frame{Time: c.stamp(5*time.Millisecond + time.Duration(i)*c.every), Resolution: paddedResolution})
			}
			unpad(frames)
			if got := frames[0].Resolution; got != c.resolution {
				t.Errorf("resolution %v, want %v", got, c.resolution)
			}
			if c.frames < 3 {
				return
			}
			if got := frames[2].Time.Sub(frames[0].Time); got != c.want {
				t.Errorf("the third frame is %v behind the first, want %v", got, c.want)
			}
		})
	}
}
