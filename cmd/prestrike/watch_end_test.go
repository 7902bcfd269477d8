package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/board"
	"prestrike/cmd/prestrike/internal/demo"
	"prestrike/rules"
	"prestrike/watch"
)

// A handWatch is a watch whose events are made by the test. What it shows is in
// shown.
type handWatch struct {
	*watching
	t       *testing.T
	card    string // a finished session to take frames from
	shown   bytes.Buffer
	remarks bytes.Buffer
}

func watchByHand(t *testing.T, opt *audit.Options) *handWatch {
	t.Helper()
	w := &handWatch{t: t, card: filepath.Join(t.TempDir(), "card")}
	if err := writeCard(w.card); err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	c := &console{out: &w.shown, err: &w.remarks}
	live := audit.NewLive(opt)
	w.watching = &watching{
		c: c, f: &watchFlags{format: "table"}, folder: folder, opt: opt, live: live, set: board.New(live),
		pictures: measurePictures(c, true, false, []string{folder}, opt),
		alerts:   &alerter{c: c},
		readers:  newReadCache(folder, watch.DefaultSettle),
	}
	return w
}

// copy puts a frame of the card into the watched folder, cut to a part of its
// bytes, and last changed so long ago.
func (w *handWatch) copy(number int, part float64, ago time.Duration) (path string) {
	w.t.Helper()
	name := fmt.Sprintf("BX1_%04d.JPG", number)
	data, err := os.ReadFile(filepath.Join(w.card, "DCIM", "100BXCAM", name))
	if err != nil {
		w.t.Fatal(err)
	}
	path = filepath.Join(w.folder, name)
	if err := os.WriteFile(path, data[:int(part*float64(len(data)))], 0o666); err != nil {
		w.t.Fatal(err)
	}
	when := time.Now().Add(-ago)
	if err := os.Chtimes(path, when, when); err != nil {
		w.t.Fatal(err)
	}
	return path
}

// hand does what a watch does that takes a file for complete.
func (w *handWatch) hand(path string) {
	w.t.Helper()
	info, err := os.Stat(path)
	if err != nil {
		w.t.Fatal(err)
	}
	readErr := w.readers.ready(w.t.Context(), path, info.Size())
	if err := w.take(w.t.Context(), watch.Event{Kind: watch.Arrived, Path: path, Size: info.Size(), ModTime: info.ModTime(), Err: readErr}); err != nil {
		w.t.Fatal(err)
	}
}

// Ctrl-C right behind the arrival of a file: what was found in pictures before
// stays found, and the file is inspected.
func TestWatchEndLooksAtWhatIsLeft(t *testing.T) {
	faults := demo.Small().Faults()
	dark := faults[slices.IndexFunc(faults, func(f demo.Fault) bool { return f.Rule == "dark-frame" })].First
	ctx, stop := context.WithCancel(t.Context())
	w := watchByHand(t, &audit.Options{Rules: rules.All()})
	for number := dark - 3; number < dark+3; number++ {
		w.hand(w.copy(number, 1, 0))
	}
	if _, err := w.live.Look(t.Context(), time.Now(), true, false); err != nil || w.live.Result().Verdict != audit.VerdictReshoot {
		t.Fatalf("frame %04d is dark, and the verdict %v, error %v", dark, w.live.Result().Verdict, err)
	}
	w.hand(w.copy(dark+3, 1, 0))
	stop()
	status, err := w.finish(ctx)
	if err != nil || status != statusReshoot || !strings.Contains(w.shown.String(), "Dark frames (") {
		t.Errorf("status %d, want %d; error %v; shown\n%s", status, statusReshoot, err, w.shown.String())
	}
	q := w.live.Result().Sessions[0].Sequences[0]
	if len(q.Frames) != 7 || q.Pictures == nil {
		t.Errorf("%d frames at the end, want 7, and their pictures looked at", len(q.Frames))
	}
}

// Where a rule fails, the watch does not end with good.
func TestWatchEndIsNotGoodWhereARuleFails(t *testing.T) {
	fails := &audit.Rule{ID: "fails", Title: "fails", Check: func(*audit.Review) error { return errors.New("it fails") }}
	w := watchByHand(t, &audit.Options{Rules: []*audit.Rule{fails}})
	w.hand(w.copy(2, 1, 0))
	if status, err := w.finish(t.Context()); status != statusNotAudited || err != nil {
		t.Errorf("status %d, error %v; shown\n%s", status, err, w.shown.String())
	}
}

