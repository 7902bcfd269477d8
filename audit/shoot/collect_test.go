package shoot_test

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// jpeg is a small picture without capture data.
const jpeg = "\xff\xd8\xff\xdb\x00\x04\x00\x00\xff\xc0\x00\x0b\x08\x00\x10\x00\x10\x01\x01\x11\x00\xff\xda\x00\x08\x01\x01\x00\x00\x3f\x00\x55\xff\xd9"

// tree makes files below a new folder.
func tree(t *testing.T, files map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, content := range files {
		p := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(p), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(p, []byte(content), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func collect(t *testing.T, dirs ...string) *shoot.Collection {
	t.Helper()
	c, err := shoot.Collect(t.Context(), dirs, nil)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func paths(c *shoot.Collection) []string {
	var p []string
	for _, f := range c.Files {
		mark := ""
		if f.Err != nil {
			mark = " unreadable"
		}
		p = append(p, f.Path+mark)
	}
	return p
}

func TestCollect(t *testing.T) {
	dir := tree(t, map[string]string{
		"DCIM/100BXCAM/BX1_0002.JPG":     jpeg,
		"DCIM/100BXCAM/BX1_0001.JPG":     jpeg,
		"DCIM/100BXCAM/._BX1_0001.JPG":   "ghost",
		"DCIM/100BXCAM/BX1_0003.JPG":     "",
		"DCIM/100BXCAM/BX1_0004.NEF":     strings.Repeat("\x00", 5000),
		"DCIM/100BXCAM/BX1_0001.xmp":     "<x/>",
		"DCIM/100BXCAM/CLIP0001.MP4":     "clip",
		"DCIM/100BXCAM/notes":            "some notes",
		"DCIM/100BXCAM/wrong.nef":        jpeg,
		"DCIM/100BXCAM/picture":          jpeg,
		".hidden/BX1_0009.JPG":           jpeg,
		"System Volume Information/a.db": "x",
		"\xff\xfe.JPG":                   jpeg,
	})
	c := collect(t, dir)
	want := []string{
		"DCIM/100BXCAM/BX1_0001.JPG", "DCIM/100BXCAM/BX1_0002.JPG", "DCIM/100BXCAM/BX1_0003.JPG unreadable", "DCIM/100BXCAM/BX1_0004.NEF unreadable",
		"DCIM/100BXCAM/picture", "DCIM/100BXCAM/wrong.nef", "\xff\xfe.JPG",
	}
	if diff := cmp.Diff(want, paths(c)); diff != "" {
		t.Errorf("files (-want +got):\n%s", diff)
	}
	if c.Other != 3 {
		t.Errorf("%d other files, want 3: a sidecar, a clip, a note", c.Other)
	}
	if len(c.Problems) != 0 {
		t.Errorf("problems: %v", c.Problems)
	}
}

func TestCollectSeveralFoldersNamesThem(t *testing.T) {
	dir := tree(t, map[string]string{"one/a.jpg": jpeg, "two/a.jpg": jpeg})
	c := collect(t, filepath.Join(dir, "one"), filepath.Join(dir, "two"))
	if diff := cmp.Diff([]string{"one/a.jpg", "two/a.jpg"}, paths(c)); diff != "" {
		t.Errorf("files (-want +got):\n%s", diff)
	}
}

func TestCollectFoldersOfOneName(t *testing.T) {
	dir := tree(t, map[string]string{"one/DCIM/a.jpg": jpeg, "two/DCIM/a.jpg": jpeg})
	t.Chdir(dir)
	c := collect(t, filepath.Join("one", "DCIM"), filepath.Join("two", "DCIM"))
	if diff := cmp.Diff([]string{"one/DCIM/a.jpg", "two/DCIM/a.jpg"}, paths(c)); diff != "" {
		t.Errorf("files (-want +got):\n%s", diff)
	}
}

func TestCollectProblems(t *testing.T) {
	dir := tree(t, map[string]string{"good/a.jpg": jpeg, "file.jpg": jpeg})
	c := collect(t, filepath.Join(dir, "good"), filepath.Join(dir, "absent"), filepath.Join(dir, "file.jpg"))
	if len(c.Files) != 1 || len(c.Problems) != 2 {
		t.Fatalf("%d files, problems %v; want one file and two problems", len(c.Files), c.Problems)
	}
	for i, part := range []string{"no such folder", "is a file"} {
		if !strings.Contains(c.Problems[i].Error(), part) {
			t.Errorf("problem %q does not say %q", c.Problems[i], part)
		}
	}
	if _, err := shoot.Collect(t.Context(), []string{filepath.Join(dir, "absent")}, nil); err == nil || !strings.Contains(err.Error(), "absent") {
		t.Errorf("nothing but an absent folder: %v, want an error that names it", err)
	}
}

// Links to files count as the files, links to folders are not followed; only
// those that lead elsewhere are worth a word.
func TestCollectLinks(t *testing.T) {
	dir := tree(t, map[string]string{"DCIM/100BXCAM/BX1_0001.JPG": jpeg, "elsewhere/BX1_0002.JPG": jpeg})
	shoot := filepath.Join(dir, "DCIM")
	for link, to := range map[string]string{
		"latest": "100BXCAM", "loop": ".", "up": "..", "out": "../elsewhere", "@eaDir": "../elsewhere", ".out": "../elsewhere",
		"dangling": "nowhere", "file.JPG": "100BXCAM/BX1_0001.JPG", "100BXCAM/to-itself": "to-itself",
	} {
		if err := os.Symlink(to, filepath.Join(shoot, link)); err != nil {
			t.Skipf("no symbolic links here: %v", err)
		}
	}
	link := filepath.Join(dir, "card")
	if err := os.Symlink("DCIM", link); err != nil {
		t.Fatal(err)
	}
	c := collect(t, link)
	if diff := cmp.Diff([]string{"100BXCAM/BX1_0001.JPG", "file.JPG"}, paths(c)); diff != "" {
		t.Errorf("files (-want +got):\n%s", diff)
	}
	want := []string{
		filepath.Join(link, "100BXCAM", "to-itself") + ": the link leads nowhere",
		filepath.Join(link, "dangling") + ": the link leads nowhere",
		filepath.Join(link, "out") + " is a link to another folder",
		filepath.Join(link, "up") + " is a link to another folder",
	}
	if len(c.Problems) != len(want) {
		t.Fatalf("problems %v, want %q", c.Problems, want)
	}
	for i, p := range c.Problems {
		if !strings.HasPrefix(p.Error(), want[i]) {
			t.Errorf("problem %q, want %q", p, want[i])
		}
	}
	if c = collect(t, link, filepath.Join(dir, "elsewhere")); len(c.Files) != 3 || len(c.Problems) != 3 {
		t.Errorf("with the folder named that a link leads to: %v, problems %v; want its frame too, and nothing said of that link", paths(c), c.Problems)
	}
}

func TestPassedOver(t *testing.T) {
	for _, test := range []struct {
		name         string
		file, folder bool
	}{
		{"BX1_0001.NEF", false, false},
		{"BX1_0001.NEF.part", true, false},
		{"BX1_0001.NEF.PART", true, false},
		{"BX1_0001.NEF.partial", true, false},
		{"BX1_0001.NEF.filepart", true, false},
		{"BX1_0001.NEF.tmp", true, false},
		{"BX1_0001.NEF.temp", true, false},
		{"BX1_0001.NEF.crdownload", true, false},
		{"BX1_0001.NEF.opdownload", true, false},
		{"BX1_0001.NEF.download", true, true},
		{"BX1_0001.NEF~", true, false},
		{"~BX1_0001.NEF", false, false},
		{".BX1_0001.NEF", true, true},
		{"._BX1_0001.NEF", true, true},
		{"BX1_0001.xmp", true, false},
		{"Thumbs.db", true, false},
		{"thumbs", false, false},
		{"part", false, false},
		{"counterpart", false, false},
		{"@eaDir", false, true},
		{"__MACOSX", false, true},
		{"lost+found", false, true},
		{"System Volume Information", false, true},
		{"$RECYCLE.BIN", true, true},
		{"DCIM", false, false},
	} {
		if file, folder := shoot.PassedOver(test.name, false), shoot.PassedOver(test.name, true); file != test.file || folder != test.folder {
			t.Errorf("PassedOver(%q): as a file %v, as a folder %v; want %v and %v", test.name, file, folder, test.file, test.folder)
		}
	}
}

func TestCollectStops(t *testing.T) {
	dir := tree(t, map[string]string{"a.jpg": jpeg})
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := shoot.Collect(ctx, []string{dir}, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("collecting with an ended context: %v", err)
	}
}

func TestCollectReportsProgress(t *testing.T) {
	files := map[string]string{}
	for _, n := range []string{"a.jpg", "b.jpg", "c.jpg"} {
		files[n] = jpeg
	}
	calls, last := 0, 0
	if _, err := shoot.Collect(t.Context(), []string{tree(t, files)}, func(done, total int) {
		calls++
		last = max(last, done)
		if total != 3 {
			t.Errorf("total %d, want 3", total)
		}
	}); err != nil {
		t.Fatal(err)
	}
	if calls != 3 || last != 3 {
		t.Errorf("%d calls up to %d, want 3 up to 3", calls, last)
	}
}

func TestCollectUnreadableFolder(t *testing.T) {
	if os.Getuid() == 0 {
		t.Skip("permissions do not bind the superuser")
	}
	dir := tree(t, map[string]string{"open/a.jpg": jpeg, "closed/b.jpg": jpeg, "c.jpg": jpeg})
	for _, p := range []string{"closed", "c.jpg"} {
		if err := os.Chmod(filepath.Join(dir, p), 0); err != nil {
			t.Fatal(err)
		}
	}
	defer os.Chmod(filepath.Join(dir, "closed"), 0o700)
	c := collect(t, dir)
	if len(c.Problems) != 2 || !errors.Is(c.Problems[0], fs.ErrPermission) {
		t.Errorf("problems %v, want the closed folder and the closed file", c.Problems)
	}
	if diff := cmp.Diff([]string{"c.jpg unreadable", "open/a.jpg"}, paths(c)); diff != "" {
		t.Errorf("files (-want +got):\n%s", diff)
	}
}

// TestCollectSurvivesReader holds that a file at which the program fails is reported as
// such, and the others are read.
func TestCollectSurvivesReader(t *testing.T) {
	folder := t.TempDir()
	for _, name := range []string{"BX1_0001.JPG", "BX1_0002.JPG", "BX1_0003.JPG"} {
		if err := os.WriteFile(filepath.Join(folder, name), []byte("picture"), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	read := func(ctx context.Context, abs, rel string) *shoot.File {
		if rel == "BX1_0002.JPG" {
			panic("at this file")
		}
		return shoot.ReadFile(ctx, abs, rel)
	}
	c, err := shoot.CollectBy(t.Context(), []string{folder}, read, nil)
	if err != nil || len(c.Files) != 3 {
		t.Fatalf("%+v, %v; want three files", c, err)
	}
	for i, f := range c.Files {
		failed, ok := errors.AsType[*exifread.PanicError](f.Err)
		if ok != (i == 1) || ok && (failed.Cause != "at this file" || f.Path != "BX1_0002.JPG" || f.Meta == nil) {
			t.Errorf("%s: error %v", f.Path, f.Err)
		}
	}
}

// TestCollectSurvivesProgress holds that what fails beside the files is an error and
// does not end the program.
func TestCollectSurvivesProgress(t *testing.T) {
	folder := tree(t, map[string]string{"BX1_0001.JPG": jpeg, "BX1_0002.JPG": jpeg})
	_, err := shoot.Collect(t.Context(), []string{folder}, func(int, int) { panic("no terminal") })
	if failed, ok := errors.AsType[*exifread.PanicError](err); !ok || failed.Cause != "no terminal" {
		t.Errorf("error %v", err)
	}
}
