package main

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// TestOpen holds that --open writes the page to the cache folder, the same file for the same
// folders, deletes what is old there and its own, and opens it.
func TestOpen(t *testing.T) {
	card, cache := filepath.Join(t.TempDir(), "card"), t.TempDir()
	if err := writeCard(card); err != nil {
		t.Fatal(err)
	}
	pages := filepath.Join(cache, "prestrike", "pages")
	old, foreign := filepath.Join(pages, strings.Repeat("0", 32)+".html"), filepath.Join(pages, "notes.html")
	if err := os.MkdirAll(pages, 0o777); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{old, foreign} {
		if err := os.WriteFile(name, []byte("x"), 0o666); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(name, time.Now(), time.Now().Add(-2*pageKept)); err != nil {
			t.Fatal(err)
		}
	}
	var opened []string
	var fails error
	open := func(args ...string) string {
		t.Helper()
		var out, remarks bytes.Buffer
		c := &console{
			out: &out, err: &remarks, cacheFolder: func() (string, error) { return cache, nil },
			open: func(file string) error { opened = append(opened, file); return fails },
		}
		args = append([]string{"report", card, "--open", "--pictures", "none", "--pixels", "off", "--fail-on", "never"}, args...)
		if got := run(t.Context(), args, c); got != statusGood || out.Len() > 0 {
			t.Fatalf("status %d: %s%s", got, out.String(), remarks.String())
		}
		return remarks.String()
	}
	open()
	open()
	named := filepath.Join(t.TempDir(), "page.html")
	open("-o", named)
	if len(opened) != 3 || opened[0] != opened[1] || filepath.Dir(opened[0]) != pages || opened[2] != named {
		t.Errorf("opened %q", opened)
	}
	for _, file := range []string{opened[0], named} {
		if text, err := os.ReadFile(file); err != nil || !bytes.HasPrefix(text, []byte("<!doctype html>")) {
			t.Errorf("%s is no page: %v", file, err)
		}
	}
	if _, err := os.Stat(old); err == nil {
		t.Error("an old page is still there")
	}
	if _, err := os.Stat(foreign); err != nil {
		t.Error("a file of somebody else was deleted")
	}
	fails = errors.New("no browser")
	if said := open(); !strings.Contains(said, "the page could not be opened (no browser): open "+pages) {
		t.Errorf("where it cannot be opened: %q", said)
	}
}

// TestOpenCommand holds what opens a file, by system.
func TestOpenCommand(t *testing.T) {
	for system, want := range map[string]string{"linux": "xdg-open", "freebsd": "xdg-open", "darwin": "open", "windows": "rundll32"} {
		if got := openCommand(system, "/a b/page.html"); got[0] != want || !slices.Contains(got, "/a b/page.html") {
			t.Errorf("%s: %q", system, got)
		}
	}
}
