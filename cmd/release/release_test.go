package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"
)

var build = flag.Bool("build", false, "build all archives, twice each (minutes)")

// entries returns the files of an archive, each with its mode and content.
func entries(t *testing.T, name string, content []byte) map[string]string {
	t.Helper()
	found := map[string]string{}
	if strings.HasSuffix(name, ".zip") {
		z, err := zip.NewReader(bytes.NewReader(content), int64(len(content)))
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range z.File {
			r, err := f.Open()
			if err != nil {
				t.Fatal(err)
			}
			b, err := io.ReadAll(r)
			if err != nil {
				t.Fatal(err)
			}
			found[f.Name] = f.Mode().String() + " " + string(b)
		}
		return found
	}
	z, err := gzip.NewReader(bytes.NewReader(content))
	if err != nil {
		t.Fatal(err)
	}
	for r := tar.NewReader(z); ; {
		h, err := r.Next()
		if err == io.EOF {
			return found
		}
		if err != nil {
			t.Fatal(err)
		}
		b, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		found[h.Name] = h.FileInfo().Mode().String() + " " + string(b)
	}
}

func TestArchivesHoldTheFiles(t *testing.T) {
	files := []file{
		{name: "man/prestrike.1", content: []byte("page")},
		{name: "prestrike", content: []byte{0x7f, 0}, program: true},
	}
	at := time.Date(2026, 3, 4, 10, 0, 0, 0, time.UTC)
	for name, pack := range map[string]func(string, []file, time.Time) ([]byte, error){"a.zip": zipped, "a.tar.gz": tarred} {
		content, err := pack("prestrike-1", files, at)
		if err != nil {
			t.Fatal(err)
		}
		found := entries(t, name, content)
		if len(found) != 2 || found["prestrike-1/man/prestrike.1"] != "-rw-r--r-- page" || found["prestrike-1/prestrike"] != "-rwxr-xr-x \x7f\x00" {
			t.Errorf("%s holds %q", name, found)
		}
		again, err := pack("prestrike-1", files, at.In(time.FixedZone("", 3600)).UTC())
		if err != nil || !bytes.Equal(content, again) {
			t.Errorf("%s: packed twice it is not the same (%v)", name, err)
		}
	}
}

func TestModulesWithoutTermsAreRefused(t *testing.T) {
	folder := t.TempDir()
	var b bytes.Buffer
	err := addTerms(&b, "example.org/shell v1.0.0", folder)
	if err == nil || !strings.Contains(err.Error(), "example.org/shell v1.0.0 has no file with its terms") {
		t.Errorf("got %v", err)
	}
	for name, counts := range map[string]bool{
		"LICENSE": true, "LICENCE.md": true, "COPYING": true, "NOTICE": true, "License.txt": true, "PATENTS": true,
		"licenses.go": false, "noticeboard.txt": false, "README.md": false,
	} {
		if licenceName.MatchString(name) != counts {
			t.Errorf("%s: does it hold terms? want %v", name, counts)
		}
	}
	if err := os.WriteFile(filepath.Join(folder, "COPYING"), []byte("Do as you like.\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := addTerms(&b, "example.org/shell v1.0.0", folder); err != nil || !strings.Contains(b.String(), "example.org/shell v1.0.0: COPYING\n") || !strings.Contains(b.String(), "Do as you like.") {
		t.Errorf("got %v, %q", err, b.String())
	}
}

func TestReadmePage(t *testing.T) {
	readme := "# prestrike\n\n<!-- example: x -->\n\n| a | b |\n|---|---|\n| 1 | <script>alert(1)</script> |\n\n    two < three\n\n![the page](shown/page.png)\n"
	page, err := readmePage([]byte(readme), fstest.MapFS{"shown/page.png": {Data: []byte("a picture")}})
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`<h1 id="prestrike">`, "<td>1</td>", "two &lt; three", "<title>prestrike</title>", `<img src="data:image/png;base64,YSBwaWN0dXJl" alt="the page"`} {
		if !strings.Contains(string(page), want) {
			t.Errorf("the page lacks %s", want)
		}
	}
	for _, bad := range []string{"<script", "raw HTML", "example:", "shown/page.png"} {
		if strings.Contains(string(page), bad) {
			t.Errorf("the page has %s", bad)
		}
	}
}

