package audit_test

import (
	"fmt"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/audittest"
)

// many returns the files of made-up shoots, n at least.
func many(n int) []*audit.File {
	var files []*audit.File
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
				audit.Group(files, &audit.Options{})
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/frame")
		})
	}
}

// A watch looks again after each file: the time of one look, with frames there
// already.
func BenchmarkLiveLook(b *testing.B) {
	for _, n := range []int{100, 1000, 10000} {
		files := many(n)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			live := audit.NewLive(&audit.Options{})
			now := time.Now()
			for _, f := range files {
				live.Put(f.Path, f, now)
			}
			for b.Loop() {
				live.Put(files[0].Path, files[0], now)
				if _, err := live.Look(now, false, false); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
