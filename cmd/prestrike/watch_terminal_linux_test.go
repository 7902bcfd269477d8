package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"prestrike/audit/pictures/picturestest"
	"prestrike/audit/pixels/pixelstest"

	"golang.org/x/term"
)

// setOnTerminal watches a folder from a pseudo-terminal. All that it shows is in out; its
// bells do not wait for each other.
func setOnTerminal(t *testing.T, width int, prepare func(*watchRun), args ...string) (w *watchRun, master *os.File) {
	t.Helper()
	master, terminal := openTerminal(t, width, 24)
	w = startWatchOn(t, prepare, func(w *watchRun, c *console) {
		c.in, c.out, c.err = terminal, terminal, terminal
		c.inTerminal, c.outTerminal, c.errTerminal = true, true, true
		c.width, c.errWidth, c.plain = width, width, true
		c.size = func() (int, int, error) { return term.GetSize(int(terminal.Fd())) }
		c.sleep = func(context.Context, time.Duration) {}
		go func() { _, _ = io.Copy(&w.out, master) }() // ends with the terminal
	}, args...)
	return w, master
}

// bells waits until the bell sounded so often in all.
func (w *watchRun) bells(n int) {
	w.t.Helper()
	w.await(fmt.Sprintf("the bell did not sound %d times", n), func() bool { return bytes.Count(w.out.text.Bytes(), []byte("\a")) >= n })
	w.second()
	if got := strings.Count(w.out.String(), "\a"); got != n {
		w.t.Errorf("the bell sounded %d times, want %d:\n%q", got, n, w.out.String())
	}
}

// second has a second pass, and waits for the line that moves.
func (w *watchRun) second() {
	w.t.Helper()
	w.pass(time.Second)
	w.mu.Lock()
	at := w.clock.Format("15:04:05")
	w.mu.Unlock()
	w.wait(&w.out, at)
}

