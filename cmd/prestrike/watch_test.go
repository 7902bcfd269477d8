package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"prestrike/cmd/prestrike/internal/demo"

	"github.com/google/go-cmp/cmp"
)

// A screen collects what a program writes while it runs.
type screen struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (s *screen) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.text.Write(p)
}

func (s *screen) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.text.String()
}

// A watchRun is a watch that runs in a test.
type watchRun struct {
	t        *testing.T
	card     string // a finished session to take frames from
	in       string // the watched folder
	out, err screen
	typed    *io.PipeWriter
	stop     context.CancelFunc
	status   chan int
}

// startWatch watches a new folder; args come behind it.
func startWatch(t *testing.T, prepare func(*watchRun), args ...string) *watchRun {
	t.Helper()
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	w := &watchRun{t: t, card: filepath.Join(t.TempDir(), "card"), in: filepath.Join(t.TempDir(), "in"), status: make(chan int, 1)}
	if _, err := demo.Small().Write(t.Context(), w.card, nil); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(w.in, 0o777); err != nil {
		t.Fatal(err)
	}
	if prepare != nil {
		prepare(w)
	}
	keys, typed := io.Pipe()
	w.typed = typed
	ctx, stop := context.WithCancel(t.Context())
	w.stop = stop
	go func() {
		w.status <- run(ctx, append([]string{"watch", w.in, "--settle", "50ms"}, args...), &console{in: keys, out: &w.out, err: &w.err})
	}()
	t.Cleanup(func() { typed.Close(); stop() })
	return w
}

func (w *watchRun) frame(n string) string {
	return filepath.Join("DCIM", "100BXCAM", "BX1_"+n+".JPG")
}

// feed copies frames of the card into the watched folder.
func (w *watchRun) feed(numbers ...string) {
	w.t.Helper()
	for _, n := range numbers {
		data, err := os.ReadFile(filepath.Join(w.card, w.frame(n)))
		if err != nil {
			w.t.Fatal(err)
		}
		w.write(n, data)
	}
}

func (w *watchRun) write(n string, data []byte) {
	w.t.Helper()
	name := filepath.Join(w.in, w.frame(n))
	if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
		w.t.Fatal(err)
	}
	if err := os.WriteFile(name, data, 0o666); err != nil {
		w.t.Fatal(err)
	}
}

// wait waits until something is shown.
func (w *watchRun) wait(s *screen, text string) {
	w.t.Helper()
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
		if strings.Contains(s.String(), text) {
			return
		}
	}
	w.t.Fatalf("%q was not shown; shown was\n%s\nand remarked\n%s", text, w.out.String(), w.err.String())
}

// enter presses Enter until something is shown, as the frames fed last may
// still be resting.
func (w *watchRun) enter(text string) {
	w.t.Helper()
	for range 100 {
		if _, err := io.WriteString(w.typed, "\n"); err != nil {
			w.t.Fatal(err)
		}
		for range 10 {
			if strings.Contains(w.out.String(), text) {
				return
			}
			time.Sleep(20 * time.Millisecond)
		}
	}
	w.t.Fatalf("%q was not shown after Enter; shown was\n%s", text, w.out.String())
}

// end presses Ctrl-C and returns the exit status.
func (w *watchRun) end() int {
	w.t.Helper()
	w.stop()
	select {
	case s := <-w.status:
		return s
	case <-time.After(20 * time.Second):
		w.t.Fatal("the watch did not end")
		return -1
	}
}

var good = []string{"0002", "0003", "0004", "0005", "0006", "0007", "0008", "0009", "0010", "0011"}

func TestWatchTellsAGoodSequenceInALine(t *testing.T) {
	w := startWatch(t, nil)
	w.wait(&w.out, "holds no frames yet")
	w.feed(good...)
	w.enter("good     1.1 focus 10:02, frames 0002 to 0011 (10) (closed as you asked)")
	if status := w.end(); status != statusGood {
		t.Errorf("status %d, want %d; remarks %s", status, statusGood, w.err.String())
	}
	if !strings.Contains(w.out.String(), "GOOD: ") {
		t.Errorf("the report is not printed at the end:\n%s", w.out.String())
	}
}

