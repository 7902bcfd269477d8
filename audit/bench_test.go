package audit_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules"
)

// many returns the files of shoots of 500 frames in 10 sequences, one a day, n in all.
func many(b *testing.B, n int) []*shoot.File {
	b.Helper()
	var text strings.Builder
	after := "time=2026-03-04T09:00:00.00 t=0.8 f=8 iso=100 mm=90 serial=4711"
	for i := range 10 {
		fmt.Fprintf(&text, "DCIM/100BXCAM/BX1_%04d..%04d.NEF every 1.3s %s\n", 50*i+1, 50*i+50, after)
		after = "after 60s"
	}
	var files []*shoot.File
	for day := 0; len(files) < n; day++ {
		session, err := audittest.Read(strings.NewReader(text.String()))
		if err != nil {
			b.Fatal(err)
		}
		for _, f := range session.Files {
			at, _ := f.Meta.Captured.Get()
			at.Wall = at.Wall.AddDate(0, 0, day)
			f.Meta.Captured = exifread.Of(at)
			f.Path = fmt.Sprintf("%05d/%s", day, f.Path)
			files = append(files, f)
		}
	}
	return files[:n]
}

// filled is a live audit of files that were reported, with all rules.
func filled(b *testing.B, files []*shoot.File) (*audit.Live, time.Time) {
	b.Helper()
	live := audit.NewLive(&audit.Options{Rules: rules.All(), Expected: rules.ExpectedFrames})
	now := time.Now()
	for _, f := range files {
		live.Put(f.Path, f, now)
	}
	if _, err := live.Look(b.Context(), now, false, true); err != nil {
		b.Fatal(err)
	}
	return live, now
}

// A watch judges again after each file: the time of one such pass, with frames of many
// days there already.
func BenchmarkLiveLook(b *testing.B) {
	for _, n := range []int{100, 1000, 10000, 100000} {
		files := many(b, n)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			live, now := filled(b, files)
			last := files[len(files)-1]
			for b.Loop() {
				live.Remove(last.Path)
				live.Put(last.Path, last, now)
				if _, err := live.Look(b.Context(), now, false, false); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// A watch looks five times a second where nothing comes: the time of one such look.
func BenchmarkLiveIdle(b *testing.B) {
	live, now := filled(b, many(b, 50000))
	for b.Loop() {
		if _, err := live.Look(b.Context(), now, false, false); err != nil {
			b.Fatal(err)
		}
	}
}
