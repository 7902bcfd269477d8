package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/shoot"
)

// Where a file system has no links, each folder gets a list of its files.
func TestListWithoutLinks(t *testing.T) {
	defer func() { symlink = os.Symlink }()
	symlink = func(from, to string) error {
		return &os.LinkError{Op: "symlink", Old: from, New: to, Err: syscall.EPERM}
	}
	card := filepath.Join(t.TempDir(), "card")
	if err := writeCard(card); err != nil {
		t.Fatal(err)
	}
	into := filepath.Join(t.TempDir(), "stacks")
	var out, remarks bytes.Buffer
	if code := run(t.Context(), []string{"list", card, "--pixels", "off", "--kind", "bracket", "--into", into}, &console{out: &out, err: &remarks}); code != statusGood {
		t.Fatalf("exit status %d: %s", code, remarks.String())
	}
	if !strings.Contains(remarks.String(), "cannot hold links") || !strings.Contains(out.String(), "1 folder of lists") {
		t.Errorf("reported %q and %q", out.String(), remarks.String())
	}
	list, err := os.ReadFile(filepath.Join(into, "1.7 bracket", listName))
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Fields(string(list))
	if len(lines) != 3 || slices.ContainsFunc(lines, func(p string) bool { _, err := os.Stat(p); return err != nil }) {
		t.Errorf("listed %q, want three files that are there", lines)
	}
}

// Links bear the names of the frames where these keep the order, and else numbers before
// them; no two names are one on any file system.
func TestPlanFoldersKeepsTheOrder(t *testing.T) {
	for _, c := range []struct{ paths, want []string }{
		{[]string{"a/BX1_0001.NEF", "a/BX1_0001.JPG", "a/BX1_0002.NEF"}, []string{"BX1_0001.NEF", "BX1_0001.JPG", "BX1_0002.NEF"}},
		{[]string{"a/BX1_9999.NEF", "b/BX1_0001.NEF", "b/BX1_0001.JPG"}, []string{"1 BX1_9999.NEF", "2 BX1_0001.NEF", "2 BX1_0001.JPG"}},
		{[]string{"a/s_10.jpg", "a/s_9.jpg"}, []string{"s_10.jpg", "s_9.jpg"}},
		{[]string{"a/s_9.jpg", "a/s_10.jpg"}, []string{"1 s_9.jpg", "2 s_10.jpg"}},
		{[]string{"a/x.jpg", "b/X.JPG"}, []string{"1 x.jpg", "2 X.JPG"}},
		{[]string{"a/files.txt"}, []string{"files (2).txt"}},
	} {
		q := pickedSequence{Reviewed: &audit.Reviewed{Sequence: &shoot.Sequence{Run: &shoot.Run{}, ID: "1.1"}}}
		for _, p := range c.paths {
			q.files = append(q.files, &shoot.File{Path: p, Abs: "/card/" + p})
		}
		plan, err := new(listFlags).planFolders(&pickedList{sequences: []pickedSequence{q}})
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, l := range plan[0].links {
			got = append(got, l.name)
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%q become %q, want %q", c.paths, got, c.want)
		}
	}
}

// A sequence whose hole a later one closes is one with it: the frames of both are listed
// under the first, behind each other, and the later one is not listed again.
func TestListJoinsAPatch(t *testing.T) {
	text, err := audittest.Read(strings.NewReader(`
A/BX1_0001..0010.JPG every 1s time=2026-03-04T10:00:00+01:00 t=0.1 f=8 iso=100 mm=90 serial=4711 dist=0.31..0.32 wb=manual program=manual mode=manual
A/BX1_0011..0016.JPG after 300s every 1s dist=0.31..0.312
A/BX1_0017..0026.JPG after 300s every 1s dist=0.31..0.32
`))
	if err != nil {
		t.Fatal(err)
	}
	result, err := audit.Judge(t.Context(), &shoot.Collection{Files: text.Files}, &text.Options)
	if err != nil {
		t.Fatal(err)
	}
	all := result.Sessions[0].Sequences
	if len(result.Sessions) != 1 || len(all) != 3 {
		t.Fatalf("%d sessions, %d sequences", len(result.Sessions), len(all))
	}
	all[0].PatchedBy, all[1].Patches = []*audit.Reviewed{all[1]}, all[0]
	list := func(f *listFlags) string {
		t.Helper()
		p, err := f.pick(result)
		if err != nil {
			t.Fatal(err)
		}
		var text []string
		for _, q := range p.sequences {
			first, last := q.files[0].Path, q.files[len(q.files)-1].Path
			text = append(text, fmt.Sprintf("%s: %d, %s to %s", q.ID, len(q.files), first[6:10], last[6:10]))
		}
		return strings.Join(text, "; ")
	}
	for _, c := range []struct {
		sequences []string
		want      string
	}{
		{nil, "1.1: 16, 0001 to 0016; 1.3: 10, 0017 to 0026"},
		{[]string{"1.2"}, "1.2: 6, 0011 to 0016"},
		{[]string{"1.1"}, "1.1: 16, 0001 to 0016"},
	} {
		if got := list(&listFlags{kind: anything, verdict: anything, files: "all", sequences: c.sequences}); got != c.want {
			t.Errorf("%q: listed %q, want %q", c.sequences, got, c.want)
		}
	}
}
