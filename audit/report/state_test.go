package report

import (
	"testing"
	"time"

	"prestrike/audit/board"
)

// Where the line that moves is narrow, it leaves out whole parts, and breaks off in none.
func TestLiveLineLeavesOutWholeParts(t *testing.T) {
	at := time.Date(2026, time.March, 4, 10, 15, 7, 0, time.UTC)
	cadence, room := 1.3, 1.5
	last := &board.Frame{Path: "DCIM/100BXCAM/BX1_0149.NEF", Came: at.Add(-2 * time.Second)}
	shooting := &board.State{
		Phase: board.Shooting, At: at, Last: last, Room: &room,
		Sequence: &board.Sequence{ID: "1.4", Kind: "focus", Frames: 27, Expected: 40, Cadence: &cadence, Open: true},
	}
	again := &board.State{
		Phase: board.Again, At: at, Last: last, Do: "shoot the sequence again, and give the flash more time",
		Sequence: &board.Sequence{ID: "1.4"},
	}
	next := &board.State{Phase: board.Good, At: at, Last: last, Do: "next is keel", Sequence: &board.Sequence{ID: "1.4"}}
	for _, test := range []struct {
		state *board.State
		width int
		want  string
	}{
		{shooting, 200, "10:15:07  1.4 focus: shooting 27 of 40, every 1.3 s, last BX1_0149.NEF 2 s ago, the disk of the folder has room for one more sequence like 1.4"},
		{shooting, 125, "10:15:07  1.4 focus: shooting 27 of 40, last frame 2 s ago, the disk of the folder has room for one more sequence like 1.4"},
		{shooting, 102, "10:15:07  1.4 focus: shooting 27 of 40, the disk of the folder has room for one more sequence like 1.4"},
		{shooting, 79, "10:15:07  1.4 focus: shooting 27 of 40, every 1.3 s, last BX1_0149.NEF 2 s ago"},
		{shooting, 59, "10:15:07  1.4 focus: shooting 27 of 40, last frame 2 s ago"},
		{shooting, 40, "10:15:07  1.4 focus: shooting 27 of 40"},
		{shooting, 20, "10:15:07  1.4 focus:"},
		{again, 200, "10:15:07  shoot 1.4 again, last BX1_0149.NEF 2 s ago: shoot the sequence again, and give the flash more time"},
		{again, 90, "10:15:07  shoot 1.4 again: shoot the sequence again, and give the flash more time"},
		{again, 59, "10:15:07  shoot 1.4 again, last BX1_0149.NEF 2 s ago"},
		{next, 59, "10:15:07  good: 1.4; next is keel, last frame 2 s ago"},
	} {
		if got := LiveLine(test.state, test.width); got != test.want {
			t.Errorf("%d columns: %q\nwant %q", test.width, got, test.want)
		}
	}
}
