package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"prestrike/cmd/prestrike/internal/demo"
)

// committed is the card of the small demonstration session as it is in the repository:
// [TestCommittedSession] holds that it is what demo.Small writes. Copying it takes a
// hundredth of the time of rendering it.
var committed = filepath.Join("..", "..", "testdata", "ammonite")

// writeCard writes the card of the small demonstration session to a folder.
func writeCard(folder string) error { return os.CopyFS(folder, os.DirFS(committed)) }

// card writes the card of the small demonstration session to a folder of its own.
func card(t *testing.T) string {
	t.Helper()
	folder := t.TempDir()
	if err := writeCard(folder); err != nil {
		t.Fatal(err)
	}
	return folder
}

// render renders a demonstration session to a folder of its own, and returns its card.
func render(t *testing.T, session demo.Session) string {
	t.Helper()
	folder := t.TempDir()
	if _, err := session.Write(t.Context(), folder, nil); err != nil {
		t.Fatal(err)
	}
	return filepath.Join(folder, demo.Card)
}

// TestProgress holds that the line is there from the start, is written at most
// ten times a second, and is gone in the end.
func TestProgress(t *testing.T) {
	var screen bytes.Buffer
	c := &console{err: &screen, errTerminal: true}
	clock := time.Unix(0, 0)
	p := c.newProgress(false, "reading", "searching frames")
	p.now = func() time.Time { return clock }
	if got := screen.String(); got != "\rsearching frames\r" {
		t.Errorf("at the start %q", got)
	}
	for i := range 1000 {
		clock = clock.Add(time.Millisecond)
		p.tell(i+1, 1000)
	}
	if n := strings.Count(screen.String(), "\r")/2 - 1; n < 8 || n > 11 {
		t.Errorf("written %d times in a second, want about 10", n)
	}
	p.end()
	p.tell(1000, 1000)
	lines := strings.Split(screen.String(), "\r")
	if last := lines[len(lines)-2]; strings.TrimSpace(last) != "" || lines[len(lines)-1] != "" || len(last) < len("reading 900 of 1000") {
		t.Errorf("the line is not wiped: it ends with %q", lines[len(lines)-2:])
	}

	for what, c := range map[string]*console{"a pipe": {err: &screen}, "quiet": {err: &screen, errTerminal: true}} {
		screen.Reset()
		p := c.newProgress(what == "quiet", "reading", "searching frames")
		p.tell(1, 2)
		p.end()
		if screen.Len() > 0 {
			t.Errorf("%s: progress %q", what, screen.String())
		}
	}
}

// TestColour holds when colours are used: on a terminal that wants them, and
// never into a file.
func TestColour(t *testing.T) {
	folder, cache := card(t), t.TempDir()
	for _, c := range []struct {
		name            string
		terminal, plain bool
		flags           []string
		want            bool
	}{
		{"terminal", true, false, nil, true},
		{"pipe", false, false, nil, false},
		{"NO_COLOR or a dumb terminal", true, true, nil, false},
		{"--no-color", true, false, []string{"--no-color"}, false},
	} {
		var out bytes.Buffer
		status := run(t.Context(), append([]string{"report", folder}, c.flags...),
			&console{out: &out, err: &out, outTerminal: c.terminal, plain: c.plain, width: 90, cacheFolder: func() (string, error) { return cache, nil }})
		if got := strings.Contains(out.String(), "\x1b["); got != c.want {
			t.Errorf("%s: colours %v, want %v", c.name, got, c.want)
		}
		if status != statusReshoot {
			t.Errorf("%s: status %d, want %d", c.name, status, statusReshoot)
		}
	}
	file := filepath.Join(t.TempDir(), "report.txt")
	run(t.Context(), []string{"report", folder, "--pixels", "off", "-o", file}, &console{out: &bytes.Buffer{}, err: &bytes.Buffer{}, outTerminal: true, width: 90})
	if text, err := os.ReadFile(file); err != nil || bytes.Contains(text, []byte("\x1b")) {
		t.Errorf("colours in a file, or error %v", err)
	}
}

// TestTerminalWidth holds that a report fits a narrow terminal.
func TestTerminalWidth(t *testing.T) {
	folder := card(t)
	var out bytes.Buffer
	run(t.Context(), []string{"report", folder}, &console{out: &out, err: &out, outTerminal: true, plain: true, width: 80})
	for line := range strings.Lines(out.String()) {
		if len(line)-1 > 80 {
			t.Errorf("%d columns: %q", len(line)-1, line)
		}
	}
}

