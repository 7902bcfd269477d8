package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"debug/buildinfo"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"
)

var (
	build = flag.Bool("build", false, "build all archives, and that of this machine again from nothing (2 minutes of CPU)")
	cold  = flag.Bool("cold", false, "with -build, build all of them again from nothing (10 minutes of CPU)")
)

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
	first, _, _ := bytes.Cut(page, []byte("<h2"))
	if bytes.Contains(first, []byte("go test")) || bytes.Contains(first, []byte("source")) || !bytes.Contains(first, []byte("The report is an aid")) {
		t.Errorf("the page begins with what needs the source: %s", first)
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

// Two copies of the sources in folders of different names give the same bytes, the second
// compiled from nothing, in another zone and with other settings of the user; and each
// archive holds what is promised.
func TestBuildsAreReproducible(t *testing.T) {
	if !*build {
		t.Skip("builds every archive: ask for it with -build, as .ci/run does")
	}
	root, err := output(t.Context(), "", nil, "go", "list", "-m", "-f", "{{.Dir}}")
	if err != nil {
		t.Fatal(err)
	}
	var sources, results [2]string
	for i, name := range []string{"a", "elsewhere/long name"} {
		base := t.TempDir()
		sources[i], results[i] = filepath.Join(base, "sources", name), filepath.Join(base, "out")
		if err := os.MkdirAll(filepath.Dir(sources[i]), 0o777); err != nil {
			t.Fatal(err)
		}
		if out, err := exec.Command("git", "clone", "-q", root, sources[i]).CombinedOutput(); err != nil {
			t.Skipf("the sources have no history to clone: %s", out)
		}
	}
	if out, err := exec.Command(filepath.Join(sources[0], ".ci", "release"), results[0]).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	// The command itself is compiled as usual: nothing of it is in an archive.
	command := filepath.Join(t.TempDir(), "release")
	if _, err := output(t.Context(), sources[1], nil, "go", "build", "-o", command, "./cmd/release"); err != nil {
		t.Fatal(err)
	}
	args := []string{"-o", results[1], "-only", hostTarget(t).name}
	if *cold {
		args = args[:2]
	}
	again := exec.Command(command, args...)
	again.Dir = sources[1]
	again.Env = append(os.Environ(), "GOCACHE="+t.TempDir(), "TZ=Pacific/Kiritimati", "GOAMD64=v3", "GOARM64=v9.0", "GOFLAGS=-ldflags=-X=main.x=y")
	if out, err := again.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	archives := sums(t, results[0])
	if len(archives) != len(targets) {
		t.Errorf("%d archives, want %d", len(archives), len(targets))
	}
	rebuilt := sums(t, results[1])
	if want := len(targets); len(rebuilt) != 1 && (!*cold || len(rebuilt) != want) {
		t.Errorf("%d archives were built again", len(rebuilt))
	}
	for name, sum := range rebuilt {
		if archives[name] != sum {
			t.Errorf("%s differs between two builds", name)
		}
	}
	for _, target := range targets {
		t.Run(target.name, func(t *testing.T) {
			name := ""
			for n := range archives {
				if strings.Contains(n, "-"+target.name+".") {
					name = n
				}
			}
			content, err := os.ReadFile(filepath.Join(results[0], name))
			if err != nil {
				t.Fatal(err)
			}
			found := map[string]string{} // below the folder of the archive
			for entry, text := range entries(t, name, content) {
				_, below, _ := strings.Cut(entry, "/")
				found[below] = text
				for _, path := range []string{root, filepath.Dir(sources[0])} {
					if strings.Contains(text, path) {
						t.Errorf("%s: %s holds a path of this machine", name, entry)
					}
				}
			}
			holdsWhatIsPromised(t, target, found)
			holdsAllTerms(t, target, found)
		})
	}
	t.Run("manual pages", func(t *testing.T) { explainsAllCommands(t, results[0]) })
}

// hostTarget is the target of this machine.
func hostTarget(t *testing.T) target {
	i := slices.IndexFunc(targets, func(x target) bool { return x.os == runtime.GOOS && x.arch == runtime.GOARCH })
	if i < 0 {
		t.Skip("no archive is made for this machine")
	}
	return targets[i]
}

// sums returns the SHA-256 sums of the archives in a folder by their names, as its file of
// sums names them, and holds that they are so, for this program and for sha256sum.
func sums(t *testing.T, folder string) map[string]string {
	t.Helper()
	list, err := os.ReadFile(filepath.Join(folder, "SHA256SUMS"))
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]string{}
	for line := range strings.Lines(string(list)) {
		sum, name, _ := strings.Cut(strings.TrimSuffix(line, "\n"), "  ")
		content, err := os.ReadFile(filepath.Join(folder, name))
		if err != nil {
			t.Fatal(err)
		}
		if sum != fmt.Sprintf("%x", sha256.Sum256(content)) {
			t.Errorf("%s: the sum is another", name)
		}
		found[name] = sum
	}
	if _, err := exec.LookPath("sha256sum"); err == nil {
		check := exec.Command("sha256sum", "-c", "--strict", "SHA256SUMS")
		check.Dir = folder
		if out, err := check.CombinedOutput(); err != nil || strings.Count(string(out), ": OK\n") != len(found) {
			t.Errorf("sha256sum -c: %v\n%s", err, out)
		}
	}
	return found
}

