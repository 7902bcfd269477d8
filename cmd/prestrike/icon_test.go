package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A folder that is dropped on the icon is shown as a page, and a window that would close
// waits for Enter.
func TestStartedByIcon(t *testing.T) {
	card, cache := filepath.Join(t.TempDir(), "card"), t.TempDir()
	if err := writeCard(card); err != nil {
		t.Fatal(err)
	}
	start := func(by icon, typed string, args ...string) (opened []string, said string, code int) {
		t.Helper()
		var out, remarks bytes.Buffer
		c := &console{
			in: strings.NewReader(typed), out: &out, err: &remarks, cacheFolder: func() (string, error) { return cache, nil },
			icon: by, open: func(file string) error { opened = append(opened, file); return nil },
			readme: func() string { return "/programs/README.html" },
		}
		code = run(t.Context(), args, c)
		return opened, out.String() + remarks.String(), code
	}
	for _, by := range []icon{iconAlone, iconWindow} {
		opened, said, code := start(by, "\n", card)
		if len(opened) != 1 || !strings.HasSuffix(opened[0], ".html") || code != statusReshoot {
			t.Errorf("icon %d: opened %v with status %d: %s", by, opened, code, said)
			continue
		}
		if page, err := os.ReadFile(opened[0]); err != nil || !bytes.Contains(page, []byte("<html")) {
			t.Errorf("icon %d: %s is no page (%v)", by, opened[0], err)
		}
		if waits := strings.Contains(said, "Press Enter to close this window."); waits != (by == iconWindow) {
			t.Errorf("icon %d: waits is %t", by, waits)
		}
		opened, said, code = start(by, "")
		if len(opened) != 1 || opened[0] != "/programs/README.html" || !strings.Contains(said, "drop the folder with your pictures") || code != statusGood {
			t.Errorf("icon %d, with nothing: opened %v, status %d, %s", by, opened, code, said)
		}
	}
	if opened, said, _ := start(noIcon, "", card); len(opened) != 0 || strings.Contains(said, "Press Enter") || !strings.Contains(said, "RESHOOT") {
		t.Errorf("from a terminal: opened %v, %s", opened, said)
	}
	if opened, said, code := start(iconWindow, "", filepath.Join(card, "nothing")); len(opened) != 0 || code != statusNotAudited || !strings.Contains(said, "Press Enter") {
		t.Errorf("a mistake: opened %v, status %d, %s", opened, code, said)
	}
}

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