// TestShortSessionsFitAScreen holds that the report on a session with a finding, and table and
// findings of one with more, are seen without turning back, on 24 lines of which the prompt
// takes one.
func TestShortSessionsFitAScreen(t *testing.T) {
	for _, c := range []struct {
		name  string
		first int // frame of the session
		last  int
		from  string // the line from which on all must be seen
		want  int    // status
	}{
		{"nothing found", 1, 12, "Session 1", statusGood},
		{"a finding", 33, 58, "Session 1", statusReshoot},
		{"four findings", 1, 88, "check", statusReshoot},
	} {
		folder := card(t)
		for n := 1; n <= 88; n++ {
			if n < c.first || n > c.last || c.last == 58 && n >= 37 && n <= 47 {
				_ = os.Remove(filepath.Join(folder, "DCIM", "100BXCAM", fmt.Sprintf("BX1_%04d.JPG", n))) // some were never there
			}
		}
		var out bytes.Buffer
		status := run(t.Context(), []string{"report", folder}, &console{out: &out, err: &out, outTerminal: true, plain: true, width: 80})
		lines := strings.Split(strings.TrimSuffix(out.String(), "\n"), "\n")
		from := slices.IndexFunc(lines, func(l string) bool { return strings.HasPrefix(l, c.from) })
		if status != c.want || from < 0 || len(lines)-from > 23 {
			t.Errorf("%s: status %d, want %d; %d lines:\n%s", c.name, status, c.want, len(lines)-from, out.String())
		}
	}
}

func TestStopped(t *testing.T) {
	folder := card(t)
	ctx, stop := context.WithCancel(t.Context())
	stop()
	file := filepath.Join(t.TempDir(), "report.txt")
	var out, remarks bytes.Buffer
	status := run(ctx, []string{"report", folder, "-o", file}, &console{out: &out, err: &remarks})
	if status != statusNotAudited || remarks.String() != "prestrike: stopped before the end: nothing was written\n" {
		t.Errorf("status %d, remarks %q", status, remarks.String())
	}
	if _, err := os.Stat(file); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a result was written: %v", err)
	}
}

type fullDisk struct{}

// smallDemo has prestrike demo write the small session during a test.
func smallDemo(t *testing.T) {
	t.Cleanup(func() { demonstration = demo.Standard() })
	demonstration = demo.Small()
}

func (fullDisk) Write([]byte) (int, error) { return 0, errors.New("no space left on device") }

// TestResultThatCannotBeWritten holds that a lost result is no success.
func TestResultThatCannotBeWritten(t *testing.T) {
	smallDemo(t)
	folder := card(t)
	for _, args := range [][]string{
		{"report", folder, "--pixels", "off", "--fail-on", "never"},
		{"frames", filepath.Join(folder, "DCIM", "100BXCAM", "BX1_0001.JPG")},
		{"demo", filepath.Join(t.TempDir(), "new")},
	} {
		var remarks bytes.Buffer
		status := run(t.Context(), args, &console{out: fullDisk{}, err: &remarks})
		if status != statusNotAudited || !strings.Contains(remarks.String(), "no space left") {
			t.Errorf("%s: status %d, remarks %q", args[0], status, remarks.String())
		}
	}
}