// Nine frames and a part of the tenth, and Ctrl-C at each stage of what the watch
// knows of them: the last report is on all that is there.
func TestWatchEndNamesWhatIsNotComplete(t *testing.T) {
	const notYet = "BX1_0011.JPG is not complete yet"
	// The pictures are switched off, and a verdict must not hide that.
	const notInspected = "GOOD as far as judged: nothing to shoot again. Not judged: the pictures of 1.1."
	tests := []struct {
		name   string
		handed int     // of the ten frames, in order
		part   float64 // of the last
		ago    time.Duration
		status status
		says   string
	}{
		{"nothing rests yet", 0, 0.5, 0, statusCheck, notYet},
		{"nothing rests yet, the file has no content", 0, 0, 0, statusCheck, notYet},
		{"some rest", 5, 0.5, 0, statusCheck, notYet},
		{"all rest but the last, which reads badly", 9, 0.5, 10 * time.Second, statusCheck, notYet},
		{"the last was handed out as torn", 10, 0.5, 16 * time.Second, statusReshoot, "BX1_0011.JPG is not complete: "},
		{"the last is torn since long ago", 9, 0.5, time.Hour, statusReshoot, "BX1_0011.JPG is not complete: "},
		{"the last is whole and does not rest", 9, 1, 0, statusGood, notInspected},
		{"all rest", 10, 1, 0, statusGood, notInspected},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			w := watchByHand(t, &audit.Options{Rules: rules.All(), Pixels: audit.PixelsOff})
			for i := range 10 {
				part, ago := 1.0, time.Minute
				if i == 9 {
					part, ago = test.part, test.ago
				}
				if path := w.copy(2+i, part, ago); i < test.handed {
					w.hand(path)
				}
			}
			status, err := w.finish(t.Context())
			if err != nil || status != test.status || !strings.Contains(w.shown.String(), test.says) {
				t.Errorf("status %d, want %d; error %v; shown\n%s\nwithout %q", status, test.status, err, w.shown.String(), test.says)
			}
			if n := w.live.Result().Files.Read; n != 10 {
				t.Errorf("the report is on %d files, want 10", n)
			}
		})
	}
}

// A file that was complete and is written again is not taken for what it was.
func TestWatchEndSeesWhatChangedLast(t *testing.T) {
	w := watchByHand(t, &audit.Options{Rules: rules.All(), Pixels: audit.PixelsOff})
	for i := range 10 {
		w.hand(w.copy(2+i, 1, time.Minute))
	}
	w.copy(5, 0.3, 0)
	if err := os.Remove(filepath.Join(w.folder, "BX1_0011.JPG")); err != nil {
		t.Fatal(err)
	}
	status, err := w.finish(t.Context())
	if err != nil || status != statusCheck || !strings.Contains(w.shown.String(), "BX1_0005.JPG is not complete yet") {
		t.Errorf("status %d, want %d; error %v; shown\n%s", status, statusCheck, err, w.shown.String())
	}
	if n := w.live.Result().Files.Read; n != 9 {
		t.Errorf("the report is on %d files, want the 9 that are there", n)
	}
}

// When the card is pulled before Ctrl-C, what was read stays, and is not called good.
func TestWatchEndWithoutTheFolder(t *testing.T) {
	w := watchByHand(t, &audit.Options{Rules: rules.All(), Pixels: audit.PixelsOff})
	for i := range 10 {
		w.hand(w.copy(2+i, 1, time.Minute))
	}
	if err := os.RemoveAll(w.folder); err != nil {
		t.Fatal(err)
	}
	if err := w.take(w.t.Context(), watch.Event{Kind: watch.FolderLost, Path: w.folder, Err: os.ErrNotExist}); err != nil {
		t.Fatal(err)
	}
	status, err := w.finish(t.Context())
	if err != nil || status != statusNotAudited || !strings.Contains(w.remarks.String(), "what was read before") {
		t.Errorf("status %d, want %d; error %v; remarks\n%s", status, statusNotAudited, err, w.remarks.String())
	}
	if n := w.live.Result().Files.Frames; n != 10 {
		t.Errorf("%d frames, want the 10 that were read", n)
	}
}

// A folder below the watched one that cannot be read for now keeps its frames.
func TestWatchEndWithoutAFolderBelow(t *testing.T) {
	w := watchByHand(t, &audit.Options{Rules: rules.All(), Pixels: audit.PixelsOff})
	below := filepath.Join(w.folder, "second")
	if err := os.Mkdir(below, 0o777); err != nil {
		t.Fatal(err)
	}
	for i := range 10 {
		path := w.copy(2+i, 1, time.Minute)
		if i > 5 {
			to := filepath.Join(below, filepath.Base(path))
			if err := os.Rename(path, to); err != nil {
				t.Fatal(err)
			}
			path = to
		}
		w.hand(path)
	}
	if err := os.RemoveAll(below); err != nil {
		t.Fatal(err)
	}
	if err := w.take(w.t.Context(), watch.Event{Kind: watch.FolderLost, Path: below, Err: errors.New("the disk is no longer there")}); err != nil {
		t.Fatal(err)
	}
	if _, err := w.finish(t.Context()); err != nil {
		t.Fatal(err)
	}
	if n := w.live.Result().Files.Frames; n != 10 {
		t.Errorf("%d frames, want the 10 that were read", n)
	}
}

