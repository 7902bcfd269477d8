package main

import (
	"bytes"
	"fmt"
	"io"
	"strings"

	"prestrike/audit/board"
	"prestrike/audit/report"
)

// A bigBoard is the terminal as a board: a word and numbers to be read from across the
// room, and below what to do. What else is written waits until it is taken down.
type bigBoard struct {
	c     *console
	plain bool
	held  []heldText
}

// heldText is what was written while the board stood, and where to.
type heldText struct {
	to   io.Writer
	text []byte
}

// The sequences of a terminal (ECMA-48, and the private modes of xterm that its
// successors share).
const (
	enterBoard = "\x1b[?1049h\x1b[?25l" // another screen, no cursor
	leaveBoard = "\x1b[0m\x1b[?25h\x1b[?1049l"
	toTop      = "\x1b[H"
	eraseBelow = "\x1b[0m\x1b[J"
	inverse    = "\x1b[7m"
	upright    = "\x1b[27m"
)

// putUp puts a board up on the terminal of the remarks.
func (c *console) putUp(b *bigBoard) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.wipe()
	c.board = b
	_, _ = io.WriteString(c.err, enterBoard) // there is nowhere to report that it failed
}

// takeDown leaves the terminal as it was, with all that was written meanwhile. It may be
// called more than once, and from any goroutine.
func (c *console) takeDown() {
	c.mu.Lock()
	defer c.mu.Unlock()
	b := c.board
	if b == nil {
		return
	}
	c.board = nil
	_, _ = io.WriteString(c.err, leaveBoard)
	for _, h := range b.held {
		_, _ = h.to.Write(h.text)
	}
	b.held = nil
}

// holds reports whether what is written to w must wait for the board to be taken down,
// and has it wait. c is locked.
func (c *console) holds(w io.Writer, terminal bool, text []byte) bool {
	if c.board == nil || !terminal {
		return false
	}
	c.board.held = append(c.board.held, heldText{w, bytes.Clone(text)})
	return true
}

// show draws the state over what stood there.
func (b *bigBoard) show(state *board.State) {
	width, height := b.c.errSize()
	var out bytes.Buffer
	out.WriteString(toTop)
	style := styleOf(state.Phase, b.plain)
	for i, row := range boardRows(state, width, height) {
		if i > 0 {
			out.WriteString("\r\n")
		}
		row.write(&out, width, style)
	}
	out.WriteString(eraseBelow)
	b.c.mu.Lock()
	defer b.c.mu.Unlock()
	if b.c.board == b {
		_, _ = b.c.err.Write(out.Bytes())
	}
}

// A boardStyle is how a board is filled, and how what is filled in its letters.
type boardStyle struct{ ground, letter string }

// styleOf returns the style of a phase. Colours only support the word; without them
// the board is bright where something is to be done, and dark where not.
func styleOf(p board.Phase, plain bool) boardStyle {
	if plain {
		if p == board.Idle || p == board.Shooting || p == board.Good {
			return boardStyle{upright, inverse}
		}
		return boardStyle{inverse, upright}
	}
	ground, dark := "\x1b[97;44m", "\x1b[107m" // white on blue
	switch p {
	case board.Good:
		ground, dark = "\x1b[30;42m", "\x1b[40m" // black on green
	case board.Inspect, board.Stalled:
		ground, dark = "\x1b[30;43m", "\x1b[40m" // black on yellow
	case board.Again:
		ground, dark = "\x1b[97;41m", "\x1b[107m" // white on red
	case board.Lost:
		ground, dark = "\x1b[97;45m", "\x1b[107m" // white on magenta
	}
	return boardStyle{ground, dark}
}

// A boardRow is a row of the board: text, or a row of its letters.
type boardRow struct {
	text   string
	filled bool // '#' in the text is filled
	left   int  // columns before it
}

// write writes the row to its full width.
func (r *boardRow) write(out *bytes.Buffer, width int, style boardStyle) {
	out.WriteString("\x1b[0m" + style.ground + strings.Repeat(" ", r.left))
	if !r.filled {
		out.WriteString(r.text)
	} else {
		in := false
		for _, c := range r.text {
			if fills := c == '#'; fills != in {
				in = fills
				if in {
					out.WriteString(style.letter)
				} else {
					out.WriteString(style.ground)
				}
			}
			out.WriteByte(' ')
		}
		out.WriteString(style.ground)
	}
	out.WriteString(strings.Repeat(" ", max(0, width-r.left-report.Columns(r.text))))
}

// boardWords are the words that a board shows.
var boardWords = [...]string{
	board.Idle: "WAITING", board.Good: "GOOD", board.Shooting: "SHOOTING", board.Inspect: "INSPECT",
	board.Stalled: "STALLED", board.Again: "AGAIN", board.Lost: "NO FOLDER",
}

// boardNumbers returns the numbers that a board shows below its word: how many frames of
// how many, or which sequence.
func boardNumbers(s *board.State) string {
	q := s.Sequence
	switch {
	case q == nil || s.Phase == board.Lost || s.Phase == board.Idle:
		return ""
	case s.Phase != board.Shooting && s.Phase != board.Stalled:
		return q.ID
	case q.Expected > 0:
		return fmt.Sprintf("%d OF %d", q.Frames, q.Expected)
	}
	return fmt.Sprint(q.Frames)
}

const (
	boardMargin = 1 // columns and rows around what a board shows
	mostWide    = 2 // of a letter's columns to its rows
)

// boardRows lays a state out on a screen of a width and a height: as many rows as it is
// high. The word and the numbers are as large as they can be, and left out of the letters
// where they do not fit; what to do and the time of day always stand there.
func boardRows(s *board.State, width, height int) []boardRow {
	inner := max(width-2*boardMargin, 1)
	var below []boardRow
	for _, line := range report.StateLines(s, inner) {
		below = append(below, boardRow{text: line, left: boardMargin})
	}
	foot := boardRow{text: report.StateFoot(s, inner), left: boardMargin}
	big := []string{boardWords[s.Phase]}
	if n := boardNumbers(s); n != "" {
		big = append(big, n)
	}
	// Below the letters a blank row, what is most important, and the foot.
	const least = 3
	room := max(0, height-boardMargin-2-min(len(below), least))
	var rows []boardRow
	rows = append(rows, make([]boardRow, min(boardMargin, height))...)
	for i, word := range big {
		high := room / ((glyphRows + 1) * (len(big) - i))
		columns := len(word)*(glyphColumns+1) - 1
		wide := min(inner/columns, mostWide*high)
		if high = min(high, wide); high < 1 {
			rows = append(rows, boardRow{text: word, left: boardMargin})
			room = max(0, room-1)
			continue
		}
		for _, line := range spell(word, wide, high) {
			rows = append(rows, boardRow{text: line, filled: true, left: boardMargin})
		}
		rows = append(rows, boardRow{})
		room -= glyphRows*high + 1
	}
	rows = append(rows, below...)
	rows = rows[:min(len(rows), max(height-1, 0))]
	for len(rows) < height-1 {
		rows = append(rows, boardRow{})
	}
	return append(rows, foot)
}
