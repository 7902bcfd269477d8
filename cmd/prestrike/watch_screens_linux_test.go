package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A watchScreens is a watch on a terminal whose screens are kept.
type watchScreens struct {
	*watchRun
	master *os.File
	width  int
	kept   strings.Builder
	seen   int // lines of the screen that were kept before
}

// types writes to the keyboard.
func (w *watchScreens) types(text string) {
	w.t.Helper()
	if _, err := w.master.WriteString(text); err != nil {
		w.t.Fatal(err)
	}
}

// line waits until the line that moves begins with a text a second later, and keeps what is
// new on the screen.
func (w *watchScreens) line(what, begins string) {
	w.t.Helper()
	w.pass(time.Second)
	w.mu.Lock()
	begins = w.clock.Format("15:04:05") + "  " + begins
	w.mu.Unlock()
	w.await(fmt.Sprintf("%s: no line begins with %q", what, begins), func() bool {
		lines := shownOn(w.width, w.out.text.String()).lines()
		return strings.HasPrefix(lines[len(lines)-1], begins)
	})
	w.keep(what)
}

// keep adds what is new on the screen to what was kept. The line that moves stands last on
// it, and nowhere else.
func (w *watchScreens) keep(what string) {
	w.t.Helper()
	shown := shownOn(w.width, w.out.String())
	lines := shown.lines()
	for i, line := range lines {
		if _, err := time.Parse("15:04:05", line[:min(len(line), len("15:04:05"))]); err == nil && i != len(lines)-1 {
			w.t.Errorf("%d columns, %s: the line that moved was left standing: %q", w.width, what, line)
		}
	}
	for _, line := range shown.wrapped {
		w.t.Errorf("%d columns, %s: a line is wider: %q", w.width, what, line)
	}
	fmt.Fprintf(&w.kept, "\n-- %s\n%s\n", what, strings.Join(lines[min(w.seen, len(lines)):], "\n"))
	w.seen = len(lines) - 1
}

// TestWatchScreens drives a watch on terminals of three widths through what it writes, with
// keys pressed in between, and compares the screens with the goldens. UPDATE=1 rewrites them.
func TestWatchScreens(t *testing.T) {
	golden, err := filepath.Abs(filepath.Join("..", "..", "testdata", "golden"))
	if err != nil {
		t.Fatal(err)
	}
	for _, width := range []int{60, 80, 120} {
		t.Run(fmt.Sprint(width), func(t *testing.T) {
			compareGolden(t, filepath.Join(golden, fmt.Sprintf("watch_%d.txt", width)), watchedOn(t, width))
		})
	}
}

// watchedOn returns the screens of a watch on a terminal of a width.
func watchedOn(t *testing.T, width int) string {
	run, master := setOnTerminal(t, width, func(w *watchRun) {
		w.clock = time.Date(2026, time.March, 4, 10, 15, 0, 0, time.UTC)
		t.Chdir(filepath.Dir(w.in))
		if err := os.Rename(w.in, "tethered"); err != nil {
			t.Fatal(err)
		}
		w.in = "tethered" // a name of one length
	}, "--pixels", "off", "--planned-frames", "10", "--poll", "50ms")
	w := &watchScreens{watchRun: run, master: master, width: width}
	move := func(from, to string) {
		if err := os.Rename(from, to); err != nil {
			t.Fatal(err)
		}
	}

	w.line("an empty folder", "waiting for frames")
	w.types("\n")
	w.line("Enter before the first frame", "waiting for frames")
	w.feed(good[:7]...)
	w.line("seven of ten frames", "1.1 focus: shooting 7 of 10")
	w.pass(10 * time.Second)
	w.line("no more come", "1.1 focus: stalled at 7 of 10")
	w.feed(good[7:]...)
	w.line("they come", "good: 1.1")
	w.feed("0013", "0014", "0015", "0016", "0019", "0020", "0021", "0022")
	w.line("two are missing", "1.2 focus: shooting 8 of 10")
	w.types("\n")
	w.line("Enter", "shoot 1.2 again")
	w.types("what is typed by mistake\n")
	w.wait(&w.out, "silenced")
	w.line("Enter behind words", "shoot 1.2 again")
	w.feed("0023", "0024", "0025", "0026", "0027", "0028", "0029", "0030", "0031", "0032")
	w.line("shot again", "good: 1.3")
	w.feed("0038", "0039", "0040", "0041", "0042", "0043", "0044", "0046", "0047")
	w.line("a frame is late", "1.4 focus: shooting 9 of 10")
	w.types("\n")
	w.line("Enter without it", "shoot 1.4 again")
	w.feed("0045")
	w.line("it has come", "good: 1.4")
	move("tethered", "away")
	w.wait(&w.out, "cannot be read for now")
	w.line("the folder is gone", "no folder")
	move("away", "tethered")
	w.wait(&w.out, "is back")
	w.line("the folder is back", "good: 1.4")
	w.types("\x03")
	w.wait(&w.out, "^C") // as the terminal shows it
	if status := w.end(); status != statusReshoot {
		t.Errorf("status %d, want %d", status, statusReshoot)
	}
	w.await("the report does not end", func() bool { return strings.HasSuffix(shownOn(w.width, w.out.text.String()).String(), "1.4.\n") })
	w.keep("Ctrl-C")
	return w.kept.String()
}
