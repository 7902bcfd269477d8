package watch

import (
	"path/filepath"
	"testing"
)

func TestUnder(t *testing.T) {
	for _, test := range []struct {
		path, dir string
		want      bool
	}{
		{"a", "a", true},
		{"a/b", "a", true},
		{"a/b/c", "a", true},
		{"ab", "a", false},
		{"a", "a/b", false},
		{"b", "a", false},
		{"x/y", ".", true},
		{"/x", "/", true},
		{"/", "/", true},
		{"/xy", "/x", false},
	} {
		path, dir := filepath.FromSlash(test.path), filepath.FromSlash(test.dir)
		if got := under(path, dir); got != test.want {
			t.Errorf("under(%q, %q) = %v, want %v", path, dir, got, test.want)
		}
	}
}

func TestKindString(t *testing.T) {
	for k, want := range map[Kind]string{Found: "found", Polling: "polling", 0: "Kind(0)", 99: "Kind(99)"} {
		if got := k.String(); got != want {
			t.Errorf("Kind %d: got %q, want %q", int(k), got, want)
		}
	}
}
