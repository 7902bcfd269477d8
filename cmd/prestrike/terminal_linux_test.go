package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/spf13/cobra"
	"golang.org/x/sys/unix"
)

// openTerminal opens a pseudo-terminal of a size and returns both its sides.
func openTerminal(t *testing.T, width, height int) (master, terminal *os.File) {
	t.Helper()
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR, 0)
	if err != nil {
		t.Skipf("no pseudo-terminals here: %v", err)
	}
	t.Cleanup(func() { master.Close() })
	if err := unix.IoctlSetPointerInt(int(master.Fd()), unix.TIOCSPTLCK, 0); err != nil {
		t.Skipf("no pseudo-terminals here: %v", err)
	}
	number, err := unix.IoctlGetInt(int(master.Fd()), unix.TIOCGPTN)
	if err != nil {
		t.Fatal(err)
	}
	resize(t, master, width, height)
	terminal, err = os.OpenFile(fmt.Sprintf("/dev/pts/%d", number), os.O_RDWR|syscall.O_NOCTTY, 0)
	if err != nil {
		t.Skipf("no pseudo-terminals here: %v", err)
	}
	return master, terminal
}

func resize(t *testing.T, master *os.File, width, height int) {
	t.Helper()
	if err := unix.IoctlSetWinsize(int(master.Fd()), unix.TIOCSWINSZ, &unix.Winsize{Row: uint16(height), Col: uint16(width)}); err != nil {
		t.Fatal(err)
	}
}

// onTerminal runs prestrike in a folder, on a pseudo-terminal of a width, for a user of this
// home, and returns what stands on its screen in the end, and the exit status.
func onTerminal(t *testing.T, folder, home string, width int, args ...string) (screen string, status int) {
	t.Helper()
	return answeredOnTerminal(t, folder, home, width, nil, args...)
}

// An answer is what the user types once the screen ends with a question.
type answer struct{ question, typed string }

