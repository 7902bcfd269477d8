package board_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/board"
	"prestrike/exifread"
	"prestrike/rules"
)

// A watch asks for the state every second where nothing comes: the time of one such, with
// 50,000 frames of many days there.
func BenchmarkStateIdle(b *testing.B) {
	live := audit.NewLive(&audit.Options{Rules: rules.All(), Expected: rules.ExpectedFrames})
	now := time.Now()
	var text strings.Builder
	after := "time=2026-03-04T09:00:00.00 t=0.8 f=8 iso=100 mm=90 serial=4711"
	for i := range 10 {
		fmt.Fprintf(&text, "BX1_%04d..%04d.NEF every 1.3s %s\n", 50*i+1, 50*i+50, after)
		after = "after 60s"
	}
	for day := range 100 {
		session, err := audittest.Read(strings.NewReader(text.String()))
		if err != nil {
			b.Fatal(err)
		}
		for _, f := range session.Files {
			at, _ := f.Meta.Captured.Get()
			at.Wall = at.Wall.AddDate(0, 0, day)
			f.Meta.Captured = exifread.Of(at)
			f.Path = fmt.Sprintf("%05d/%s", day, f.Path)
			live.Put(f.Path, f, now)
		}
	}
	if _, err := live.Look(b.Context(), now, false, true); err != nil {
		b.Fatal(err)
	}
	set := board.New(live)
	set.Start(now)
	for b.Loop() {
		set.State(now)
	}
}