func TestWatchTellsMissingFramesAndTheRetake(t *testing.T) {
	w := startWatch(t, nil)
	w.wait(&w.out, "holds no frames yet")
	w.feed("0013", "0014", "0015", "0016", "0019", "0020", "0021", "0022")
	w.enter("reshoot  1.1: frames 0017 to 0018 are missing")
	w.feed("0023", "0024", "0025", "0026", "0027", "0028", "0029", "0030", "0031", "0032")
	w.enter("1.2 focus 10:14, frames 0023 to 0032 (10)")
	w.wait(&w.out, "corrected  1.1 focus 10:09, frames 0013 to 0022 (8) is now: retaken")
	if status := w.end(); status != statusGood {
		t.Errorf("status %d after the retake, want %d", status, statusGood)
	}
}

func TestWatchDoesNotTakeAGrowingFileForTorn(t *testing.T) {
	w := startWatch(t, nil)
	w.wait(&w.out, "holds no frames yet")
	w.feed(good[:9]...)
	data, err := os.ReadFile(filepath.Join(w.card, w.frame("0011")))
	if err != nil {
		t.Fatal(err)
	}
	for n := len(data) / 4; n < len(data); n += len(data) / 4 {
		w.write("0011", data[:n])
		time.Sleep(150 * time.Millisecond)
	}
	w.write("0011", data)
	w.enter("frames 0002 to 0011 (10)")
	if status := w.end(); status != statusGood || strings.Contains(w.out.String(), "torn-file") {
		t.Errorf("status %d, shown\n%s", status, w.out.String())
	}
}

func TestWatchTellsATornFileAndTakesItBack(t *testing.T) {
	w := startWatch(t, nil)
	w.wait(&w.out, "holds no frames yet")
	w.feed(good[:9]...)
	data, err := os.ReadFile(filepath.Join(w.card, w.frame("0011")))
	if err != nil {
		t.Fatal(err)
	}
	w.write("0011", data[:len(data)-100])
	w.wait(&w.out, "[torn-file]")
	w.enter("(closed as you asked)")
	w.write("0011", data)
	w.wait(&w.out, "is now: good")
	if status := w.end(); status != statusGood {
		t.Errorf("status %d, want %d", status, statusGood)
	}
}

func TestWatchWaitsForACardThatIsPulled(t *testing.T) {
	w := startWatch(t, nil, "--poll", "50ms")
	w.wait(&w.out, "holds no frames yet")
	w.feed(good[:5]...)
	w.enter("frames 0002 to 0006 (5)")
	away := w.in + "-away"
	if err := os.Rename(w.in, away); err != nil {
		t.Fatal(err)
	}
	w.wait(&w.err, "cannot be read for now")
	if err := os.Rename(away, w.in); err != nil {
		t.Fatal(err)
	}
	w.wait(&w.err, "is back")
	w.feed(good[5:]...)
	w.enter("corrected  1.1 focus 10:02, frames 0002 to 0011 (10) is now: good")
	if status := w.end(); status != statusGood {
		t.Errorf("status %d, want %d", status, statusGood)
	}
}