// The JSON form ends with the same status as the table.
func TestWatchEndAsJSON(t *testing.T) {
	w := watchByHand(t, &audit.Options{Rules: rules.All(), Pixels: audit.PixelsOff})
	w.f.format = "json"
	if status, err := w.finish(t.Context()); status != statusNotAudited || err != nil {
		t.Errorf("without frames: status %d, error %v; want %d", status, err, statusNotAudited)
	}
	w.copy(2, 0.5, 0)
	w.shown.Reset()
	if status, err := w.finish(t.Context()); status != statusCheck || err != nil {
		t.Errorf("with an unfinished frame: status %d, error %v; want %d", status, err, statusCheck)
	}
	var last struct {
		Report struct{ Verdict string }
	}
	if err := json.NewDecoder(io.Reader(&w.shown)).Decode(&last); err != nil || last.Report.Verdict != "check" {
		t.Errorf("verdict %q, error %v", last.Report.Verdict, err)
	}
}

// Where a courier comes, each line on a sequence has one below it on the time that is left,
// or its figures.
func TestWatchTellsTheTimeLeft(t *testing.T) {
	opt := &audit.Options{
		Rules: rules.All(), Pixels: audit.PixelsOff, Views: []audit.View{{Name: "front"}, {Name: "hinge"}}, Courier: 16 * time.Hour,
	}
	w := watchByHand(t, opt)
	for number := 2; number < 12; number++ {
		w.hand(w.copy(number, 1, 0))
	}
	events, err := w.live.Look(t.Context(), time.Now(), true, false)
	if err != nil || len(events) == 0 {
		t.Fatalf("%d events, error %v", len(events), err)
	}
	end := w.live.Result().Sessions[0].End()
	now := time.Date(end.Year(), end.Month(), end.Day(), 15, 20, 0, 0, time.Local)
	opt.Now = func(time.Time) time.Time { return now }
	if _, err = w.live.Look(t.Context(), time.Now(), true, true); err != nil {
		t.Fatal(err)
	}
	q := w.live.Result().Sessions[0].Sequences[0]
	closed := audit.LiveEvent{Kind: audit.SequenceClosed, Sequence: q, Reason: "as you asked"}
	for format, want := range map[string]string{
		"table": "\ntime     40 min left; too few views are shot to estimate the time needed.\n",
		"json":  `"time_left":{"left_s":2400,"open_views":1,"needed_s":null,`,
	} {
		w.f.format = format
		w.shown.Reset()
		if err := w.tell(closed); err != nil || !strings.Contains(w.shown.String(), want) {
			t.Errorf("%s: error %v, shown was %s, want %s", format, err, w.shown.String(), want)
		}
	}
}

// A frame under a copier's name is named at the end, and is not good. Once the frame
// is there, what the copier left behind means nothing.
func TestFinishNamesUnfinishedCopies(t *testing.T) {
	w := watchByHand(t, &audit.Options{Rules: rules.All()})
	part := filepath.Join(w.folder, "BX1_0002.JPG.part")
	if err := os.WriteFile(part, []byte("half"), 0o666); err != nil {
		t.Fatal(err)
	}
	if status, err := w.finish(t.Context()); status != statusNotAudited || err != nil || !strings.Contains(w.shown.String(), "1 copy is not complete yet") {
		t.Errorf("alone: status %d, error %v, shown:\n%s", status, err, w.shown.String())
	}
	w.copy(1, 1, time.Hour)
	w.shown.Reset()
	if status, err := w.finish(t.Context()); status != statusCheck || err != nil || !strings.Contains(w.shown.String(), "CHECK: BX1_0002.JPG is not complete yet") {
		t.Errorf("beside a frame: status %d, error %v; want %d, and the frame named:\n%s", status, err, statusCheck, w.shown.String())
	}
	w.copy(2, 1, time.Hour)
	w.shown.Reset()
	if status, err := w.finish(t.Context()); status != statusGood || err != nil || strings.Contains(w.shown.String(), "complete") {
		t.Errorf("once it is complete: status %d, error %v; want %d:\n%s", status, err, statusGood, w.shown.String())
	}
}