// TestDemoFaults holds that the report on the demonstration finds what its help
// states went wrong, and nothing else.
func TestDemoFaults(t *testing.T) {
	smallDemo(t)
	session, folder := demo.Small(), t.TempDir()
	var out, remarks bytes.Buffer
	if status := run(t.Context(), []string{"demo", folder, "--quiet"}, &console{out: &out, err: &remarks}); status != 0 || out.Len()+remarks.Len() > 0 {
		t.Fatalf("writing it: status %d, output %q, remarks %q", status, out.String(), remarks.String())
	}
	run(t.Context(), []string{"report", "--format", "json", filepath.Join(folder, demo.Card)}, &console{out: &out, err: &remarks})
	type finding struct {
		Rule   string   `json:"rule"`
		Frames []string `json:"frames"`
	}
	var got struct {
		Sessions []struct {
			Findings  []finding `json:"findings"`
			Sequences []struct {
				Kind     string    `json:"kind"`
				Findings []finding `json:"findings"`
			} `json:"sequences"`
		} `json:"sessions"`
	}
	if err := json.Unmarshal(out.Bytes(), &got); err != nil {
		t.Fatalf("%v, remarks %q", err, remarks.String())
	}
	if len(got.Sessions) != 1 {
		t.Fatalf("%d sessions, want 1", len(got.Sessions))
	}
	var found []finding
	var kinds []string
	for _, q := range got.Sessions[0].Sequences {
		found = append(found, q.Findings...)
		kinds = append(kinds, q.Kind)
	}
	found = append(found, got.Sessions[0].Findings...)
	if want := "single focus single focus focus single bracket single focus single focus time-lapse"; strings.Join(kinds, " ") != want {
		t.Errorf("kinds %v, want %s", kinds, want)
	}
	faults := session.Faults()
	if len(found) != len(faults) {
		t.Fatalf("findings %v, want those of %v", found, faults)
	}
	for i, fault := range faults {
		first, last := fault.First, fault.Last
		if fault.Rule == "missing-frame" { // it names the frames on both sides of the gap
			first, last = first-1, last+1
		}
		frames := found[i].Frames
		if fault.First == 0 { // it is about no frame
			if found[i].Rule != fault.Rule || len(frames) > 0 {
				t.Errorf("found %s on %v, want %s", found[i].Rule, frames, fault.Rule)
			}
			continue
		}
		path := func(n int) string { return fmt.Sprintf("DCIM/100BXCAM/BX1_%04d.JPG", n) }
		if found[i].Rule != fault.Rule || frames[0] != path(first) || frames[len(frames)-1] != path(last) {
			t.Errorf("found %s on %s to %s, want %s on %s to %s",
				found[i].Rule, frames[0], frames[len(frames)-1], fault.Rule, path(first), path(last))
		}
	}
	// What is found in the standard session stands in the report that TestReadmeWay holds.
	golden, err := os.ReadFile(filepath.Join("..", "..", "testdata", "golden", "report_demo.txt"))
	if err != nil {
		t.Fatal(err)
	}
	for _, fault := range demo.Standard().Faults() {
		if fault.First > 0 && !strings.Contains(string(golden), fmt.Sprintf("%04d", fault.First)) {
			t.Errorf("the report does not name frame %04d of %q", fault.First, fault.What)
		}
	}
}

// TestCommittedSession holds that the session in testdata is the small
// demonstration: its names, and what its frames record. The pictures may
// differ in the last bit from one kind of processor to the next. UPDATE=1
// writes it anew.
func TestCommittedSession(t *testing.T) {
	if os.Getenv("UPDATE") != "" {
		if err := os.RemoveAll(committed); err != nil {
			t.Fatal(err)
		}
		if err := os.CopyFS(committed, os.DirFS(render(t, demo.Small()))); err != nil {
			t.Fatal(err)
		}
	}
	described := func(folder string) string {
		files, err := filepath.Glob(filepath.Join(folder, "DCIM", "*", "*"))
		if err != nil || len(files) == 0 {
			t.Fatalf("%s: %d files, error %v", folder, len(files), err)
		}
		t.Chdir(folder)
		var out, remarks bytes.Buffer
		args := []string{"frames", "--format", "json"}
		for _, f := range files {
			rel := filepath.Join("DCIM", filepath.Base(filepath.Dir(f)), filepath.Base(f))
			args = append(args, rel)
		}
		if status := run(t.Context(), args, &console{out: &out, err: &remarks}); status != statusGood {
			t.Fatalf("%s: status %d, %s", folder, status, remarks.String())
		}
		var lines []string
		for line := range strings.Lines(out.String()) {
			if !strings.Contains(line, `"size":`) {
				lines = append(lines, line)
			}
		}
		return strings.Join(lines, "")
	}
	committed, err := filepath.Abs(committed)
	if err != nil {
		t.Fatal(err)
	}
	if want, got := described(render(t, demo.Small())), described(committed); got != want {
		t.Error("testdata/ammonite is not what the demonstration writes: run UPDATE=1 go test ./cmd/prestrike")
	}
}

