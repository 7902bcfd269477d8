package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A stopper is a terminal on which someone types Ctrl-C as soon as it shows a word.
type stopper struct {
	bytes.Buffer
	word string
	stop context.CancelFunc
}

func (s *stopper) Write(b []byte) (int, error) {
	if bytes.Contains(b, []byte(s.word)) {
		s.stop()
	}
	return s.Buffer.Write(b)
}

// TestCopiesStop holds that a check that was stopped ends with 3, keeps what it
// read, goes on, and leaves nothing behind in the end.
func TestCopiesStop(t *testing.T) {
	from := card(t)
	to := card(t)
	kept := t.TempDir()
	cache := func() (string, error) { return kept, nil }
	journals := func() []string {
		list, err := filepath.Glob(filepath.Join(kept, "prestrike", "copies", "*"))
		if err != nil {
			t.Fatal(err)
		}
		return list
	}

	ctx, stop := context.WithCancel(t.Context())
	screen := &stopper{word: "comparing", stop: stop}
	var out bytes.Buffer
	if got := run(ctx, []string{"copies", from, to}, &console{out: &out, err: screen, errTerminal: true, cacheFolder: cache}); got != statusNotAudited {
		t.Errorf("exit status %d", got)
	}
	if out.Len() > 0 || !strings.Contains(screen.String(), "the same command goes on from there") {
		t.Errorf("stopped with the result %q and %q", out.String(), screen.String())
	}
	if len(journals()) != 1 {
		t.Fatalf("kept: %v", journals())
	}

	var remarks bytes.Buffer
	if got := run(t.Context(), []string{"copies", from, to}, &console{out: &out, err: &remarks, cacheFolder: cache}); got != statusGood {
		t.Errorf("exit status %d, %s%s", got, out.String(), remarks.String())
	}
	if !strings.HasSuffix(out.String(), "\nall 86 files are in 1 copy: the card may be formatted\n") || remarks.Len() > 0 {
		t.Errorf("%s%s", out.String(), remarks.String())
	}
	if len(journals()) > 0 {
		t.Errorf("left behind: %v", journals())
	}

	// Nothing is kept on the card or in a copy, nor where it is not wanted.
	for _, c := range []struct {
		args  []string
		cache string
	}{{[]string{"copies", from, to, "--no-resume"}, kept}, {[]string{"copies", from, to}, to}, {[]string{"copies", from, to}, from}} {
		ctx, stop := context.WithCancel(t.Context())
		screen := &stopper{word: "comparing", stop: stop}
		run(ctx, c.args, &console{out: &out, err: screen, errTerminal: true, cacheFolder: func() (string, error) { return c.cache, nil }})
		if _, err := os.Stat(filepath.Join(c.cache, "prestrike", "copies")); c.cache != kept && !os.IsNotExist(err) {
			t.Errorf("%v wrote to %s: %v", c.args, c.cache, err)
		}
		if len(journals()) > 0 {
			t.Errorf("%v kept %v", c.args, journals())
		}
	}
}

func TestProgressInBytes(t *testing.T) {
	var screen bytes.Buffer
	clock := time.Unix(0, 0)
	p := &progress{c: &console{err: &screen}, verb: "comparing", now: func() time.Time { return clock }, tellLeft: true, began: clock}
	clock = clock.Add(10 * time.Second)
	p.tellBytes(1_250_000_001, 5_000_000_004)
	if got, want := screen.String(), "\rcomparing 1.3 GB of 5.0 GB, about 30 s left\r"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestByteCount(t *testing.T) {
	for n, want := range map[int64]string{0: "0 bytes", 999: "999 bytes", 1000: "1.0 kB", 99_949: "99.9 kB", 999_499: "999 kB", 999_500: "1.0 MB", 64_000_000_000: "64.0 GB", 5e15: "5000 TB"} {
		if got := byteCount(n); got != want {
			t.Errorf("%d: got %q, want %q", n, got, want)
		}
	}
}

// TestCopiesStatus holds that the exit status and the last line mean the same.
func TestCopiesStatus(t *testing.T) {
	folder := func(files map[string]string) string {
		dir := t.TempDir()
		for name, content := range files {
			if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o666); err != nil {
				t.Fatal(err)
			}
		}
		return dir
	}
	from := folder(map[string]string{"CLIP.MOV": "film", "CLIP.xmp": "<1>", "NOTE.WAV": "sound"})
	for _, c := range []struct {
		name string
		copy map[string]string
		want int
		last string
	}{
		{"all", map[string]string{"1.mov": "film", "2.xmp": "<1>", "3.wav": "sound"}, statusGood, "all 3 files are in 1 copy: the card may be formatted\n"},
		{"an edited sidecar", map[string]string{"CLIP.MOV": "film", "CLIP.xmp": "<2>", "3.wav": "sound"}, statusGood, "all 2 files are in 1 copy, and 1 sidecar in another version: the card may be formatted\n"},
		{"missing", map[string]string{"1.mov": "film", "2.xmp": "<1>"}, statusReshoot, ": NOTE.WAV: do not format the card\n"},
		{"other bytes", map[string]string{"CLIP.MOV": "f1lm", "2.xmp": "<1>", "3.wav": "sound"}, statusReshoot, ": CLIP.MOV: do not format the card\n"},
	} {
		var out, remarks bytes.Buffer
		got := run(t.Context(), []string{"copies", from, folder(c.copy)}, &console{out: &out, err: &remarks})
		if got != c.want || !strings.HasSuffix(out.String(), c.last) || remarks.Len() > 0 {
			t.Errorf("%s: exit status %d, want %d; %s%s", c.name, got, c.want, out.String(), remarks.String())
		}
	}
}
