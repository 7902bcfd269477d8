package copies

import (
	"bytes"
	"crypto/sha256"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// hostile are names that a manifest must carry unharmed.
var hostile = tree{
	"a.jpg": "1", "-": "2", "--check": "3", " blank ": "4", "two\nlines.jpg": "5", `back\slash`: "6", "return\r": "7", `\n`: "8",
	"sub/Größe 感.jpg": "9", "bytes\xff.jpg": "10", "*star": "11", "#note": "12",
}

func manifestOf(t *testing.T, dir string) []byte {
	t.Helper()
	other := hostile.write(t, t.TempDir(), "copy")
	a, err := Compare(t.Context(), dir, []string{other}, &Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got := said(a); len(got) > 0 {
		t.Fatalf("found %v", got)
	}
	var text bytes.Buffer
	if err := WriteManifest(&text, a.Needed); err != nil {
		t.Fatal(err)
	}
	return text.Bytes()
}

func TestManifestIsReadBack(t *testing.T) {
	dir := hostile.write(t, t.TempDir(), "card")
	text := manifestOf(t, dir)
	files, err := ReadManifest(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]Sum{}
	for _, f := range files {
		got[f.Path] = f.Sum
	}
	want := map[string]Sum{}
	for name, content := range hostile {
		want[name] = sha256.Sum256([]byte(content))
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
	a, err := CheckManifest(t.Context(), files, []string{dir}, &Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got := said(a); len(got) > 0 {
		t.Errorf("found %v", got)
	}
	if err := os.WriteFile(filepath.Join(dir, "a.jpg"), []byte("x"), 0o666); err != nil {
		t.Fatal(err)
	}
	a, err = CheckManifest(t.Context(), files, []string{dir}, &Options{})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]string{"a.jpg has other bytes there"}, said(a)); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
}

// sha256sum checks the manifest, and what it writes is read.
func TestManifestAgainstSha256sum(t *testing.T) {
	tool, err := exec.LookPath("sha256sum")
	if err != nil {
		t.Skip("sha256sum is not installed")
	}
	if out, err := exec.Command(tool, "--version").Output(); err != nil || !bytes.Contains(out, []byte("GNU coreutils")) {
		t.Skip("sha256sum is not that of GNU coreutils")
	}
	dir := hostile.write(t, t.TempDir(), "card")
	file := filepath.Join(t.TempDir(), "manifest")
	if err := os.WriteFile(file, manifestOf(t, dir), 0o666); err != nil {
		t.Fatal(err)
	}
	check := exec.Command(tool, "-c", "--strict", file)
	check.Dir = dir
	if out, err := check.CombinedOutput(); err != nil {
		t.Errorf("sha256sum -c: %v\n%s", err, out)
	}
	if err := os.WriteFile(filepath.Join(dir, "two\nlines.jpg"), []byte("x"), 0o666); err != nil {
		t.Fatal(err)
	}
	check = exec.Command(tool, "-c", "--strict", file)
	check.Dir = dir
	if out, err := check.CombinedOutput(); err == nil {
		t.Errorf("sha256sum -c finds nothing wrong:\n%s", out)
	}

	var names []string
	for name := range hostile {
		if name != "-" { // it would read its input
			names = append(names, name)
		}
	}
	slices.Sort(names)
	dir = hostile.write(t, t.TempDir(), "again")
	list := exec.Command(tool, append([]string{"--"}, names...)...)
	list.Dir = dir
	out, err := list.Output()
	if err != nil {
		t.Fatal(err)
	}
	files, err := ReadManifest(bytes.NewReader(out))
	if err != nil {
		t.Fatal(err)
	}
	var read []string
	for _, f := range files {
		read = append(read, f.Path)
		if f.Sum != sha256.Sum256([]byte(hostile[f.Path])) {
			t.Errorf("%q has another checksum", f.Path)
		}
	}
	if diff := cmp.Diff(names, read); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
}

func TestManifestsThatCannotBeUsed(t *testing.T) {
	sum := strings.Repeat("ab", 32)
	for _, c := range []struct{ text, want string }{
		{"", "it lists no file"},
		{"# nothing\n\n", "it lists no file"},
		{sum[:62] + "  a.jpg\n", "line 1 is not"},
		{sum + "  a.jpg\n" + sum + "\n", "line 2 is not"},
		{`\` + sum + `  a\q` + "\n", "line 1 is not"},
		{`\` + sum + `  a\` + "\n", "line 1 is not"},
		{sum + "  a.jpg\n" + strings.Repeat("cd", 32) + "  a.jpg\n", "line 2 has another checksum for a.jpg"},
		{strings.Repeat("x", 1<<20), "token too long"},
	} {
		if _, err := ReadManifest(strings.NewReader(c.text)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%.80q: error %v, want %q", c.text, err, c.want)
		}
	}
	files, err := ReadManifest(strings.NewReader(strings.ToUpper(sum) + " *./a.jpg\r\n" + sum + "  a.jpg"))
	if err != nil || len(files) != 1 || files[0].Path != "a.jpg" {
		t.Errorf("got %v, %v", files, err)
	}
}