// TestLineIsNotWrittenOver holds that whatever is written while a line is shown
// wipes it, and that remarks are wrapped to a terminal.
func TestLineIsNotWrittenOver(t *testing.T) {
	var screen bytes.Buffer
	c := &console{out: &screen, err: &screen, errTerminal: true, errWidth: 40}
	p := c.newProgress(false, "reading", "searching frames")
	c.remark("one file of the card cannot be read: copy it again with another reader")
	if err := c.print([]byte("good\n")); err != nil {
		t.Fatal(err)
	}
	p.end()
	blank := "\r" + strings.Repeat(" ", len("searching frames")) + "\r"
	want := "\rsearching frames\r" + blank +
		"prestrike: one file of the card cannot\n           be read: copy it again with\n           another reader\ngood\n"
	if got := screen.String(); got != want {
		t.Errorf("the screen got\n%q, want\n%q", got, want)
	}

	screen.Reset()
	c = &console{err: &screen}
	c.remark("one file of the card cannot be read: copy it again with another reader")
	if got := screen.String(); strings.Count(got, "\n") != 1 {
		t.Errorf("a pipe got %q, want one line", got)
	}
}

// TestEnterLeavesNoLineBehind holds that the line shown goes when Enter moves on
// to the next, where the terminal understands how, with colours or without.
func TestEnterLeavesNoLineBehind(t *testing.T) {
	const up = "\x1b[A\r\x1b[J"
	for _, test := range []struct {
		name            string
		in, plain, dumb bool
		line            string
		want            string
	}{
		{"a terminal", true, false, false, "1.1 focus: 9 frames", up},
		{"NO_COLOR", true, true, false, "1.1 focus: 9 frames", up},
		{"nothing shown", true, false, false, "", ""},
		{"typed by a program", false, false, false, "1.1 focus: 9 frames", ""},
		{"a dumb terminal", true, true, true, "1.1 focus: 9 frames", ""},
	} {
		var screen bytes.Buffer
		c := &console{err: &screen, errTerminal: true, inTerminal: test.in, plain: test.plain, dumb: test.dumb}
		c.showLine(test.line)
		screen.Reset()
		c.entered()
		if got := screen.String(); got != test.want {
			t.Errorf("%s: %q, want %q", test.name, got, test.want)
		}
	}
}

// TestLineKeepsToColumns holds that a line in wide letters is wiped whole.
func TestLineKeepsToColumns(t *testing.T) {
	var screen bytes.Buffer
	c := &console{err: &screen, errTerminal: true}
	c.showLine("最後のコマ")
	screen.Reset()
	c.endLine()
	if got, want := screen.String(), "\r"+strings.Repeat(" ", 10)+"\r"; got != want {
		t.Errorf("wiped with %q, want %q", got, want)
	}
}

// TestLineFollowsTheTerminal holds that a line is no wider than the terminal has become, and
// that what is typed while it stands is wiped with it.
func TestLineFollowsTheTerminal(t *testing.T) {
	var screen bytes.Buffer
	columns := 60
	c := &console{
		err: &screen, errTerminal: true, inTerminal: true, errWidth: columns, plain: true,
		size: func() (int, int, error) { return columns, 24, nil },
	}
	columns = 20
	c.showLine("reading 112 of 280, about 30 s left")
	shown := shownOn(columns, screen.String())
	if got, want := shown.String(), "reading 112 of 280,\n"; got != want || len(shown.wrapped) > 0 {
		t.Errorf("shown is %q, want %q; wider: %q", got, want, shown.wrapped)
	}
	screen.WriteString("^C")
	c.remark("stopped")
	if got, want := shownOn(columns, screen.String()).String(), "prestrike: stopped\n"; got != want {
		t.Errorf("left is %q, want %q", got, want)
	}
}

// TestSlatesAreNotWrittenToTerminals holds that a page for the browser does not fill a
// terminal, and goes to a pipe.
func TestSlatesAreNotWrittenToTerminals(t *testing.T) {
	folder := card(t)
	if err := os.WriteFile(filepath.Join(folder, "prestrike.toml"), []byte("[[view]]\nname = \"ribs\"\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	for _, terminal := range []bool{true, false} {
		var out, remarks bytes.Buffer
		status := run(t.Context(), []string{"slate", folder}, &console{out: &out, err: &remarks, outTerminal: terminal})
		if terminal && (status != statusNotAudited || out.Len() > 0 || !strings.Contains(remarks.String(), "such as -o slates.html")) {
			t.Errorf("terminal: status %d, %d bytes, remarks %q", status, out.Len(), remarks.String())
		}
		if !terminal && (status != statusGood || !strings.Contains(out.String(), "<h2>ribs</h2>")) {
			t.Errorf("pipe: status %d, remarks %q", status, remarks.String())
		}
	}
}
