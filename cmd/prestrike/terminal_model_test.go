package main

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"prestrike/audit/report"
)

// A terminalModel is what a terminal shows of all that was written to it: as many of the
// control functions of ECMA-48 as prestrike writes, on a screen without an end.
type terminalModel struct {
	width   int
	rows    [][]rune
	x, y    int
	wrapped []string // lines that went on in the next, being wider than the terminal
}

// control is a control sequence of ECMA-48, or what a mode is set with.
var control = regexp.MustCompile(`^\x1b\[\??([0-9;]*)([A-Za-z])`)

// besideWide fills the second column of a wide letter.
const besideWide = rune(-1)

// shownOn returns what a terminal of a width shows of an output.
func shownOn(width int, output string) *terminalModel {
	m := &terminalModel{width: width, rows: [][]rune{nil}}
	for output != "" {
		if c := control.FindStringSubmatch(output); c != nil {
			n, _ := strconv.Atoi(c[1]) // none is 0
			m.control(c[2], n)
			output = output[len(c[0]):]
			continue
		}
		r := []rune(output)[:1]
		output = output[len(string(r)):]
		m.letter(r[0])
	}
	return m
}

// control does what a control sequence asks for.
func (m *terminalModel) control(final string, n int) {
	switch final {
	case "A": // cursor up
		m.y = max(0, m.y-max(n, 1))
	case "J": // erase from the cursor to the end of the screen
		m.rows = m.rows[:m.y+1]
		m.erase()
	case "K": // erase from the cursor to the end of the line
		m.erase()
	case "m": // colours
	default:
		panic("the model of the terminal does not know " + final)
	}
}

func (m *terminalModel) erase() { m.rows[m.y] = m.rows[m.y][:min(m.x, len(m.rows[m.y]))] }

func (m *terminalModel) letter(r rune) {
	switch r {
	case '\a':
		return
	case '\r':
		m.x = 0
		return
	case '\n':
		m.down()
		return
	}
	columns := report.Columns(string(r))
	if m.x+columns > m.width {
		m.wrapped = append(m.wrapped, line(m.rows[m.y]))
		m.down()
		m.x = 0
	}
	for len(m.rows[m.y]) < m.x+columns {
		m.rows[m.y] = append(m.rows[m.y], ' ')
	}
	if end := m.x + columns; end < len(m.rows[m.y]) && m.rows[m.y][end] == besideWide {
		m.rows[m.y][end] = ' ' // half a letter is none
	}
	for i := range columns {
		m.rows[m.y][m.x+i] = besideWide
	}
	if columns > 0 {
		m.rows[m.y][m.x] = r
	}
	m.x += columns
}

func (m *terminalModel) down() {
	m.y++
	if m.y == len(m.rows) {
		m.rows = append(m.rows, nil)
	}
}

func line(row []rune) string {
	return strings.TrimRight(string(slices.DeleteFunc(slices.Clone(row), func(r rune) bool { return r == besideWide })), " ")
}

// lines returns those of the screen, down to the last one with text.
func (m *terminalModel) lines() []string {
	var list []string
	for _, row := range m.rows {
		list = append(list, line(row))
	}
	for len(list) > 1 && list[len(list)-1] == "" {
		list = list[:len(list)-1]
	}
	return list
}

// String returns what stands on the screen.
func (m *terminalModel) String() string { return strings.Join(m.lines(), "\n") + "\n" }

// TestTerminalModel holds that the model shows what a terminal would.
func TestTerminalModel(t *testing.T) {
	for output, want := range map[string]string{
		"reading 10\rreading 9 \r":         "reading 9\n",
		"one\r\ntwo\r\n":                   "one\ntwo\n",
		"a line\r\n\x1b[A\r\x1b[Jnext\r\n": "next\n",
		"above\r\na line\r\x1b[A\x1b[K":    "\na line\n",
		"\x1b[1;31mreshoot\x1b[0m 1.2\a":   "reshoot 1.2\n",
		"最後のコマ\r*":                         "* 後のコマ\n",
	} {
		if got := shownOn(12, output); got.String() != want || len(got.wrapped) > 0 {
			t.Errorf("%q shows %q, want %q; wrapped %q", output, got, want, got.wrapped)
		}
	}
	if got := shownOn(4, "1234\r\n12345"); got.String() != "1234\n1234\n5\n" || len(got.wrapped) != 1 {
		t.Errorf("a line that is too wide shows %q, wrapped %q", got, got.wrapped)
	}
}
