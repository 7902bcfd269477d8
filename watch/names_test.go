package watch

import (
	"path/filepath"
	"testing"
)

func TestIgnored(t *testing.T) {
	ignore := ignored(func(name string) bool { return name == "Thumbs.db" })
	for name, want := range map[string]bool{
		"BX1_0001.NEF":            false,
		"BX1_0001.NEF.part":       true,
		"BX1_0001.NEF.PART":       true,
		"BX1_0001.NEF~":           true,
		"~BX1_0001.NEF":           false,
		".BX1_0001.NEF":           true,
		"._BX1_0001.NEF":          true,
		".BX1_0001.NEF.Zk3f9a":    true,
		"BX1_0001.NEF.tmp":        true,
		"BX1_0001.NEF.crdownload": true,
		"BX1_0001.NEF.filepart":   true,
		"part":                    false,
		"counterpart":             false,
		"Thumbs.db":               true,
		"thumbs":                  false,
	} {
		if got := ignore(name); got != want {
			t.Errorf("ignored(%q) = %v, want %v", name, got, want)
		}
	}
	if ignored(nil)("BX1_0001.NEF") {
		t.Error("without a function of the caller's, BX1_0001.NEF is ignored")
	}
}

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
