package main

import (
	"os"
	"path/filepath"
	"testing"

	"prestrike/audit/config"
)

// A page that names a view copies the shot list of the user's own configuration folder, which
// the one in the folder replaces from then on.
func TestWatchKeepsTheUsersOwnList(t *testing.T) {
	w, p, file := startWriter(t)
	own := filepath.Join(os.Getenv("XDG_CONFIG_HOME"), "prestrike", config.Name)
	const list = "[[view]]\nname = \"front\"\noptional = true\n\n[[view]]\nname = \"back\"\nframes = 10\n"
	if err := os.MkdirAll(filepath.Dir(own), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(own, []byte(list), 0o666); err != nil {
		t.Fatal(err)
	}
	s := p.state()
	first := s.Write.Edition
	path, what := s.declared("1.2", "view", map[string]any{"view": "back"})
	if done, text := p.post(path, what); done || text != "The settings changed meanwhile: check the page, then try again." {
		t.Fatalf("%v, %q", done, text)
	}
	s = p.comes("the list", func(s pageState) bool { return s.Write.Edition != first })
	path, what = s.declared("1.2", "view", map[string]any{"view": "back"})
	if done, text := p.post(path, what); !done || text != "1.2 shows \"back\": written to prestrike.toml." {
		t.Fatalf("%v, %q", done, text)
	}
	want := "[[view]]\nname = 'front'\noptional = true\n\n[[view]]\nname = 'back'\nsequence = 'BX1_0023.JPG'\nframes = 10\n"
	if text := readConfig(t, file); text != want {
		t.Errorf("written:\n%s", text)
	}
	if text := readConfig(t, own); text != list {
		t.Errorf("the user's own list was changed:\n%s", text)
	}
	w.end()
}
