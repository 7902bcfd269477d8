// Command release builds what people without Go download: an archive for each
// system, with the program, the README as a page, manual pages, completions and
// the licences of all that is built in, and a file of SHA-256 sums.
//
//	go run ./cmd/release -o FOLDER
//
// Two builds of one revision with one version of Go are equal to the byte: no
// archive holds a path, a user or a time of the machine that made it.
package main

import (
	"cmp"
	"context"
	"crypto/sha256"
	"flag"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"
)

// A target is a system and a processor that an archive is made for.
type target struct {
	os, arch string // as Go names them
	name     string // as people know it
}

var targets = []target{
	{"linux", "amd64", "linux-amd64"},
	{"linux", "arm64", "linux-arm64"},
	{"darwin", "amd64", "macos-amd64"},
	{"darwin", "arm64", "macos-arm64"},
	{"windows", "amd64", "windows-amd64"},
	{"windows", "arm64", "windows-arm64"},
}

func main() {
	to := flag.String("o", "", "write the archives to this `folder`; it is made where it is missing")
	only := flag.String("only", "", "build for the targets whose name contains this `word`")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, *to, *only); err != nil {
		fmt.Fprintln(os.Stderr, "release:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, to, only string) error {
	if to == "" {
		return fmt.Errorf("no folder named: use -o FOLDER")
	}
	root, err := output(ctx, "", nil, "go", "list", "-m", "-f", "{{.Dir}}")
	if err != nil {
		return err
	}
	r := &release{root: root, version: describe(ctx, root), time: commitTime(ctx, root)}
	if r.work, err = os.MkdirTemp("", "prestrike-release-"); err != nil {
		return err
	}
	defer os.RemoveAll(r.work)
	if err := os.MkdirAll(to, 0o777); err != nil {
		return err
	}
	sums := map[string]string{}
	for _, t := range targets {
		if !strings.Contains(t.name, only) {
			continue
		}
		name, content, err := r.archive(ctx, t)
		if err != nil {
			return fmt.Errorf("%s: %w", t.name, err)
		}
		if err := os.WriteFile(filepath.Join(to, name), content, 0o666); err != nil {
			return err
		}
		sums[name] = fmt.Sprintf("%x", sha256.Sum256(content))
		fmt.Printf("%s  %d KiB\n", name, len(content)/1024)
	}
	if len(sums) == 0 {
		return fmt.Errorf("no target has %q in its name", only)
	}
	var b strings.Builder
	for _, name := range slices.Sorted(maps.Keys(sums)) {
		fmt.Fprintf(&b, "%s  %s\n", sums[name], name)
	}
	return os.WriteFile(filepath.Join(to, "SHA256SUMS"), []byte(b.String()), 0o666)
}

// A release is what all archives share.
type release struct {
	root    string // the folder of the sources
	work    string // a folder for what is built
	version string
	time    time.Time // of every file in the archives
	common  []file    // made once: README, manual pages, completions
}

// A file goes into an archive.
type file struct {
	name    string // with slashes, below the folder of the archive
	content []byte
	program bool // may be run
}

// archive builds the program for a target and packs it.
func (r *release) archive(ctx context.Context, t target) (name string, content []byte, err error) {
	if r.common == nil {
		if r.common, err = r.documents(ctx); err != nil {
			return "", nil, err
		}
	}
	program, err := r.build(ctx, t)
	if err != nil {
		return "", nil, err
	}
	licences, err := r.licences(ctx, t)
	if err != nil {
		return "", nil, err
	}
	binary := file{name: "prestrike", content: program, program: true}
	if t.os == "windows" {
		binary.name += ".exe"
	}
	files := append([]file{binary, {name: "LICENSES.txt", content: licences}}, r.common...)
	switch t.os {
	case "linux":
		files = append(files, file{name: "prestrike.desktop", content: []byte(desktopEntry)})
	case "darwin":
		files = append(files, file{name: "start.command", content: []byte(startCommand), program: true})
	}
	slices.SortFunc(files, func(a, b file) int { return cmp.Compare(a.name, b.name) })
	folder := "prestrike-" + r.version + "-" + t.name
	if t.os == "windows" {
		content, err = zipped(folder, files, r.time)
		return folder + ".zip", content, err
	}
	content, err = tarred(folder, files, r.time)
	return folder + ".tar.gz", content, err
}

// desktopEntry puts the program into the menu of a desktop (Desktop Entry Specification
// 1.5), in a terminal that asks for a folder; it must be in the search path. It claims no
// type of file: with that of folders it would open all folders in place of the file manager
// on some desktops.
const desktopEntry = `[Desktop Entry]
Type=Application
Version=1.5
Name=prestrike
Comment=Audit the frames of a capture session
Exec=prestrike begin %F
Categories=Graphics;Photography;
Terminal=true
`

// startCommand is what people on macOS double-click: a file with this ending is run in a
// terminal, on which a folder can be dropped. No program without a bundle takes a folder
// that is dropped on its icon, and one in a bundle is handed it by events that only a
// program of the desktop can hear.
const startCommand = `#!/bin/sh
exec "$(dirname "$0")/prestrike" begin
`

// environment returns what go is run with for the target: what a user may have set
// otherwise, and what would change the program, is set here.
func (t target) environment() []string {
	return []string{
		"CGO_ENABLED=0", "GOOS=" + t.os, "GOARCH=" + t.arch, "GOFLAGS=", "GOWORK=off",
		"GOAMD64=v1", "GOARM64=v8.0", "GOEXPERIMENT=", "GOFIPS140=off",
	}
}

// build returns the program for a target, without symbols and without paths.
func (r *release) build(ctx context.Context, t target) ([]byte, error) {
	to := filepath.Join(r.work, t.name)
	if _, err := output(ctx, r.root, t.environment(), "go", "build", "-trimpath", "-ldflags=-s -w -buildid=", "-o", to, "./cmd/prestrike"); err != nil {
		return nil, err
	}
	return os.ReadFile(to)
}

// documents returns what is the same in every archive. Manual pages and
// completions come from the program itself, built for the machine at hand.
func (r *release) documents(ctx context.Context) ([]file, error) {
	self, err := r.build(ctx, target{runtime.GOOS, runtime.GOARCH, "self"})
	if err != nil {
		return nil, err
	}
	program := filepath.Join(r.work, "prestrike.self")
	if err := os.WriteFile(program, self, 0o777); err != nil {
		return nil, err
	}
	readme, err := os.ReadFile(filepath.Join(r.root, "README.md"))
	if err != nil {
		return nil, err
	}
	page, err := readmePage(readme, os.DirFS(r.root))
	if err != nil {
		return nil, err
	}
	licence, err := os.ReadFile(filepath.Join(r.root, "LICENSE"))
	if err != nil {
		return nil, err
	}
	files := []file{{name: "README.html", content: page}, {name: "LICENSE.txt", content: licence}}
	for shell, name := range map[string]string{
		"bash": "prestrike.bash", "zsh": "_prestrike", "fish": "prestrike.fish", "powershell": "prestrike.ps1",
	} {
		script, err := output(ctx, r.work, nil, program, "completion", shell)
		if err != nil {
			return nil, err
		}
		files = append(files, file{name: "completions/" + name, content: []byte(script + "\n")})
	}
	manual := filepath.Join(r.work, "man")
	if _, err := output(ctx, r.work, nil, program, "manual", manual, "--date", r.time.Format(time.DateOnly)); err != nil {
		return nil, err
	}
	pages, err := os.ReadDir(manual)
	if err != nil {
		return nil, err
	}
	for _, p := range pages {
		content, err := os.ReadFile(filepath.Join(manual, p.Name()))
		if err != nil {
			return nil, err
		}
		files = append(files, file{name: "man/" + p.Name(), content: content})
	}
	return files, nil
}

// describe names the version: the tag of the revision, else its date and first
// digits, else "unversioned" for sources without a history. Sources that were changed
// since are no revision that others can build: their name has "-modified" behind it.
func describe(ctx context.Context, root string) string {
	name, err := output(ctx, root, nil, "git", "describe", "--tags", "--exact-match")
	if err != nil {
		name, err = output(ctx, root, nil, "git", "log", "-1", "--format=%cd-%h", "--date=format:%Y%m%d", "--abbrev=8")
	}
	if err != nil {
		return "unversioned"
	}
	if changes, err := output(ctx, root, nil, "git", "status", "--porcelain"); err != nil || changes != "" {
		name += "-modified"
	}
	return name
}

// commitTime returns the time of the revision in UTC. Sources without a history
// get the first day that a zip archive can hold.
func commitTime(ctx context.Context, root string) time.Time {
	if text, err := output(ctx, root, nil, "git", "log", "-1", "--format=%ct"); err == nil {
		if seconds, err := strconv.ParseInt(text, 10, 64); err == nil {
			return time.Unix(seconds, 0).UTC()
		}
	}
	return time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)
}

// output runs a command in a folder and returns what it prints, without the
// last line end. Its error carries what the command printed to standard error.
func output(ctx context.Context, folder string, env []string, name string, args ...string) (string, error) {
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Dir = folder
	cmd.Env = append(os.Environ(), env...)
	var problems strings.Builder
	cmd.Stderr = &problems
	out, err := cmd.Output()
	if err != nil {
		return "", fmt.Errorf("%s %s: %w\n%s", filepath.Base(name), strings.Join(args, " "), err, problems.String())
	}
	return strings.TrimRight(string(out), "\n"), nil
}
