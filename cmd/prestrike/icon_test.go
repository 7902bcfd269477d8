package main

import (
	"bytes"
	"html"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// An iconStart is the program as started by its icon.
type iconStart struct {
	by     icon
	typed  string
	readme string // the page beside the program
	cache  string
	opened []string // pages
	said   string
	code   int
}

func (s *iconStart) run(t *testing.T, args ...string) {
	t.Helper()
	var out, remarks bytes.Buffer
	if s.cache == "" {
		s.cache = t.TempDir()
	}
	s.opened = nil
	s.code = run(t.Context(), args, &console{
		in: strings.NewReader(s.typed), out: &out, err: &remarks, cacheFolder: func() (string, error) { return s.cache, nil },
		icon: s.by, open: func(file string) error { s.opened = append(s.opened, file); return nil },
		readme: func() string { return s.readme },
	})
	s.said = out.String() + remarks.String()
}

// page returns the page that was opened, the only one.
func (s *iconStart) page(t *testing.T) string {
	t.Helper()
	if len(s.opened) != 1 {
		t.Errorf("icon %d: opened %v with status %d: %s", s.by, s.opened, s.code, s.said)
		return ""
	}
	page, err := os.ReadFile(s.opened[0])
	if err != nil {
		t.Error(err)
	}
	return string(page)
}

const closes = "Press Enter to end."

// A folder that is dropped on the icon is shown as a page, and a window that would close
// waits for Enter.
func TestDroppedOnTheIcon(t *testing.T) {
	card := filepath.Join(t.TempDir(), "card")
	if err := writeCard(card); err != nil {
		t.Fatal(err)
	}
	for _, by := range []icon{iconAlone, iconWindow} {
		s := &iconStart{by: by, typed: "\n"}
		s.run(t, card, "--pixels", "off")
		if page := s.page(t); s.code != statusReshoot || !strings.Contains(page, "Missing frames") {
			t.Errorf("icon %d: status %d, %s", by, s.code, s.said)
		}
		if waits := strings.Contains(s.said, closes); waits != (by == iconWindow) {
			t.Errorf("icon %d: waits is %t", by, waits)
		}
	}
	s := &iconStart{by: noIcon}
	s.run(t, card, "--pixels", "off")
	if len(s.opened) != 0 || strings.Contains(s.said, closes) || !strings.Contains(s.said, "RESHOOT") {
		t.Errorf("from a terminal: opened %v, %s", s.opened, s.said)
	}
}

// What went wrong can be read: in the window, which waits, or on a page.
func TestMistakeByTheIcon(t *testing.T) {
	folder := t.TempDir()
	text := filepath.Join(folder, "<b>.txt")
	if err := os.WriteFile(text, []byte("no picture"), 0o666); err != nil {
		t.Fatal(err)
	}
	for what, dropped := range map[string]string{"has no pictures": folder, "not there": filepath.Join(folder, "gone"), "a text": text} {
		s := &iconStart{by: iconWindow}
		s.run(t, dropped)
		if len(s.opened) != 0 || s.code != statusNotAudited || strings.Index(s.said, "prestrike: ") > strings.Index(s.said, closes) {
			t.Errorf("%s: opened %v, status %d, %s", what, s.opened, s.code, s.said)
		}
		s.by = iconAlone
		s.run(t, dropped)
		page := s.page(t)
		first, _, _ := strings.Cut(strings.TrimPrefix(s.said, "prestrike: "), "\n")
		if s.code != statusNotAudited || !strings.Contains(page, "<p>"+html.EscapeString(first)) || strings.Contains(page, "<b>") {
			t.Errorf("%s: status %d, the page is %s", what, s.code, page)
		}
	}
	// Where nothing may be written to the cache, as it is in the folder that was dropped.
	s := &iconStart{by: iconAlone, cache: filepath.Join(folder, "cache")}
	t.Setenv("TMPDIR", t.TempDir())
	s.run(t, folder)
	if page := s.page(t); !strings.Contains(page, "the cache folder") {
		t.Errorf("the page is %s", page)
	}
}

// With nothing, the window asks for a folder, as it is dropped on the window.
func TestStartedWithNothing(t *testing.T) {
	card := filepath.Join(t.TempDir(), "a card")
	if err := writeCard(card); err != nil {
		t.Fatal(err)
	}
	for _, typed := range []string{card + "\n", "  '" + card + "' \r\n\n", "\"" + card + "\"\n"} {
		s := &iconStart{by: iconWindow, typed: typed}
		s.run(t)
		if page := s.page(t); !strings.Contains(page, "Missing frames") || !strings.Contains(s.said, "Drag the folder with your pictures") || !strings.HasSuffix(s.said, closes+"\n") {
			t.Errorf("%q: status %d, %s", typed, s.code, s.said)
		}
	}
	for typed, by := range map[string]icon{"": iconWindow, "\n": iconWindow} {
		s := &iconStart{by: by, typed: typed}
		if s.run(t); len(s.opened) != 0 || s.code != statusGood || strings.Contains(s.said, closes) {
			t.Errorf("%q: opened %v, status %d, %s", typed, s.opened, s.code, s.said)
		}
	}
	// The archives for macOS and Linux open the window by this word.
	s := &iconStart{typed: "'" + card + "'\n"}
	if s.run(t, "begin"); !strings.Contains(s.page(t), "Missing frames") || !strings.Contains(s.said, closes) {
		t.Errorf("begin: %s", s.said)
	}
	if s.run(t, "begin", card); !strings.Contains(s.page(t), "Missing frames") || strings.Contains(s.said, "Drag") || !strings.Contains(s.said, closes) {
		t.Errorf("begin with a folder: %s", s.said)
	}

	s = &iconStart{by: iconAlone, readme: filepath.Join(t.TempDir(), "README.html")}
	if s.run(t); len(s.opened) != 1 || s.opened[0] != s.readme || s.code != statusGood {
		t.Errorf("without a window: opened %v, status %d", s.opened, s.code)
	}
	s.readme = ""
	if s.run(t); !strings.Contains(s.page(t), "Write ./prestrike report --open and a space.") {
		t.Errorf("without a window and a page: opened %v, status %d", s.opened, s.code)
	}
}

// What a window inserts where a file is dropped on it: as it stands, quoted, or with
// backslashes.
func TestDropped(t *testing.T) {
	for line, want := range map[string]string{
		`/media/card`:              "/media/card",
		`/Volumes/My\ Card\ \(2\)`: "/Volumes/My Card (2)",
		`'/media/a card'`:          "/media/a card",
		`'/media/it'\''s'`:         "/media/it's",
		`"/media/a \"card\""`:      `/media/a "card"`,
		`/media/end\`:              `/media/end\`,
	} {
		if got := dropped(line, "linux"); got != want {
			t.Errorf("%s: %s, want %s", line, got, want)
		}
	}
	for line, want := range map[string]string{`E:\`: `E:\`, `"C:\My Pictures\card"`: `C:\My Pictures\card`} {
		if got := dropped(line, "windows"); got != want {
			t.Errorf("%s: %s, want %s", line, got, want)
		}
	}
	odd := filepath.Join(t.TempDir(), `it's \ here`)
	if err := os.Mkdir(odd, 0o777); err != nil {
		t.Fatal(err)
	}
	if got := dropped(odd, "linux"); got != odd {
		t.Errorf("%s: %s", odd, got)
	}
}

// A fault of the program is named before the window waits.
func TestCrashInAWindow(t *testing.T) {
	var said bytes.Buffer
	c := &console{in: strings.NewReader("\n"), err: &said, icon: iconWindow, exit: func(int) {}}
	c.failed("out of luck")
	if before, _, waits := strings.Cut(said.String(), closes); !waits || !strings.Contains(before, "not everything was judged") {
		t.Errorf("said %s", said.String())
	}
	said.Reset()
	c = &console{in: strings.NewReader("\n"), err: &said, icon: iconWindow, out: panicking{}}
	if code := run(t.Context(), []string{"rules"}, c); code != statusNotAudited {
		t.Errorf("status %d", code)
	}
	if before, _, waits := strings.Cut(said.String(), closes); !waits || !strings.Contains(before, "not everything was judged") {
		t.Errorf("said %s", said.String())
	}
}

type panicking struct{}

func (panicking) Write([]byte) (int, error) { panic("out of luck") }

func TestUnseen(t *testing.T) {
	null, err := os.OpenFile(os.DevNull, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer null.Close()
	kept, err := os.Create(filepath.Join(t.TempDir(), "log"))
	if err != nil {
		t.Fatal(err)
	}
	defer kept.Close()
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	defer w.Close()
	if !unseen(null) || unseen(kept) || unseen(w) {
		t.Errorf("unseen: null %t, a file %t, a pipe %t", unseen(null), unseen(kept), unseen(w))
	}
	none := func(string) string { return "" }
	if desktopThere("linux", none) || !desktopThere("darwin", none) || !desktopThere("linux", func(name string) string { return map[string]string{"DISPLAY": ":0"}[name] }) {
		t.Error("the desktop is not recognised")
	}
}
