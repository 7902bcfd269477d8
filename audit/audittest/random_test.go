package audittest

import (
	"fmt"
	"hash/fnv"
	"testing"
)

// Shoots made up once stay as they are: figures of the past are stated on them.
func TestRandomStaysReproducible(t *testing.T) {
	h := fnv.New64a()
	for seed := uint64(1_000_000); seed < 1_000_050; seed++ {
		s := Random(seed)
		for _, f := range s.Files {
			m := f.Meta
			fmt.Fprintln(h, f.Path, f.Size, m.Captured, m.ExposureTime, m.FNumber, m.Sensitivity, m.FocalLength, m.SubjectDistance, m.BodySerial, m.Orientation, m.Flash)
		}
		for _, q := range s.Sequences {
			fmt.Fprintln(h, q.Frames, q.What)
		}
		fmt.Fprintln(h, s.Clean)
	}
	if got, want := h.Sum64(), uint64(0xa1d84963b56c4e59); got != want {
		t.Errorf("the shoots differ from those of old: %#x, want %#x", got, want)
	}
}
