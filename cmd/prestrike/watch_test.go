package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"prestrike/watch"

	"github.com/google/go-cmp/cmp"
)

// A screen collects what a program writes while it runs.
type screen struct {
	run  *watchRun
	text bytes.Buffer
}

func (s *screen) Write(p []byte) (int, error) {
	s.run.mu.Lock()
	defer s.run.mu.Unlock()
	defer s.run.news.Broadcast()
	return s.text.Write(p)
}

func (s *screen) String() string {
	s.run.mu.Lock()
	defer s.run.mu.Unlock()
	return s.text.String()
}

// A watchRun is a watch that runs in a test. Its clock stands still but for pass, so that
// sequences close on Enter, and at the time that the test wants.
type watchRun struct {
	t        *testing.T
	card     string // a finished session to take frames from
	in       string // the watched folder
	out, err screen
	typed    *io.PipeWriter
	stop     context.CancelFunc
	status   chan int

	mu    sync.Mutex
	news  sync.Cond // something was written, or a file taken in, or time is up
	late  bool
	taken map[string]watch.Event
	clock time.Time
}

// pass has time pass on the clock of the watch.
func (w *watchRun) pass(d time.Duration) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.clock = w.clock.Add(d)
}

// startWatch watches a new folder; args come behind it.
func startWatch(t *testing.T, prepare func(*watchRun), args ...string) *watchRun {
	t.Helper()
	return startWatchOn(t, prepare, nil, args...)
}

// startWatchOn is startWatch on a console that may be changed before.
func startWatchOn(t *testing.T, prepare func(*watchRun), change func(*watchRun, *console), args ...string) *watchRun {
	t.Helper()
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	w := &watchRun{
		t: t, card: filepath.Join(t.TempDir(), "card"), in: filepath.Join(t.TempDir(), "in"),
		status: make(chan int, 1), taken: map[string]watch.Event{}, clock: time.Now(),
	}
	w.news.L = &w.mu
	w.out.run, w.err.run = w, w
	if err := writeCard(w.card); err != nil {
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
	c := &console{in: keys, out: &w.out, err: &w.err}
	c.now = func() time.Time {
		w.mu.Lock()
		defer w.mu.Unlock()
		return w.clock
	}
	c.taken = func(e watch.Event) {
		w.mu.Lock()
		defer w.mu.Unlock()
		defer w.news.Broadcast()
		w.taken[e.Path] = e
	}
	if change != nil {
		change(w, c)
	}
	go func() { w.status <- run(ctx, append([]string{"watch", w.in, "--settle", "50ms"}, args...), c) }()
	t.Cleanup(func() { typed.Close(); stop() })
	return w
}

func (w *watchRun) frame(n string) string {
	return filepath.Join("DCIM", "100BXCAM", "BX1_"+n+".JPG")
}

// content is that of a frame of the card.
func (w *watchRun) content(n string) []byte {
	w.t.Helper()
	data, err := os.ReadFile(filepath.Join(w.card, w.frame(n)))
	if err != nil {
		w.t.Fatal(err)
	}
	return data
}

// feed copies frames of the card into the watched folder, and waits until they
// are taken in.
func (w *watchRun) feed(numbers ...string) {
	w.t.Helper()
	for _, n := range numbers {
		w.put(w.frame(n), w.content(n))
	}
	for _, n := range numbers {
		w.takes(w.frame(n), len(w.content(n)))
	}
}

// put makes a file appear in the watched folder as a whole.
func (w *watchRun) put(name string, data []byte) {
	w.t.Helper()
	w.write(name+".part", data)
	name = filepath.Join(w.in, name)
	if err := os.Rename(name+".part", name); err != nil {
		w.t.Fatal(err)
	}
}

func (w *watchRun) write(name string, data []byte) {
	w.t.Helper()
	name = filepath.Join(w.in, name)
	if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
		w.t.Fatal(err)
	}
	if err := os.WriteFile(name, data, 0o666); err != nil {
		w.t.Fatal(err)
	}
}

// takes waits until a file of that size is taken in.
func (w *watchRun) takes(name string, size int) {
	w.t.Helper()
	path := filepath.Join(w.in, name)
	w.await(name+" was not taken in", func() bool { return w.taken[path].Size == int64(size) && w.taken[path].Err == nil })
}

// wait waits until something is shown.
func (w *watchRun) wait(s *screen, text string) {
	w.t.Helper()
	w.await(fmt.Sprintf("%q was not shown", text), func() bool { return strings.Contains(s.text.String(), text) })
}

// longestWait is far above what the busiest machine needs for what comes, and lets
// what never comes fail before the whole test does.
const longestWait = 2 * time.Minute

// await waits until something holds. It asks again with all that is shown or
// taken in.
func (w *watchRun) await(not string, ok func() bool) {
	w.t.Helper()
	timer := time.AfterFunc(longestWait, func() {
		w.mu.Lock()
		defer w.mu.Unlock()
		w.late = true
		w.news.Broadcast()
	})
	defer timer.Stop()
	w.mu.Lock()
	defer w.mu.Unlock()
	for !ok() {
		if w.late {
			w.t.Fatalf("%s; shown was\n%s\nand remarked\n%s", not, w.out.text.String(), w.err.text.String())
		}
		w.news.Wait()
	}
}

// enter presses Enter and waits until something is shown.
func (w *watchRun) enter(text string) {
	w.t.Helper()
	if _, err := io.WriteString(w.typed, "\n"); err != nil {
		w.t.Fatal(err)
	}
	w.wait(&w.out, text)
}

