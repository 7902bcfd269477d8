package shoot

import (
	"testing"
	"time"
)

// Some bodies write sub-seconds that are always 00 and do not know them.
func TestCoarsen(t *testing.T) {
	make := func(nanoseconds ...int) (frames []*Frame) {
		for i, ns := range nanoseconds {
			frames = append(frames, &Frame{Time: time.Date(2026, 3, 4, 10, 11, 12+i, ns, time.UTC), Resolution: 10 * time.Millisecond})
		}
		return frames
	}
	for _, tt := range []struct {
		frames []*Frame
		want   time.Duration
	}{
		{make(0, 0, 0, 0, 0), time.Second},
		{make(0, 0, 0, 0, 340_000_000), 10 * time.Millisecond},
		{make(0, 0, 0, 0), 10 * time.Millisecond},
	} {
		coarsen(tt.frames)
		if got := tt.frames[0].Resolution; got != tt.want {
			t.Errorf("%d frames: %v, want %v", len(tt.frames), got, tt.want)
		}
	}
}
