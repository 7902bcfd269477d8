package shoot_test

import (
	"fmt"
	"testing"

	"prestrike/audit/audittest"
	"prestrike/audit/shoot"
)

// many returns the files of made-up shoots, n at least.
func many(n int) []*shoot.File {
	var files []*shoot.File
	for seed := uint64(0); len(files) < n; seed++ {
		for _, f := range audittest.Random(seed).Files {
			// Each shoot on a day of its own.
			at, _ := f.Meta.Captured.Get()
			at.Wall = at.Wall.AddDate(0, 0, int(seed))
			f.Path = fmt.Sprintf("%05d/%s", seed, f.Path)
			files = append(files, f)
		}
	}
	return files[:n]
}

// Time and memory are to grow in step with the frames.
func BenchmarkGroup(b *testing.B) {
	for _, n := range []int{1000, 10000, 100000} {
		files := many(n)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				shoot.Group(files, &shoot.Options{})
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/frame")
		})
	}
}
