package config

import (
	"bytes"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"prestrike/audit"
	"prestrike/audit/shoot"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// writeConfig writes a configuration file to a folder of its own.
func writeConfig(t *testing.T, text string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), Name)
	if err := os.WriteFile(file, []byte(text), 0o640); err != nil {
		t.Fatal(err)
	}
	return file
}

func content(t *testing.T, file string) string {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

const shotList = `# The catalogue.
[shoot]
support = "tripod" # heavy

[[view]]           # first
  name = "Front,  raking light" # on the left
kind = "focus"
# with the long lens
frames = 40

[[view]]
sequence = "BX1_0101.JPG" # not sure
name = 'keel'

[[view]]
name = "back"
sequence = 'BX1_0043.JPG'

[[accept]]
rule = "iso-drift"
reason = "meant"
`

// Naming a view changes its line alone, and takes the sequence from the view that had it.
func TestNameView(t *testing.T) {
	of := func(frame string) bool { return frame == "BX1_0043.JPG" || frame == "BX1_0101.JPG" }
	none := func(string) bool { return false }
	for _, c := range []struct {
		what, text string
		v          audit.View
		of         func(string) bool
		old, new   string // of the text; empty for what is put behind it
	}{
		{"an entry without a sequence", shotList, audit.View{Name: "front, raking light", Sequence: "BX1_0007.JPG"}, none, "# on the left\n", "# on the left\nsequence = 'BX1_0007.JPG'\n"},
		{"an entry with one", shotList, audit.View{Name: "back", Sequence: "BX1_0007.JPG"}, none, "'BX1_0043.JPG'", "'BX1_0007.JPG'"},
		{"a comment behind it", shotList, audit.View{Name: "Keel", Sequence: "BX1_0007.JPG"}, none, `"BX1_0101.JPG"`, "'BX1_0007.JPG'"},
		{"another had it", shotList, audit.View{Name: "keel", Sequence: "BX1_0044.JPG"}, of, "\"BX1_0101.JPG\" # not sure\nname = 'keel'\n\n[[view]]\nname = \"back\"\nsequence = 'BX1_0043.JPG'\n", "'BX1_0044.JPG' # not sure\nname = 'keel'\n\n[[view]]\nname = \"back\"\n"},
		{"another had it, with a comment", shotList, audit.View{Name: "back", Sequence: "BX1_0044.JPG"}, of, "sequence = \"BX1_0101.JPG\" # not sure\nname = 'keel'\n\n[[view]]\nname = \"back\"\nsequence = 'BX1_0043.JPG'", "# not sure\nname = 'keel'\n\n[[view]]\nname = \"back\"\nsequence = 'BX1_0044.JPG'"},
		{"a new one", shotList, audit.View{Name: "ribs", Kind: shoot.Focus, HasKind: true, Frames: 22, Sequence: "BX1_0007.JPG"}, none, "", "\n[[view]]\nname = 'ribs'\nkind = 'focus'\nframes = 22\nsequence = 'BX1_0007.JPG'\n"},
		{"a path with quotes", shotList, audit.View{Name: "back", Sequence: `a'b"c/BX1_0007.JPG`}, none, "'BX1_0043.JPG'", `"a'b\"c/BX1_0007.JPG"`},
		{"no line break at the end", "[[view]]\nname = \"a\"", audit.View{Name: "a", Sequence: "x.JPG"}, none, "\"a\"", "\"a\"\nsequence = 'x.JPG'\n"},
		{"line breaks of another system", "# a\r\n[[view]]\r\nname = \"a\"\r\n# end\r\n", audit.View{Name: "a", Sequence: "x.JPG"}, none, "\"a\"\r\n", "\"a\"\r\nsequence = 'x.JPG'\r\n"},
		{"a new one with them", "# a\r\n[[view]]\r\nname = \"a\"\r\n", audit.View{Name: "b", Sequence: "x.JPG"}, none, "", "\r\n[[view]]\r\nname = 'b'\r\nsequence = 'x.JPG'\r\n"},
		{"a mark of an editor", "\uFEFF[[view]]\nname = \"a\"\n", audit.View{Name: "a", Sequence: "x.JPG"}, none, "\"a\"\n", "\"a\"\nsequence = 'x.JPG'\n"},
		{"a name over two lines", "[[view]]\nname = \"\"\"a \\\n  b\"\"\" # both\nframes = 4\n", audit.View{Name: "a b", Sequence: "x.JPG"}, none, "# both\n", "# both\nsequence = 'x.JPG'\n"},
	} {
		file := writeConfig(t, c.text)
		change, err := Write(file, []*audit.Rule{configRule}, NameViewStep(c.v, c.of))
		if err != nil {
			t.Errorf("%s: %v", c.what, err)
			continue
		}
		want := c.text + c.new
		if c.old != "" {
			if strings.Count(c.text, c.old) != 1 {
				t.Fatalf("%s: %q is not once in the file", c.what, c.old)
			}
			want = strings.Replace(c.text, c.old, c.new, 1)
		}
		if got := content(t, file); got != want {
			t.Errorf("%s: got\n%q\nwant\n%q", c.what, got, want)
		}
		o := audit.Options{Rules: []*audit.Rule{configRule}}
		if _, err := Read(&o, file); err != nil {
			t.Errorf("%s: %v", c.what, err)
		}
		for _, v := range o.Views {
			if SameView(v.Name, c.v.Name) != (v.Sequence == c.v.Sequence) {
				t.Errorf("%s: %q shows %q", c.what, v.Name, v.Sequence)
			}
		}
		if err := change.TakeBack(); err != nil {
			t.Errorf("%s: %v", c.what, err)
		}
		if got := content(t, file); got != c.text {
			t.Errorf("%s: taken back to\n%q", c.what, got)
		}
	}
}

// Whatever text is written as a value is read as that text, and adds nothing else.
func TestHostileValuesAreOneValue(t *testing.T) {
	for _, text := range []string{
		"\"\nseverity = \"off\"", "'''", `"""`, "\\", "a\r\n[[accept]]\nrule = \"x\"", "\x00\x01\x1b[2J", "\u202egnp", "'", "' # \"", "[rule.iso-drift]\noff = true", "}\n[shoot]\nplanned-frames = 3", "\u2028\u0085",
	} {
		file := writeConfig(t, shotList)
		v := audit.View{Name: "new " + text, Sequence: "f" + text}
		_, err := Write(file, []*audit.Rule{configRule}, AcceptStep(audit.Acceptance{Rule: "iso-drift", Frame: text, Reason: "r" + text}),
			RetakenStep(audit.Retaken{Sequence: "s" + text, By: "b" + text}), NameViewStep(audit.View{Name: "keel", Sequence: "k" + text}, func(string) bool { return false }),
			NameViewStep(v, func(string) bool { return false }))
		if err != nil {
			t.Errorf("%q: %v", text, err)
			continue
		}
		o := audit.Options{Rules: []*audit.Rule{configRule}}
		if _, err := Read(&o, file); err != nil {
			t.Errorf("%q: %v in\n%s", text, err, content(t, file))
			continue
		}
		if len(o.Accept) != 2 || o.Accept[1] != (audit.Acceptance{Rule: "iso-drift", Frame: text, Reason: "r" + text}) || len(o.Retaken) != 1 ||
			o.Retaken[0] != (audit.Retaken{Sequence: "s" + text, By: "b" + text}) || len(o.Views) != 4 || o.Views[1].Sequence != "k"+text ||
			o.Views[3].Sequence != v.Sequence || o.PlannedFrames != 0 || len(o.Off) != 0 {
			t.Errorf("%q: read as %+v", text, o)
		}
	}
}

// A change is written on what stands in the file now, and taken back only where nobody
// wrote since; of two steps both are written or none.
func TestWriteAndTakeBack(t *testing.T) {
	rules := []*audit.Rule{configRule}
	meant := AcceptStep(audit.Acceptance{Rule: "iso-drift", Frame: "BX1_0118.NEF", Reason: "meant"})
	file := filepath.Join(t.TempDir(), Name)
	none := Fingerprint(file)
	change, err := Write(file, rules, meant)
	if err != nil {
		t.Fatal(err)
	}
	if Fingerprint(file) == none {
		t.Error("the fingerprint has not changed")
	}
	if err := change.TakeBack(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(file); !errors.Is(err, os.ErrNotExist) || Fingerprint(file) != none {
		t.Errorf("the file that was made is still there: %v", err)
	}
	if change, err = Write(file, rules, meant); err != nil {
		t.Fatal(err)
	}
	hand := content(t, file) + "\n# by hand\n"
	if err := os.WriteFile(file, []byte(hand), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := change.TakeBack(); !errors.Is(err, ErrChanged) || content(t, file) != hand {
		t.Errorf("taken back over what was written by hand: %v", err)
	}
	// Written by hand between reading and writing.
	_, err = Write(file, rules, func(text []byte) ([]byte, error) {
		return meantAgain(text), os.WriteFile(file, []byte(hand+"# once more\n"), 0o600)
	})
	if !errors.Is(err, ErrChanged) || content(t, file) != hand+"# once more\n" {
		t.Errorf("written over what was written by hand: %v", err)
	}
	unknown := AcceptStep(audit.Acceptance{Rule: "no-such-rule", Reason: "meant"})
	if _, err := Write(file, rules, meant, unknown); err == nil || content(t, file) != hand+"# once more\n" {
		t.Errorf("half of it was written: %v", err)
	}
	if err := os.WriteFile(file, []byte("[shoot\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Write(file, rules, meant); err == nil || content(t, file) != "[shoot\n" {
		t.Errorf("a file with a mistake was written: %v", err)
	}
	entries, err := os.ReadDir(filepath.Dir(file))
	if err != nil || len(entries) != 1 {
		t.Errorf("left behind: %v, %v", entries, err)
	}
}

func meantAgain(text []byte) []byte { return append(bytes.Clone(text), "# meant\n"...) }

// FuzzNameView holds that naming a view changes nothing else of any file without mistakes.
func FuzzNameView(f *testing.F) {
	for _, text := range []string{shotList, strings.ReplaceAll(shotList, "\n", "\r\n"), "\uFEFF" + shotList, "", "[[view]]\nname = \"\"\"a\\\n b\"\"\"", "view = []", "[[view]]\n\"name\" = 'a'\nsequence=\"\"#", "[[vieW]]\nname = \"b\""} {
		f.Add([]byte(text), "keel", "BX1_0043.JPG")
		f.Add([]byte(text), "a b", "'\"\n")
	}
	f.Fuzz(func(t *testing.T, text []byte, name, frame string) {
		name = strings.TrimSpace(name)
		if name == "" || !utf8.ValidString(name) || frame == "" || !utf8.ValidString(frame) {
			return
		}
		before := audit.Options{Rules: []*audit.Rule{configRule}}
		if _, err := read(&before, Name, text); err != nil {
			return
		}
		written, err := NameViewStep(audit.View{Name: name, Sequence: frame}, func(string) bool { return false })(bytes.Clone(text))
		if err != nil {
			t.Fatalf("%v in\n%q", err, text)
		}
		after := audit.Options{Rules: []*audit.Rule{configRule}}
		if _, err := read(&after, Name, written); err != nil {
			if len(written) > maxBytes || tooManyKeys(written) {
				return
			}
			t.Fatalf("%v in\n%q", err, written)
		}
		found := false
		for i := range after.Views {
			v := &after.Views[i]
			if !SameView(v.Name, name) {
				continue
			}
			if v.Sequence != frame {
				t.Errorf("%q shows %q", v.Name, v.Sequence)
			}
			found = true
			if i < len(before.Views) {
				v.Sequence = before.Views[i].Sequence
			} else {
				after.Views = after.Views[:i]
			}
			break
		}
		if diff := cmp.Diff(before, after, cmpopts.EquateEmpty(), cmpopts.EquateNaNs(), cmpopts.IgnoreFields(audit.Options{}, "Rules", "Now")); !found || diff != "" {
			t.Errorf("found: %v, and else (-before +after):\n%s\n%q\n%q", found, diff, text, written)
		}
	})
}

// TestViewsAreWrittenAsCamerasShow: an exposure time is written as a fraction where cameras
// show one, and read as it was.
func TestViewsAreWrittenAsCamerasShow(t *testing.T) {
	for seconds, want := range map[float64]string{
		1.0 / 30: "'1/30 s'", 0.03125: "'1/32 s'", 0.8: "'0.8 s'", 2.5: "'2.5 s'", 1e-4: "'1/10000 s'",
		0.37: "", 0.0123: "", 75: "",
	} {
		file := filepath.Join(t.TempDir(), Name)
		if err := AddView(file, nil, audit.View{Name: "keel", ExposureTime: seconds}); err != nil {
			t.Fatal(err)
		}
		text, err := os.ReadFile(file)
		if err != nil || !strings.Contains(string(text), "exposure-time = "+want) {
			t.Errorf("%v s: %v, the file is\n%s\nwant %s", seconds, err, text, want)
		}
		o := &audit.Options{}
		if _, err := Read(o, file); err != nil {
			t.Errorf("%v s: %v", seconds, err)
			continue
		}
		if got := o.Views[0].ExposureTime; math.Abs(got/seconds-1) > 0.01 {
			t.Errorf("%v s is read as %v s from\n%s", seconds, got, text)
		}
	}
}
