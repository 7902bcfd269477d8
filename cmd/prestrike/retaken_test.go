package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"prestrike/audit/config"
)

// A declared retake holds in the report, the page and the list alike; one that does not
// hold is named there, and leaves the fault open.
func TestDeclaredRetakeHoldsEverywhere(t *testing.T) {
	folder := card(t)
	shown := func(args ...string) string {
		t.Helper()
		var out, remarks bytes.Buffer
		if code := run(t.Context(), append(args, "--pixels", "off"), &console{out: &out, err: &remarks}); code == statusNotAudited {
			t.Fatalf("%q: %s", args, remarks.String())
		}
		return strings.Join(strings.Fields(out.String()+remarks.String()), " ")
	}
	declare := func(sequence, by string) {
		t.Helper()
		text := "[[retaken]]\nsequence = \"" + sequence + "\"\nby = \"" + by + "\"\n"
		if err := os.WriteFile(filepath.Join(folder, config.Name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	page := filepath.Join(t.TempDir(), "page.html")
	for _, c := range []struct {
		sequence, by string
		report, list string
	}{
		{"BX1_0078.JPG", "BX1_0028.JPG", "Not retaken as declared: BX1_0078.JPG by BX1_0028.JPG: 1.5 was shot before 1.12: exchange the two.", ""},
		{"BX1_0060.JPG", "BX1_0079.JPG", "Not retaken as declared: BX1_0060.JPG by BX1_0079.JPG: both frames are in 1.12: name one of the later sequence.", ""},
		{"BX1_0018.JPG", "BX1_0028.JPG", "Not retaken as declared: BX1_0018.JPG by BX1_0028.JPG: BX1_0018.JPG: no frame has this name.", ""},
		{"BX1_0040.JPG", "BX1_0052.JPG", "1.11 repeats 1.9", "1.9 is left out: 1.11 is its retake"},
		{"BX1_0016.JPG", "BX1_0052.JPG", "Missing frames (1.4): 0017 and 0018 are not there; 0016 to 0019 took 3.9 s, where a frame comes every 1.3 s. 1.11 is its retake, as declared.", "1.4 is left out: 1.11 is its retake"},
	} {
		declare(c.sequence, c.by)
		if got := shown("report", folder); !strings.Contains(got, c.report) {
			t.Errorf("%s by %s: the report lacks %q:\n%s", c.sequence, c.by, c.report, got)
		}
		if got := shown("list", folder); !strings.Contains(got, c.list) {
			t.Errorf("%s by %s: the list lacks %q:\n%s", c.sequence, c.by, c.list, got)
		}
		shown("report", folder, "--format", "html", "--pictures", "none", "-o", page, "--overwrite")
		written, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		if named := strings.Contains(string(written), "Not retaken as declared"); named != (c.list == "") {
			t.Errorf("%s by %s: the page names a declaration that does not hold: %v", c.sequence, c.by, named)
		}
		if declared := strings.Contains(string(written), "1.11 is its retake, as declared"); declared != strings.HasSuffix(c.report, "as declared.") {
			t.Errorf("%s by %s: the page names the declared retake: %v", c.sequence, c.by, declared)
		}
	}
}