// programIn is the name of the program in the archive of a target.
func programIn(x target) string {
	if x.os == "windows" {
		return "prestrike.exe"
	}
	return "prestrike"
}

func holdsWhatIsPromised(t *testing.T, x target, found map[string]string) {
	wanted := []string{
		programIn(x), "README.html", "LICENSE.txt", "LICENSES.txt", "man/prestrike.1",
		"completions/prestrike.bash", "completions/_prestrike", "completions/prestrike.fish", "completions/prestrike.ps1",
	}
	may := []string{programIn(x)}
	switch x.os {
	case "darwin":
		wanted, may = append(wanted, "start.command"), append(may, "start.command")
	case "linux":
		wanted = append(wanted, "prestrike.desktop")
	}
	for _, name := range wanted {
		if found[name] == "" {
			t.Errorf("%s is missing", name)
		}
	}
	for name, text := range found {
		if runs := strings.HasPrefix(text, "-rwxr-xr-x "); runs != slices.Contains(may, name) {
			t.Errorf("%s: may it be run? %t", name, runs)
		}
		if !slices.Contains(wanted, name) && !strings.HasPrefix(name, "man/prestrike-") {
			t.Errorf("%s is not expected", name)
		}
	}
}

// Terms that hand something on permit it or license it.
var grants = regexp.MustCompile(`(?i)\b(permi(t|ssion)|licen[cs]e)`)

var termsOf = regexp.MustCompile(`(?m)^(.+): (\S+)\n=+$`)

