//go:build unix

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net"
	"os"
	"path/filepath"
	"slices"
	"syscall"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/rules"
	"prestrike/watch"

	"github.com/google/go-cmp/cmp"
)

// Watch and report take the same files of a folder for frames, and count the
// same others, whatever lies in it.
func TestWatchReadsWhatTheReportReads(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	w := watchByHand(t, &audit.Options{Rules: rules.All(), Pixels: audit.PixelsOff})
	frames := litter(t, w)

	var want, remarks bytes.Buffer
	wantStatus := run(t.Context(), []string{"report", w.folder, "--format", "json", "--pixels", "off"}, &console{out: &want, err: &remarks})
	var report struct {
		Files struct {
			Read, Other int
			Unfinished  []string
		}
	}
	must(t, json.Unmarshal(want.Bytes(), &report))
	// Of the eight copies on their way the name that ends in ~ may be that of a former
	// version, and counts with the others; a folder holds one more.
	if report.Files.Read != len(frames) || report.Files.Other != 5+1+4 || len(report.Files.Unfinished) != 7+1 {
		t.Errorf("the report is on %d files and counts %d others and %d that are not complete, want %d, 10 and 8; remarks\n%s",
			report.Files.Read, report.Files.Other, len(report.Files.Unfinished), len(frames), remarks.String())
	}

	watcher, err := watch.New(w.folder, watch.Options{Settle: 20 * time.Millisecond, Ready: w.readers.ready, Skip: shoot.PassedOver})
	must(t, err)
	ctx, stop := context.WithCancel(t.Context())
	go watcher.Run(ctx)
	for e := range watcher.Events() {
		must(t, w.take(t.Context(), e))
		if e.Kind == watch.CaughtUp {
			break
		}
	}
	stop()
	if _, err := w.live.Look(t.Context(), time.Now(), true, true); err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, session := range w.live.Result().Sessions {
		for _, q := range session.Sequences {
			for _, f := range q.Frames {
				got = append(got, f.Path())
			}
		}
	}
	slices.Sort(got)
	if diff := cmp.Diff(frames, got); diff != "" {
		t.Errorf("frames of the watch (-want +got):\n%s", diff)
	}

	w.f.format = "json"
	w.shown.Reset()
	status, err := w.finish(t.Context())
	if err != nil || int(status) != wantStatus {
		t.Errorf("the watch ends with %d, the report with %d; error %v", status, wantStatus, err)
	}
	var last struct{ Report any }
	must(t, json.NewDecoder(io.Reader(&w.shown)).Decode(&last))
	var whole any
	must(t, json.Unmarshal(want.Bytes(), &whole))
	if diff := cmp.Diff(whole, last.Report); diff != "" {
		t.Errorf("(-report +watch):\n%s", diff)
	}
}

// litter fills the folder with frames, whose paths it returns, and with 17 files that
// are none: a sidecar, a sound file, a database, settings, a note; eight
// unfinished copies; and a pipe, a link to it, a socket, a device. Others lie in
// folders that count for nothing.
func litter(t *testing.T, w *handWatch) (frames []string) {
	t.Helper()
	frames = []string{"BX1_0002.JPG", "BX1_0003.JPG", "BX1_0004.JPG", "deep/er/BX1_0005.JPG", "linked.JPG", "no-extension"}
	for i := range 6 {
		w.copy(2+i, 1, time.Minute)
	}
	put := func(from, to string) {
		t.Helper()
		to = filepath.Join(w.folder, filepath.FromSlash(to))
		must(t, os.MkdirAll(filepath.Dir(to), 0o777))
		data, err := os.ReadFile(filepath.Join(w.folder, from))
		must(t, err)
		must(t, os.WriteFile(to, data, 0o666))
	}
	put("BX1_0005.JPG", "deep/er/BX1_0005.JPG")
	put("BX1_0006.JPG", "no-extension")
	outside := t.TempDir()
	must(t, os.Rename(filepath.Join(w.folder, "BX1_0007.JPG"), filepath.Join(outside, "BX1_0007.JPG")))
	must(t, os.Remove(filepath.Join(w.folder, "BX1_0005.JPG")))
	must(t, os.Remove(filepath.Join(w.folder, "BX1_0006.JPG")))
	const one = "BX1_0002.JPG"
	for _, folder := range []string{"@eaDir", "__MACOSX", "lost+found", "$RECYCLE.BIN", "System Volume Information", ".Trashes", "BX1_0009.JPG.download"} {
		put(one, folder+"/BX1_0009.JPG")
	}
	for _, end := range []string{".crdownload", ".partial", ".filepart", ".temp", "~", ".opdownload", ".part", ".TMP"} {
		put(one, "BX1_0009.JPG"+end)
	}
	for _, name := range []string{".BX1_0009.JPG", "._BX1_0009.JPG", "Thumbs.db", "BX1_0002.xmp", "notes", "BX1_0002.WAV", "deep/Desktop.ini"} {
		path := filepath.Join(w.folder, filepath.FromSlash(name))
		must(t, os.WriteFile(path, []byte("front, back"), 0o666))
	}
	must(t, syscall.Mkfifo(filepath.Join(w.folder, "fifo.JPG"), 0o666))
	socket, err := net.Listen("unix", filepath.Join(w.folder, "s.JPG"))
	must(t, err)
	t.Cleanup(func() { socket.Close() })
	for name, to := range map[string]string{
		"linked.JPG": filepath.Join(outside, "BX1_0007.JPG"), "folder": outside, "loop": ".", "deep/up": "..",
		"device.JPG": "/dev/zero", "to-fifo.JPG": "fifo.JPG", "nowhere.JPG": "nothing", "itself.JPG": "itself.JPG", "devices": "/dev",
	} {
		must(t, os.Symlink(to, filepath.Join(w.folder, filepath.FromSlash(name))))
	}
	return frames
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
