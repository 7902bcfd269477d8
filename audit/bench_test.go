package audit_test

import (
	"fmt"
	"testing"
	"time"

	"prestrike/audit"
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

// A watch judges again after each file: the time of one such pass, with frames there
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
				if _, err := live.Look(b.Context(), now, false, false); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