// The scripted shoot: a run stalls, the folder goes and comes back with what came
// meanwhile, and the run closes with its last frame. Each sounds at its moment and in
// its own way, and nothing sounds in between.
func TestWatchOnATerminal(t *testing.T) {
	w, master := setOnTerminal(t, 100, nil, "--poll", "50ms", "--pixels", "off", "--planned-frames", "10")
	w.wait(&w.out, "waiting for frames")
	w.feed(good[:7]...)
	w.wait(&w.out, "1.1 focus: shooting 7 of 10")
	w.second()
	w.pass(10 * time.Second)
	w.wait(&w.out, "stalled at 7 of 10")
	w.bells(4)

	away := w.in + "-away"
	if err := os.Rename(w.in, away); err != nil {
		t.Fatal(err)
	}
	w.wait(&w.out, "no folder")
	w.bells(4 + 6)
	w.pass(20 * time.Second)
	w.bells(4 + 2*6)
	if _, err := master.WriteString("\n"); err != nil {
		t.Fatal(err)
	}
	w.wait(&w.out, "silenced: Enter once more closes the sequence")
	w.pass(time.Minute)
	w.bells(4 + 2*6)

	// A frame comes while nobody can read the folder.
	if err := os.WriteFile(filepath.Join(away, w.frame(good[7])), w.content(good[7]), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(away, w.in); err != nil {
		t.Fatal(err)
	}
	w.wait(&w.out, "is back")
	w.bells(4 + 2*6 + 2)
	w.takes(w.frame(good[7]), len(w.content(good[7])))
	w.feed(good[8:]...)
	w.wait(&w.out, "(closed with 10 frames, as planned)")
	w.bells(4 + 2*6 + 2 + 1)
	if status := w.end(); status != statusGood {
		t.Errorf("status %d, want %d; shown was\n%s", status, statusGood, w.out.String())
	}
}

// Started again on a run that must be shot again, the watch shows that and sounds once.
func TestWatchStartedAgainOnATerminal(t *testing.T) {
	w, _ := setOnTerminal(t, 100, func(w *watchRun) {
		for _, n := range []string{"0013", "0014", "0015", "0016", "0019", "0020", "0021", "0022"} {
			w.write(w.frame(n), w.content(n))
		}
	}, "--pixels", "off")
	w.wait(&w.out, "RESHOOT: shoot 1.1 again")
	w.wait(&w.out, "shoot 1.1 again, last BX1_0022.JPG")
	w.bells(3)
	w.pass(time.Minute)
	w.bells(3)
	// The retake settles it.
	w.feed("0023", "0024", "0025", "0026", "0027", "0028", "0029", "0030", "0031", "0032")
	w.wait(&w.out, "1.2 focus: shooting 10")
	w.pass(10 * time.Second)
	w.wait(&w.out, "good: 1.2")
	w.bells(3 + 1)
	w.end()
}

// In the middle of a stack of 200 frames a dark one sounds with the frame behind it.
func TestWatchFindsTheDarkFrameOfALongStack(t *testing.T) {
	pixelstest.Long(t)
	if testing.Short() {
		t.Skip("renders and inspects 102 pictures")
	}
	scene := pixelstest.Scene{
		Seed: 5, Width: 288, Height: 192, Shape: pixelstest.Relief, Depth: 60, Contrast: 1,
		PSF: 0.6, Breathing: 0.06, Electrons: 40000, Quality: 90,
	}.Build()
	const dark = 100 // the frame that is dark
	shots := pixelstest.Brighten(pixelstest.Run(3, 200, -0.12, 1.12, 0.04), dark-1, 1, -2)[:dark+1]
	rendered := picturestest.Camera{Every: 1300 * time.Millisecond}.Write(t, len(shots), func(i int) []byte { return scene.JPEG(shots[i]) })
	w, _ := setOnTerminal(t, 100, nil, "--planned-frames", "200")
	w.wait(&w.out, "waiting for frames")
	copyFrames := func(from, to int) {
		for n := from; n <= to; n++ {
			name := fmt.Sprintf("BX1_%04d.JPG", n)
			data, err := os.ReadFile(filepath.Join(rendered, name))
			if err != nil {
				t.Fatal(err)
			}
			w.put(name, data)
			w.takes(name, len(data))
		}
	}
	copyFrames(1, dark)
	w.wait(&w.out, fmt.Sprintf("shooting %d of 200", dark))
	w.bells(0)
	copyFrames(dark+1, dark+1)
	w.wait(&w.out, "Dark frames (1.1): frame 0100 is about")
	w.wait(&w.out, "shoot 1.1 again")
	w.bells(3)
	w.end()
}

// The board takes the whole terminal, follows its size, and leaves it as it was.
func TestBigBoardOnATerminal(t *testing.T) {
	w, master := setOnTerminal(t, 60, nil, "--big", "--pixels", "off", "--planned-frames", "10")
	w.wait(&w.out, enterBoard)
	w.wait(&w.out, "Waiting for frames")
	w.feed(good[:7]...)
	w.wait(&w.out, "Shooting 7 of 10")
	resize(t, master, 200, 50)
	w.second()
	w.wait(&w.out, strings.Repeat(" ", 200))
	w.feed(good[7:]...)
	w.wait(&w.out, "Good: 1.1")
	if strings.Contains(w.out.String(), "as planned)") {
		t.Error("a line is written over the board")
	}
	if status := w.end(); status != statusGood {
		t.Errorf("status %d, want %d", status, statusGood)
	}
	w.wait(&w.out, "before the subject leaves")
	_, after, _ := strings.Cut(w.out.String(), leaveBoard)
	if !strings.Contains(after, "with 10 frames, as planned)") || !strings.Contains(after, "GOOD as far as judged") {
		t.Errorf("behind the board stands\n%s", after)
	}
}

// Whatever signal ends or stops the program, the terminal is as it was before.
func TestBigBoardAndSignals(t *testing.T) {
	if testing.Short() {
		t.Skip("several processes")
	}
	for _, s := range []syscall.Signal{syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP, syscall.SIGQUIT, syscall.SIGTSTP} {
		if signal.Ignored(s) {
			t.Logf("%v is ignored here, and so by what is started here", s)
			continue
		}
		master, terminal := openTerminal(t, 80, 24)
		w := &watchRun{t: t}
		w.news.L = &w.mu
		w.out.run = w
		go func() { _, _ = io.Copy(&w.out, master) }() // ends with the terminal
		cmd := exec.CommandContext(t.Context(), "prestrike", "watch", t.TempDir(), "--big", "--pixels", "off")
		cmd.Stdin, cmd.Stdout, cmd.Stderr = terminal, terminal, terminal
		cmd.Env = append(os.Environ(), "TERM=xterm", "XDG_CONFIG_HOME=/nowhere/config")
		cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		terminal.Close()
		w.wait(&w.out, "Waiting for frames")
		if err := cmd.Process.Signal(s); err != nil {
			t.Fatal(err)
		}
		w.wait(&w.out, leaveBoard)
		if s == syscall.SIGTSTP {
			stat := fmt.Sprintf("/proc/%d/stat", cmd.Process.Pid)
			for stopped := false; !stopped && t.Context().Err() == nil; {
				state, err := os.ReadFile(stat)
				if err != nil {
					t.Fatal(err)
				}
				stopped = bytes.Contains(state, []byte(") T "))
			}
			if err := cmd.Process.Signal(syscall.SIGCONT); err != nil {
				t.Fatal(err)
			}
			w.await("the board was not put up again", func() bool { return bytes.Count(w.out.text.Bytes(), []byte(enterBoard)) == 2 })
			if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
				t.Fatal(err)
			}
		}
		_ = cmd.Wait() // each ends in its own way
		_, after, _ := strings.Cut(w.out.String(), leaveBoard)
		if strings.HasSuffix(after, enterBoard) {
			t.Errorf("%v: the board stands in the end", s)
		}
	}
}

// A signal that the program was started to ignore leaves the board where it is.
func TestBigBoardAndIgnoredSignals(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for the board to be drawn again")
	}
	master, terminal := openTerminal(t, 80, 24)
	w := &watchRun{t: t}
	w.news.L = &w.mu
	w.out.run = w
	go func() { _, _ = io.Copy(&w.out, master) }() // ends with the terminal
	cmd := exec.CommandContext(t.Context(), "sh", "-c", `trap "" HUP; exec prestrike watch "$1" --big --pixels off`, "sh", t.TempDir())
	cmd.Stdin, cmd.Stdout, cmd.Stderr = terminal, terminal, terminal
	cmd.Env = append(os.Environ(), "TERM=xterm", "XDG_CONFIG_HOME=/nowhere/config")
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	terminal.Close()
	w.wait(&w.out, "Waiting for frames")
	if err := cmd.Process.Signal(syscall.SIGHUP); err != nil {
		t.Fatal(err)
	}
	at := len(w.out.String())
	w.await("the board was not drawn again", func() bool { return bytes.Contains(w.out.text.Bytes()[at:], []byte("Waiting for frames")) })
	if strings.Contains(w.out.String(), leaveBoard) {
		t.Error("the board was taken down")
	}
	if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	_ = cmd.Wait() // its status is that of the folder
}
