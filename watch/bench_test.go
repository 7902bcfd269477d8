package watch

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"
)

// fill makes n small files in folders of 100, older than a settling time.
func fill(b *testing.B, dir string, n int) {
	b.Helper()
	old := time.Now().Add(-time.Hour)
	for i := range n {
		sub := filepath.Join(dir, fmt.Sprintf("%05d", i/100))
		if i%100 == 0 {
			if err := os.MkdirAll(sub, 0o755); err != nil {
				b.Fatal(err)
			}
		}
		path := filepath.Join(sub, fmt.Sprintf("BX1_%06d.NEF", i))
		if err := os.WriteFile(path, []byte{1}, 0o644); err != nil {
			b.Fatal(err)
		}
		if err := os.Chtimes(path, old, old); err != nil {
			b.Fatal(err)
		}
	}
}

// begin watches dir and returns once everything in it has been reported.
func begin(b *testing.B, dir string, opts Options) *Watcher {
	b.Helper()
	w, err := New(dir, opts)
	if err != nil {
		b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() { w.Run(ctx); close(ended) }()
	b.Cleanup(func() { cancel(); <-ended })
	for e := range w.Events() {
		if e.Kind == CaughtUp {
			break
		}
	}
	return w
}

// BenchmarkDelivery measures the time from the last byte of a file to its being
// handed out, less the settling time, as the metrics ms/file and worst-ms.
func BenchmarkDelivery(b *testing.B) {
	for _, files := range []int{0, 50_000} {
		for _, poll := range []time.Duration{0, DefaultPoll} {
			name := fmt.Sprintf("files=%d/events", files)
			if poll > 0 {
				name = fmt.Sprintf("files=%d/poll=%v", files, poll)
			}
			b.Run(name, func(b *testing.B) {
				dir := b.TempDir()
				fill(b, dir, files)
				opts := Options{Settle: 100 * time.Millisecond, Poll: poll}
				w := begin(b, dir, opts)
				var sum, worst time.Duration
				n := 0
				for b.Loop() {
					path := filepath.Join(dir, fmt.Sprintf("new%d.NEF", n))
					n++
					if err := os.WriteFile(path, make([]byte, 1<<20), 0o644); err != nil {
						b.Fatal(err)
					}
					done := time.Now()
					for e := range w.Events() {
						if e.Path == path {
							break
						}
					}
					late := time.Since(done) - opts.Settle
					sum += late
					worst = max(worst, late)
				}
				b.ReportMetric(sum.Seconds()*1000/float64(n), "ms/file")
				b.ReportMetric(worst.Seconds()*1000, "worst-ms")
			})
		}
	}
}

// BenchmarkStart measures the time until all files that are there have been
// handed out.
func BenchmarkStart(b *testing.B) {
	dir := b.TempDir()
	fill(b, dir, 50_000)
	for b.Loop() {
		begin(b, dir, Options{})
	}
}

// BenchmarkIdle measures what a watch costs when nothing happens in a tree of
// 50,000 files: one iteration is a second, so run it with -benchtime 120x to see
// every kind of check at least once. The metric %core is the share of one core,
// heap-B/file the memory that is kept.
func BenchmarkIdle(b *testing.B) {
	const files = 50_000
	for _, poll := range []time.Duration{0, DefaultPoll} {
		name := "events"
		if poll > 0 {
			name = "poll=" + poll.String()
		}
		b.Run(name, func(b *testing.B) {
			dir := b.TempDir()
			fill(b, dir, files)
			var before, after runtime.MemStats
			runtime.GC()
			runtime.ReadMemStats(&before)
			begin(b, dir, Options{Poll: poll})
			time.Sleep(2 * racy) // until no folder is listed for having been new
			runtime.GC()
			runtime.ReadMemStats(&after)
			cpu, wall := cpuTime(), time.Now()
			b.ResetTimer()
			for range b.N {
				time.Sleep(time.Second)
			}
			b.ReportMetric(100*(cpuTime()-cpu).Seconds()/time.Since(wall).Seconds(), "%core")
			b.ReportMetric(float64(after.HeapAlloc-before.HeapAlloc)/files, "heap-B/file")
		})
	}
}