// holdsAllTerms holds the licences to what the linker wrote into the program: the modules
// that are built in, no less and no more. None of their packages has terms of its own, which
// would be missed.
func holdsAllTerms(t *testing.T, x target, found map[string]string) {
	_, program, _ := strings.Cut(found[programIn(x)], " ")
	info, err := buildinfo.Read(strings.NewReader(program))
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"prestrike", "the Go library, " + info.GoVersion}
	for _, m := range info.Deps {
		if m.Replace != nil {
			m = m.Replace
		}
		want = append(want, m.Path+" "+m.Version)
	}
	var got []string
	terms := found["LICENSES.txt"]
	titles := termsOf.FindAllStringSubmatchIndex(terms, -1)
	for i, at := range titles {
		end := len(terms)
		if i+1 < len(titles) {
			end = titles[i+1][0]
		}
		got = append(got, terms[at[2]:at[3]])
		if text := terms[at[1]:end]; len(text) < 300 || !grants.MatchString(text) {
			t.Errorf("%s grants nothing: %.200q", terms[at[2]:at[3]], text)
		}
	}
	slices.Sort(want)
	slices.Sort(got)
	if got = slices.Compact(got); !slices.Equal(got, want) || len(want) < 10 {
		t.Errorf("there are the terms of\n%q, built in are\n%q", got, want)
	}
	list, err := output(t.Context(), "", x.environment(), "go", "list", "-deps", "-f", "{{with .Module}}{{if not .Main}}{{$.Dir}}|{{.Dir}}{{end}}{{end}}", "prestrike/cmd/prestrike")
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(list) {
		folder, module, _ := strings.Cut(strings.TrimSpace(line), "|")
		for ; len(folder) > len(module); folder = filepath.Dir(folder) {
			files, err := os.ReadDir(folder)
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range files {
				if licenceName.MatchString(f.Name()) && f.Type().IsRegular() {
					t.Errorf("%s has terms of its own: %s", folder, f.Name())
				}
			}
		}
	}
}

// explainsAllCommands holds that the archive of this machine has a manual page for each
// command that its program completes, and that the program runs from a folder of its own.
func explainsAllCommands(t *testing.T, folder string) {
	host := hostTarget(t)
	names, err := filepath.Glob(filepath.Join(folder, "*-"+host.name+".*"))
	if err != nil || len(names) != 1 {
		t.Fatalf("the archives are %q, error %v", names, err)
	}
	content, err := os.ReadFile(names[0])
	if err != nil {
		t.Fatal(err)
	}
	found := entries(t, names[0], content)
	program := filepath.Join(t.TempDir(), programIn(host))
	pagesOf := map[string]string{}
	for entry, text := range found {
		pagesOf[path.Base(entry)] = text
		if path.Base(entry) == programIn(host) {
			_, text, _ := strings.Cut(text, " ")
			if err := os.WriteFile(program, []byte(text), 0o777); err != nil {
				t.Fatal(err)
			}
		}
	}
	list, err := output(t.Context(), "", nil, program, "__complete", "")
	if err != nil {
		t.Fatal(err)
	}
	pages := 0
	for line := range strings.Lines(list) {
		command, _, ok := strings.Cut(line, "\t")
		if !ok || command == "help" {
			continue
		}
		pages++
		if !strings.Contains(pagesOf["prestrike-"+command+".1"], "prestrike-"+command) {
			t.Errorf("no manual page explains %s", command)
		}
	}
	if pages < 10 {
		t.Errorf("the program completes %d commands", pages)
	}
}

// Changed sources are not named as the revision that they were.
func TestChangedSourcesAreNamed(t *testing.T) {
	folder := t.TempDir()
	git := func(args ...string) {
		t.Helper()
		args = append([]string{"-C", folder, "-c", "user.name=x", "-c", "user.email=x@example.org"}, args...)
		if out, err := exec.Command("git", args...).CombinedOutput(); err != nil {
			t.Skipf("git: %v\n%s", err, out)
		}
	}
	if got := describe(t.Context(), folder); got != "unversioned" {
		t.Errorf("without a history: %s", got)
	}
	git("init", "-q")
	git("commit", "-q", "--allow-empty", "-m", "first")
	if got := describe(t.Context(), folder); !regexp.MustCompile(`^\d{8}-[0-9a-f]{8}$`).MatchString(got) {
		t.Errorf("a revision: %s", got)
	}
	git("tag", "v1.0.0")
	if got := describe(t.Context(), folder); got != "v1.0.0" {
		t.Errorf("a tag: %s", got)
	}
	if err := os.WriteFile(filepath.Join(folder, "new.go"), nil, 0o666); err != nil {
		t.Fatal(err)
	}
	if got := describe(t.Context(), folder); got != "v1.0.0-modified" {
		t.Errorf("changed: %s", got)
	}
}
