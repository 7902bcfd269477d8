package main

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"

	"prestrike/audit/board"
	"prestrike/audit/report"
)

// states are one of each phase, with long texts.
func states() []board.State {
	at := time.Date(2026, 3, 4, 14, 2, 7, 0, time.UTC)
	room := 1.4
	var list []board.State
	for phase := board.Idle; phase <= board.Lost; phase++ {
		s := board.State{
			Phase: phase, At: at, Do: "inspect the two frames at 100 %; if the camera or the subject moved, fasten it and shoot the sequence again", Room: &room,
			Last: &board.Frame{Path: "DCIM/100BXCAM/BX1_0027.JPG", Came: at.Add(-3 * time.Second)},
		}
		if phase != board.Idle {
			s.Sequence = &board.Sequence{Key: "a", ID: "1.14", Kind: "focus", Frames: 127, Expected: 250}
			s.Findings = []board.Finding{{Key: "a", Sequence: "1.14", Title: "Picture jumps", Message: "the picture jumps between 0011 and 0012 by 12 px\x1b[2J"}}
		} else {
			s.Room = nil
		}
		list = append(list, s)
	}
	return list
}

// A board fits every screen, whatever it shows: as many rows as the screen has and no
// row wider, with the time of day in the last one.
func TestBoardFitsTheScreen(t *testing.T) {
	for _, s := range states() {
		for _, width := range []int{1, 20, 60, 80, 120, 200} {
			for _, height := range []int{1, 2, 5, 10, 24, 50, 100} {
				rows := boardRows(&s, width, height)
				if len(rows) != height {
					t.Errorf("%s on %d x %d: %d rows", s.Phase, width, height, len(rows))
				}
				for _, r := range rows {
					if n := r.left + report.Columns(r.text); n > width && width >= 60 {
						t.Errorf("%s on %d x %d: a row of %d columns: %q", s.Phase, width, height, n, r.text)
					}
				}
				if width >= 60 && !strings.Contains(rows[len(rows)-1].text, "14:02:07") {
					t.Errorf("%s on %d x %d: the last row is %q", s.Phase, width, height, rows[len(rows)-1].text)
				}
			}
		}
	}
}

// From 60 columns and 24 rows on, the word stands there in large letters, and what to do
// below: without colours, too.
func TestBoardIsReadWithoutColour(t *testing.T) {
	for _, s := range states() {
		for _, width := range []int{60, 80, 200} {
			var big []string
			text := ""
			for _, r := range boardRows(&s, width, 24) {
				if r.filled {
					big = append(big, r.text)
				} else {
					text += r.text + " "
				}
			}
			word := boardWords[s.Phase]
			if len(big) == 0 || !strings.Contains(strings.Join(big, "\n"), strings.Join(spell(word, len(big[0])/(len(word)*6-1), 1)[:1], "")) {
				t.Errorf("%d columns: %q is not spelled in\n%s", width, word, strings.Join(big, "\n"))
			}
			if !strings.Contains(text, "Inspect the two frames at 100 %") {
				t.Errorf("%s on %d columns: what to do does not stand there: %q", s.Phase, width, text)
			}
		}
	}
	var screen bytes.Buffer
	c := &console{err: &screen, errTerminal: true, plain: true}
	b := &bigBoard{c: c, plain: true}
	c.putUp(b)
	for _, s := range states() {
		b.show(&s)
	}
	c.takeDown()
	for _, colour := range []string{"\x1b[3", "\x1b[4", "\x1b[9", "\x1b[10"} {
		if strings.Contains(strings.ReplaceAll(screen.String(), "\x1b[?1049", ""), colour) {
			t.Errorf("a board without colours has %q", colour)
		}
	}
	if strings.Contains(screen.String(), "\x1b[2J") {
		t.Error("what a file's name holds reaches the terminal")
	}
}

// What is written while the board stands is there when it is taken down, in its order.
func TestBoardHoldsWhatIsWritten(t *testing.T) {
	var screen bytes.Buffer
	c := &console{out: &screen, err: &screen, errTerminal: true, outTerminal: true}
	b := &bigBoard{c: c}
	c.putUp(b)
	for _, err := range []error{c.print([]byte("good     1.1\n"))} {
		if err != nil {
			t.Fatal(err)
		}
	}
	c.remark("tethered is back")
	c.showLine("a line")
	if got := screen.String(); got != enterBoard {
		t.Errorf("while it stands %q", got)
	}
	c.takeDown()
	c.takeDown()
	if got, want := screen.String(), fmt.Sprint(enterBoard, leaveBoard, "good     1.1\n", "prestrike: tethered is back\n"); got != want {
		t.Errorf("in the end %q, want %q", got, want)
	}
}