// The README itself is a page of one file: its pictures are in it, and its links lead to
// its headings.
func TestReadmePageIsWhole(t *testing.T) {
	root := filepath.Join("..", "..")
	readme, err := os.ReadFile(filepath.Join(root, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	page, err := readmePage(readme, os.DirFS(root))
	if err != nil {
		t.Fatal(err)
	}
	for _, to := range regexp.MustCompile(`(?:href|src)="([^"]*)"`).FindAllSubmatch(page, -1) {
		name, heading := bytes.CutPrefix(to[1], []byte("#"))
		switch {
		case heading && !bytes.Contains(page, fmt.Appendf(nil, ` id="%s"`, name)):
			t.Errorf("there is no heading #%s", name)
		case !heading && !bytes.HasPrefix(to[1], []byte("data:image/png;base64,")):
			t.Errorf("the page needs %.60s", to[1])
		}
	}
	if _, err := readmePage([]byte("![gone](gone.png)"), fstest.MapFS{}); err == nil || !strings.Contains(err.Error(), "gone.png") {
		t.Errorf("a picture that is not there: %v", err)
	}
}

// Two copies of the sources in folders of different names give the same bytes, and
// each archive holds what is promised.
func TestBuildsAreReproducible(t *testing.T) {
	if !*build {
		t.Skip("builds every archive twice: ask for it with -build, as .ci/run does")
	}
	root, err := output(t.Context(), "", nil, "go", "list", "-m", "-f", "{{.Dir}}")
	if err != nil {
		t.Fatal(err)
	}
	var results [2]string
	for i, name := range []string{"a", "elsewhere/long name"} {
		source := filepath.Join(t.TempDir(), name)
		if err := os.MkdirAll(filepath.Dir(source), 0o777); err != nil {
			t.Fatal(err)
		}
		if out, err := exec.Command("git", "clone", "-q", root, source).CombinedOutput(); err != nil {
			t.Skipf("the sources have no history to clone: %s", out)
		}
		results[i] = filepath.Join(t.TempDir(), "out")
		command := exec.Command(filepath.Join(source, ".ci", "release"), results[i])
		if out, err := command.CombinedOutput(); err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
	}
	sums, err := os.ReadFile(filepath.Join(results[0], "SHA256SUMS"))
	if err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(string(sums), "\n"); n != len(targets) {
		t.Errorf("SHA256SUMS has %d lines, want %d", n, len(targets))
	}
	if again, err := os.ReadFile(filepath.Join(results[1], "SHA256SUMS")); err != nil || !bytes.Equal(sums, again) {
		t.Errorf("the sums differ:\n%s\n%s\n%v", sums, again, err)
	}
	for line := range strings.Lines(string(sums)) {
		sum, name, _ := strings.Cut(strings.TrimSpace(line), "  ")
		content, err := os.ReadFile(filepath.Join(results[0], name))
		if err != nil {
			t.Fatal(err)
		}
		if sum != fmt.Sprintf("%x", sha256.Sum256(content)) {
			t.Errorf("%s: the sum is another", name)
		}
		if again, err := os.ReadFile(filepath.Join(results[1], name)); err != nil || !bytes.Equal(content, again) {
			t.Errorf("%s differs between two builds (%v)", name, err)
		}
		var names []string
		for entry, text := range entries(t, name, content) {
			names = append(names, path.Base(entry))
			if strings.Contains(text, root) || strings.Contains(text, filepath.Dir(results[0])) {
				t.Errorf("%s: %s holds a path of this machine", name, entry)
			}
		}
		program := "prestrike"
		if strings.Contains(name, "windows") {
			program += ".exe"
		}
		for _, want := range []string{program, "README.html", "LICENSE.txt", "LICENSES.txt", "prestrike.1", "prestrike-report.1", "prestrike.bash", "_prestrike", "prestrike.fish", "prestrike.ps1"} {
			if !slices.Contains(names, want) {
				t.Errorf("%s lacks %s", name, want)
			}
		}
	}
}