func TestWatchTellsTwoBodiesApart(t *testing.T) {
	w := startWatch(t, nil)
	w.wait(&w.out, "holds no frames yet")
	for _, n := range good {
		w.feed(n)
		// The same frame of another body, in another folder.
		data, err := os.ReadFile(filepath.Join(w.card, w.frame(n)))
		if err != nil {
			t.Fatal(err)
		}
		other := bytes.ReplaceAll(data, []byte("1003217"), []byte("1003218"))
		name := filepath.Join(w.in, "second", w.frame(n))
		if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, other, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	w.enter("good     1.1 focus 10:02, frames 0002 to 0011 (10)")
	w.enter("good     1.2 focus 10:02, frames 0002 to 0011 (10)")
	if status := w.end(); status != statusGood || strings.Contains(w.out.String(), "repeated") {
		t.Errorf("status %d, shown\n%s", status, w.out.String())
	}
}

func TestWatchStartsWhereThingsStand(t *testing.T) {
	w := startWatch(t, func(w *watchRun) {
		if err := os.RemoveAll(w.in); err != nil {
			t.Fatal(err)
		}
		if err := os.CopyFS(w.in, os.DirFS(w.card)); err != nil {
			t.Fatal(err)
		}
	})
	w.wait(&w.out, "holds 86 frames already")
	w.wait(&w.out, "RESHOOT: shoot 1.11 again while the subject is here, then look at 1.12.")
	if status := w.end(); status != statusReshoot {
		t.Errorf("status %d, want %d", status, statusReshoot)
	}
}

// However frames come, the watch ends with what the report says of the folder.
func TestWatchEndsAsTheReport(t *testing.T) {
	w := startWatch(t, nil, "--format", "json")
	entries, err := os.ReadDir(filepath.Join(w.card, "DCIM", "100BXCAM"))
	if err != nil {
		t.Fatal(err)
	}
	for i, e := range entries {
		w.feed(strings.TrimSuffix(strings.TrimPrefix(e.Name(), "BX1_"), ".JPG"))
		if i%7 == 0 {
			time.Sleep(20 * time.Millisecond)
		}
	}
	if err := os.WriteFile(filepath.Join(w.in, "notes.txt"), []byte("front, back"), 0o666); err != nil {
		t.Fatal(err)
	}
	w.wait(&w.out, `"BX1_0088`[1:6])
	w.enter(`BX1_0088.JPG`)
	time.Sleep(300 * time.Millisecond)
	status := w.end()

	var want bytes.Buffer
	if got := run(t.Context(), []string{"report", w.in, "--format", "json"}, &console{out: &want, err: io.Discard}); got != status {
		t.Errorf("the watch ends with %d, the report with %d", status, got)
	}
	lines := strings.Split(strings.TrimSpace(w.out.String()), "\n")
	var last struct {
		Event  string
		Report any
	}
	if err := json.Unmarshal([]byte(lines[len(lines)-1]), &last); err != nil || last.Event != "report" {
		t.Fatalf("last line %s: %v", lines[len(lines)-1], err)
	}
	var report any
	if err := json.Unmarshal(want.Bytes(), &report); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(report, last.Report); diff != "" {
		t.Errorf("(-report +watch):\n%s", diff)
	}
}

func TestWatchOnceEndsWithTheFirstSequence(t *testing.T) {
	w := startWatch(t, nil, "--once")
	w.wait(&w.out, "holds no frames yet")
	w.feed("0013", "0014", "0015", "0016", "0019", "0020", "0021", "0022")
	w.enter("missing-frame")
	select {
	case s := <-w.status:
		if s != statusReshoot {
			t.Errorf("status %d, want %d", s, statusReshoot)
		}
	case <-time.After(10 * time.Second):
		t.Fatal("the watch goes on")
	}
}

// The test itself is the program that is run for a finding.
func TestMainForFinding(t *testing.T) {
	to := os.Getenv("PRESTRIKE_TEST_FINDING")
	if to == "" {
		t.Skip("runs only as the program of another test")
	}
	data, err := io.ReadAll(os.Stdin)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(to, data, 0o666); err != nil {
		t.Fatal(err)
	}
}

func TestWatchRunsACommandForAFinding(t *testing.T) {
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(t.TempDir(), "finding.json")
	t.Setenv("PRESTRIKE_TEST_FINDING", to)
	w := startWatch(t, nil, "--on-finding", self+" -test.run TestMainForFinding")
	w.wait(&w.out, "holds no frames yet")
	w.feed("0013", "0014", "0015", "0016", "0019", "0020", "0021", "0022")
	w.enter("missing-frame")
	w.end()
	data, err := os.ReadFile(to)
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		Findings []struct{ Rule, Severity string }
	}
	if err := json.Unmarshal(data, &got); err != nil || len(got.Findings) != 1 || got.Findings[0].Rule != "missing-frame" {
		t.Errorf("the command got %s: %v", data, err)
	}
}

func TestWatchGoesOnWhenTheCommandFails(t *testing.T) {
	w := startWatch(t, nil, "--on-finding", "false")
	w.wait(&w.out, "holds no frames yet")
	w.feed("0013", "0014", "0015", "0016", "0019", "0020", "0021", "0022")
	w.enter("missing-frame")
	w.wait(&w.err, "--on-finding false: exit status 1")
	if status := w.end(); status != statusReshoot {
		t.Errorf("status %d, want %d", status, statusReshoot)
	}
}

func TestWatchUsage(t *testing.T) {
	for _, args := range [][]string{{}, {"one", "two"}, {"nowhere"}, {".", "--alert", "siren"}, {".", "--on-finding", "no-such-program-anywhere"}, {".", "--settle", "0s"}, {".", "--poll", "-1s"}} {
		var out, remarks bytes.Buffer
		if status := run(t.Context(), append([]string{"watch"}, args...), &console{out: &out, err: &remarks}); status != statusNotAudited || remarks.Len() == 0 || out.Len() > 0 {
			t.Errorf("watch %q: status %d, remarks %q, result %q", args, status, remarks.String(), out.String())
		}
	}
}