// answeredOnTerminal is onTerminal of a program that asks, with the answers in turn.
func answeredOnTerminal(t *testing.T, folder, home string, width int, answers []answer, args ...string) (screen string, status int) {
	t.Helper()
	master, terminal := openTerminal(t, width, 24)
	cmd := exec.CommandContext(t.Context(), "prestrike", args...)
	cmd.Dir = folder
	cmd.Stdin, cmd.Stdout, cmd.Stderr = terminal, terminal, terminal
	cmd.Env = append(os.Environ(), "TERM=xterm", "NO_COLOR=1", "TZ=UTC", "LC_ALL=C", "HOME="+home, "XDG_CONFIG_HOME=/nowhere/config", "XDG_CACHE_HOME="+home)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	terminal.Close()
	var shown bytes.Buffer
	for some := make([]byte, 4096); ; {
		n, err := master.Read(some)
		shown.Write(some[:n])
		if len(answers) > 0 && bytes.HasSuffix(shown.Bytes(), []byte(answers[0].question)) {
			if _, err := io.WriteString(master, answers[0].typed); err != nil {
				t.Fatal(err)
			}
			answers = answers[1:]
		}
		if errors.Is(err, syscall.EIO) { // the program has closed its side
			break
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if len(answers) > 0 {
		t.Errorf("%v was not asked %q", args, answers[0].question)
	}
	if err := cmd.Wait(); err != nil {
		exit, ok := errors.AsType[*exec.ExitError](err)
		if !ok {
			t.Fatal(err)
		}
		status = exit.ExitCode()
	}
	model := shownOn(width, shown.String())
	for _, line := range model.wrapped {
		t.Errorf("%v on %d columns: a line is wider: %q", args, width, line)
	}
	return model.String(), status
}

// TestTerminal runs the commands on terminals of three widths, with the mistakes that are made
// with them, compares the screens with the goldens, and holds that no line is wider than the
// terminal. UPDATE=1 rewrites them. What a watch shows, TestWatchScreens holds.
func TestTerminal(t *testing.T) {
	commands := []struct {
		status  int
		args    []string
		answers []answer
	}{
		// The first minutes.
		{statusGood, nil, nil},
		{statusReshoot, []string{"card"}, nil},
		{statusNotAudited, []string{"nothing/card"}, nil},
		{statusNotAudited, []string{"repotr", "card"}, nil},
		{statusNotAudited, []string{"help", "plann"}, nil},
		{statusNotAudited, []string{"report", "card", "--formt", "json"}, nil},
		{statusGood, []string{"completion", "--help"}, nil},
		// A window of its own, in which a folder is dropped.
		{statusGood, []string{"begin"}, []answer{{"Folder: ", "\n"}}},
		{statusNotAudited, []string{"begin"}, []answer{{"Folder: ", "'/nothing/my card' \n"}, {"Press Enter to end.\r\n", "\n"}}},
		// What was found, and why.
		{statusReshoot, []string{"report", "card", "--quiet", "--why"}, nil},
		{statusReshoot, []string{"report", "card", "-o", "report.txt"}, nil},
		{statusReshoot, []string{"report", "card", "--quiet", "--since", "10:51"}, nil},
		{statusNotAudited, []string{"report", "card", "--since", "12:00"}, nil},
		{statusGood, []string{"rules", "iso-drift", "--sources"}, nil},
		{statusNotAudited, []string{"rules", "iso-drfit"}, nil},
		{statusGood, []string{"frames", "card/DCIM/100BXCAM/BX1_0002.JPG"}, nil},
		// Values and settings.
		{statusNotAudited, []string{"report", "card", "--magnification", "large"}, nil},
		{statusNotAudited, []string{"report", "card", "--fail-on", "always"}, nil},
		{statusNotAudited, []string{"report", "mistakes"}, nil},
		{statusGood, []string{"config", "card", "--support", "tripod"}, nil},
		{statusGood, []string{"config", "--write", "."}, nil},
		{statusGood, []string{"plan", "--depth", "10mm", "--magnification", "1:1", "--sensor-width", "36mm", "--pixels", "45MP"}, nil},
		{statusGood, []string{"plan", "handheld", "--focal-length", "90mm", "--sensor-width", "36mm", "--pixels", "45MP"}, nil},
		// What is meant.
		{statusNotAudited, []string{"accept", "card", "1.12", "iso-drfit", "the light fades on purpose"}, nil},
		{statusGood, []string{"accept", "card", "1.12", "iso-drift", "the light fades on purpose"}, nil},
		{statusReshoot, []string{"report", "card", "--quiet"}, nil},
	}
	home := t.TempDir()
	for _, width := range []int{60, 80, 120} {
		job := t.TempDir()
		if err := writeCard(filepath.Join(job, "card")); err != nil {
			t.Fatal(err)
		}
		if err := os.Mkdir(filepath.Join(job, "mistakes"), 0o777); err != nil {
			t.Fatal(err)
		}
		const mistakes = "planned-frames = 50\n[shoot]\nsupport = tripod\n"
		if err := os.WriteFile(filepath.Join(job, "mistakes", "prestrike.toml"), []byte(mistakes), 0o666); err != nil {
			t.Fatal(err)
		}
		var b strings.Builder
		for _, c := range commands {
			screen, status := answeredOnTerminal(t, job, home, width, c.answers, c.args...)
			if status != c.status {
				t.Errorf("%d columns, %v: status %d, want %d", width, c.args, status, c.status)
			}
			fmt.Fprintf(&b, "$ %s\n%s\n", strings.Join(append([]string{"prestrike"}, quoted(c.args)...), " "), screen)
		}
		compareGolden(t, filepath.Join("..", "..", "testdata", "golden", fmt.Sprintf("screen_%d.txt", width)), b.String())
	}
}

// quoted returns words as they are typed.
func quoted(words []string) (typed []string) {
	for _, w := range words {
		if strings.Contains(w, " ") {
			w = strconv.Quote(w)
		}
		typed = append(typed, w)
	}
	return typed
}

// compareGolden compares a text with that in a file. UPDATE=1 rewrites the file.
func compareGolden(t *testing.T, name, got string) {
	t.Helper()
	if os.Getenv("UPDATE") != "" {
		if err := os.WriteFile(name, []byte(got), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("%s (-want +got):\n%s", name, diff)
	}
}

// TestTerminalHelp holds that the help of no command is wider than the terminal.
func TestTerminalHelp(t *testing.T) {
	if testing.Short() {
		t.Skip("many processes")
	}
	home := t.TempDir()
	var walk func(cmd *cobra.Command)
	walk = func(cmd *cobra.Command) {
		args := append(strings.Fields(cmd.CommandPath())[1:], "--help")
		for _, width := range []int{60, 80, 120} {
			if _, status := onTerminal(t, home, home, width, args...); status != statusGood {
				t.Errorf("%v: status %d", args, status)
			}
		}
		for _, sub := range cmd.Commands() {
			walk(sub)
		}
	}
	walk(newRoot(&console{}))
}
