package main

import (
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/board"
	"prestrike/audit/shoot"
	"prestrike/rules"
)

// Where the disk has room for fewer than two more sequences like the open one, that is
// reported once, and again only after there was more. An answer that does not come holds
// nothing up.
func TestWatchWarnsOfLittleRoom(t *testing.T) {
	w := watchByHand(t, &audit.Options{Rules: rules.All(), Pixels: audit.PixelsOff, PlannedFrames: 10, Expected: rules.ExpectedFrames})
	w.room = make(chan int64, 1)
	answers := make(chan int64)
	w.free = func(string) (int64, error) { return <-answers, nil }
	clock := time.Now()
	w.c.now = func() time.Time { return clock }
	w.caught = true
	var last *board.State
	w.shows = append(w.shows, func(s *board.State) { last = s })
	size := int64(0)
	for n := 2; n < 8; n++ {
		path := w.copy(n, 1, time.Minute)
		w.hand(path)
		size += shoot.ReadFile(t.Context(), path, "").Size
	}
	if _, err := w.live.Look(t.Context(), clock, false, false); err != nil {
		t.Fatal(err)
	}
	whole := size * 10 / 6
	w.show(true) // nobody answers yet
	for _, free := range []struct {
		bytes int64
		warns int // so far
	}{{whole * 3, 0}, {whole * 3 / 2, 1}, {whole * 3 / 2, 1}, {whole * 3, 1}, {whole / 2, 2}} {
		answers <- free.bytes
		for len(w.room) == 0 { // it is on its way
			time.Sleep(time.Millisecond)
		}
		clock = clock.Add(askedEvery)
		w.show(true)
		if got := strings.Count(w.remarks.String(), "the disk of the folder has"); got != free.warns {
			t.Fatalf("%d bytes free of %d for a sequence: %d warnings, want %d: %s", free.bytes, whole, got, free.warns, w.remarks.String())
		}
		if last.Room == nil {
			t.Fatal("no room is known")
		}
	}
	if !strings.Contains(w.remarks.String(), "room for one more sequence like 1.1: make room, or take another disk") || !strings.Contains(w.remarks.String(), "no room for one more") {
		t.Errorf("remarks %q", w.remarks.String())
	}
	close(answers)
}
