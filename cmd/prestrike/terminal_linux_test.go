package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
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

// onTerminal runs prestrike in the repository's folder, on a pseudo-terminal of a width, for
// a user of this home, and returns what stands on its screen in the end, and the exit status.
func onTerminal(t *testing.T, home string, width int, args ...string) (screen string, status int) {
	t.Helper()
	master, terminal := openTerminal(t, width, 24)
	cmd := exec.CommandContext(t.Context(), "prestrike", args...)
	cmd.Dir = filepath.Join("..", "..")
	cmd.Stdin, cmd.Stdout, cmd.Stderr = terminal, terminal, terminal
	cmd.Env = append(os.Environ(), "TERM=xterm", "NO_COLOR=1", "TZ=UTC", "LC_ALL=C", "HOME="+home, "XDG_CONFIG_HOME=/nowhere/config", "XDG_CACHE_HOME="+home)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	terminal.Close()
	var shown bytes.Buffer
	// Reading ends with EIO when the program has closed its side.
	if _, err := io.Copy(&shown, master); err != nil && !errors.Is(err, syscall.EIO) {
		t.Fatal(err)
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

// TestTerminal runs the commands on terminals of three widths, compares the screens with
// the goldens, and holds that no line is wider than the terminal. UPDATE=1 rewrites them.
func TestTerminal(t *testing.T) {
	const frame = "testdata/ammonite/DCIM/100BXCAM/BX1_0002.JPG"
	commands := []struct {
		status int
		args   []string
	}{
		{statusReshoot, []string{"report", "testdata/ammonite"}},
		{statusReshoot, []string{"testdata/ammonite", "--quiet", "--why"}},
		{statusNotAudited, []string{"report", "testdata/nothing"}},
		{statusNotAudited, []string{"report", "testdata/ammonite", "--magnification", "large"}},
		{statusNotAudited, []string{"report", "testdata/ammonite", "--fail-on", "always"}},
		{statusNotAudited, []string{"reprot", "testdata/ammonite"}},
		{statusGood, []string{"frames", frame}},
		{statusGood, []string{"plan", "--depth", "10mm", "--magnification", "1:1", "--sensor-width", "36mm", "--pixels", "45MP"}},
		{statusGood, []string{"plan", "handheld", "--focal-length", "90mm", "--sensor-width", "36mm", "--pixels", "45MP"}},
		{statusGood, []string{"rules", "iso-drift", "--sources"}},
		{statusGood, []string{"config", "testdata", "--support", "tripod"}},
		{statusGood, []string{"--help"}},
	}
	home := t.TempDir()
	for _, width := range []int{60, 80, 120} {
		var b strings.Builder
		for _, c := range commands {
			screen, status := onTerminal(t, home, width, c.args...)
			if status != c.status {
				t.Errorf("%d columns, %v: status %d, want %d", width, c.args, status, c.status)
			}
			fmt.Fprintf(&b, "$ prestrike %s\n%s\n", strings.Join(c.args, " "), screen)
		}
		name := filepath.Join("..", "..", "testdata", "golden", fmt.Sprintf("screen_%d.txt", width))
		compareGolden(t, name, b.String())
	}
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
			if _, status := onTerminal(t, home, width, args...); status != statusGood {
				t.Errorf("%v: status %d", args, status)
			}
		}
		for _, sub := range cmd.Commands() {
			walk(sub)
		}
	}
	walk(newRoot(&console{}))
}
