package main

import (
	"time"

	"prestrike/audit/board"
	"prestrike/audit/report"
)

// show brings what is shown and heard of the set up to date: every second, so that a
// program that has died is seen, and at once where something happened.
func (w *watching) show(happened bool) {
	now := w.now()
	second, result := now.Truncate(time.Second), w.live.Result()
	if !happened && second.Equal(w.shown) && result == w.shownOf {
		return
	}
	w.shown, w.shownOf = second, result
	w.askRoom(now)
	state := w.set.State(now)
	w.alerts.sound(w.set.Sound(now))
	if text := state.RoomSentence(); text != w.scarce {
		w.scarce = text
		if text != "" {
			w.say("%s: make room, or take another disk", text)
			w.alerts.sound(board.SoundInspect)
		}
	}
	for _, show := range w.shows {
		show(&state)
	}
}

// showLine shows the state in one line that is written over.
func (w *watching) showLine(state *board.State) {
	if !w.caught {
		return // how far the reading is stands there
	}
	w.c.showLine(report.LiveLine(state, w.c.lineColumns()))
}

// askedEvery is how often the disk is asked for its free space.
const askedEvery = 10 * time.Second

// askRoom has the free space of the folder's disk asked for, beside the watch, as a share
// may not answer.
func (w *watching) askRoom(now time.Time) {
	select {
	case bytes := <-w.room:
		w.asking = false
		w.set.Free(bytes)
	default:
	}
	if w.free == nil || w.asking || !w.asked.IsZero() && now.Sub(w.asked) < askedEvery {
		return
	}
	w.asking, w.asked = true, now
	go func() {
		defer w.c.guard()
		bytes, err := w.free(w.folder)
		if err != nil {
			bytes = -1
		}
		w.room <- bytes
	}()
}