// end presses Ctrl-C and returns the exit status.
func (w *watchRun) end() int {
	w.t.Helper()
	w.stop()
	return <-w.status
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
	w.enter("reshoot  Missing frames (1.1): 0017 and 0018 are not there")
	w.feed("0023", "0024", "0025", "0026", "0027", "0028", "0029", "0030", "0031", "0032")
	w.enter("1.2 focus 10:14, frames 0023 to 0032 (10)")
	w.wait(&w.out, "corrected  1.1 focus 10:09, frames 0013 to 0022 (8) is now: retaken")
	if status := w.end(); status != statusGood {
		t.Errorf("status %d after the retake, want %d", status, statusGood)
	}
}

func TestWatchDoesNotTakeAGrowingFileForTorn(t *testing.T) {
	// A file that reads badly is handed out after 16 s of rest: more than any
	// pause between its parts.
	w := startWatch(t, nil, "--settle", "2s")
	w.wait(&w.out, "holds no frames yet")
	w.feed(good[:9]...)
	name, data := w.frame("0011"), w.content("0011")
	for n := len(data) / 4; n < len(data); n += len(data) / 4 {
		w.write(name, data[:n])
		time.Sleep(150 * time.Millisecond)
	}
	w.write(name, data)
	w.takes(name, len(data))
	w.enter("frames 0002 to 0011 (10)")
	if status := w.end(); status != statusGood || strings.Contains(w.out.String(), "Damaged files") {
		t.Errorf("status %d, shown\n%s", status, w.out.String())
	}
}

func TestWatchTellsATornFileAndTakesItBack(t *testing.T) {
	w := startWatch(t, nil)
	w.wait(&w.out, "holds no frames yet")
	w.feed(good[:9]...)
	name, data := w.frame("0011"), w.content("0011")
	w.put(name, data[:len(data)-100])
	w.wait(&w.out, "Damaged files (")
	w.enter("(closed as you asked)")
	w.put(name, data)
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
	w.enter("good     1.1 focus 10:02, frames 0002 to 0011 (10)")
	if status := w.end(); status != statusGood {
		t.Errorf("status %d, want %d", status, statusGood)
	}
}

func TestWatchTellsTwoBodiesApart(t *testing.T) {
	w := startWatch(t, nil)
	w.wait(&w.out, "holds no frames yet")
	for _, n := range good {
		// The same frame of another body, in another folder.
		other := bytes.ReplaceAll(w.content(n), []byte("1003217"), []byte("1003218"))
		w.put(filepath.Join("second", w.frame(n)), other)
		w.feed(n)
		w.takes(filepath.Join("second", w.frame(n)), len(other))
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
	w.wait(&w.out, "RESHOOT: shoot 1.11 again while the subject is here, then inspect 1.9 and 1.12. 1.5 repeats 1.4.")
	if status := w.end(); status != statusReshoot {
		t.Errorf("status %d, want %d", status, statusReshoot)
	}
}

// A watch that is started again in the middle of a run does not ask for it to be shot again
// without adding that more of it may come; long after, it does.
func TestWatchStartsInARun(t *testing.T) {
	for _, c := range []struct {
		name  string
		after time.Duration // of the last frame
		want  bool
	}{
		{"at once", 2 * time.Second, true},
		{"the next day", 20 * time.Hour, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := startWatch(t, func(w *watchRun) {
				for _, n := range []string{"0013", "0014", "0015", "0016", "0019", "0020"} {
					file := filepath.Join(w.in, w.frame(n))
					if err := os.MkdirAll(filepath.Dir(file), 0o777); err != nil {
						t.Fatal(err)
					}
					if err := os.WriteFile(file, w.content(n), 0o666); err != nil {
						t.Fatal(err)
					}
					came := time.Now().Add(-c.after)
					if err := os.Chtimes(file, came, came); err != nil {
						t.Fatal(err)
					}
				}
			})
			w.wait(&w.out, "RESHOOT: shoot 1.1 again while the subject is here")
			w.end()
			const line = "1.1 may still be under way: this line is about its 6 frames so far."
			if out := strings.Join(strings.Fields(w.out.String()), " "); strings.Contains(out, line) != c.want {
				t.Errorf("shown\n%s", w.out.String())
			}
		})
	}
}

// However frames come, the watch ends with what the report states of the folder.
func TestWatchEndsAsTheReport(t *testing.T) {
	w := startWatch(t, nil, "--format", "json")
	entries, err := os.ReadDir(filepath.Join(w.card, "DCIM", "100BXCAM"))
	if err != nil {
		t.Fatal(err)
	}
	var numbers []string
	for _, e := range entries {
		numbers = append(numbers, strings.TrimSuffix(strings.TrimPrefix(e.Name(), "BX1_"), ".JPG"))
	}
	for some := range slices.Chunk(numbers, 7) {
		w.feed(some...)
	}
	if err := os.WriteFile(filepath.Join(w.in, "notes.txt"), []byte("front, back"), 0o666); err != nil {
		t.Fatal(err)
	}
	w.enter(`BX1_0088.JPG`)
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
	w.enter("Missing frames")
	if s := <-w.status; s != statusReshoot {
		t.Errorf("status %d, want %d", s, statusReshoot)
	}
}

func TestWatchRunsACommandForAFinding(t *testing.T) {
	callee := newCallee(t)
	w := startWatch(t, nil, "--on-finding", "findingprogram tell "+callee.at)
	w.wait(&w.out, "holds no frames yet")
	w.feed("0013", "0014", "0015", "0016", "0019", "0020", "0021", "0022")
	w.enter("Missing frames")
	data, err := io.ReadAll(<-callee.calls)
	if err != nil {
		t.Fatal(err)
	}
	w.end()
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
	w.enter("Missing frames")
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
