// Command mutate proves that tests bite: it makes one wrong edit in a copy of the tree and
// requires that the named tests of the named package fail. Edits inside functions and of
// constants share one copy, built once, in which each is chosen when the tests run (switch.go);
// of others each is built by itself, and so is one that survives there.
//
//	go run ./.ci/mutate [-only WORD] [-alone] [-v]
//
// The edits are in the *.toml files beside it, each an [[edit]] of
//
//	name     what is made wrong, for the list that is printed
//	in       optional: a file or folder of the repository where to search for old;
//	         without it, and where it is gone, all Go files but tests are searched
//	old      a text that occurs once there
//	new      what takes its place
//	package  whose tests must fail, such as "audit/pixels"
//	tests    which of them, as for go test -run
//
// It fails on an edit that survives, that no longer applies, or that does not
// compile, and on tests that fail without any edit or are not there.
package main

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"
)

// An edit makes one thing wrong.
type edit struct {
	Name, In, Old, New, Package, Tests string
}

// tooLong is the time, building included, in which a test must fail; all tests of a package that
// are named pass in cleanTooLong.
const tooLong, cleanTooLong = 5 * time.Minute, time.Hour

func main() {
	only := flag.String("only", "", "make only the edits whose name, file or package contains this `word`")
	verbose := flag.Bool("v", false, "print what the tests print")
	eachAlone := flag.Bool("alone", false, "build each edit by itself")
	flag.Parse()
	survived, err := run(*only, *eachAlone, *verbose)
	if err != nil {
		fmt.Fprintln(os.Stderr, "mutate:", err)
		os.Exit(1)
	}
	if survived > 0 {
		os.Exit(1)
	}
}

// run makes all edits and returns how many were not caught.
func run(only string, eachAlone, verbose bool) (bad int, err error) {
	root, err := moduleRoot()
	if err != nil {
		return 0, err
	}
	edits, err := load(filepath.Join(root, ".ci", "mutate"))
	if err != nil {
		return 0, err
	}
	edits = slices.DeleteFunc(edits, func(e edit) bool {
		return !strings.Contains(e.Name+"\n"+e.In+"\n"+e.Package, only)
	})
	if len(edits) == 0 {
		return 0, fmt.Errorf("no edit contains %q", only)
	}
	dir, err := os.MkdirTemp("", "mutate")
	if err != nil {
		return 0, err
	}
	defer os.RemoveAll(dir)
	begin := time.Now()
	var copies []string
	for i := range runtime.NumCPU() {
		work := filepath.Join(dir, fmt.Sprint(i))
		if err := copyTree(work, root); err != nil {
			return 0, err
		}
		copies = append(copies, work)
	}
	all, err := newTogether(filepath.Join(dir, "all"), root, edits, eachAlone)
	if err != nil {
		return 0, err
	}
	needed, err := all.clean(len(copies))
	if err != nil {
		return 0, err
	}
	// Tests that wait and programs that are linked leave a processor idle: edits that are
	// tried side by side do not.
	next := make(chan int, len(edits))
	tried := make([]chan attempt, len(edits)) // printed in the order of the edits
	for i := range edits {
		tried[i] = make(chan attempt, 1)
		next <- i
	}
	close(next)
	for _, work := range copies {
		go func() {
			for i := range next {
				tried[i] <- all.try(i, work, edits[i])
			}
		}()
	}
	dear := make([]int, len(edits))
	took := make([]time.Duration, len(edits))
	for i, e := range edits {
		a := <-tried[i]
		dear[i], took[i] = i, a.took
		needed += a.took
		if a.verdict != nil {
			bad++
		}
		fmt.Printf("%-8s %4.0f s  %s\n", outcome(a.verdict), a.took.Seconds(), e.Name)
		if a.verdict != nil {
			fmt.Println("        ", a.verdict)
		}
		if verbose {
			fmt.Println(a.out)
		}
	}
	slices.SortFunc(dear, func(i, j int) int { return cmp.Compare(took[j], took[i]) })
	fmt.Print("the dearest, of processors:")
	for _, i := range dear[:min(len(dear), 20)] {
		fmt.Printf("\n%4.0f s  %s: %s %s", took[i].Seconds(), edits[i].Name, edits[i].Package, edits[i].Tests)
	}
	fmt.Printf("\n%d of %d edits were built by themselves", all.builtAlone.Load(), len(edits))
	fmt.Printf("\n%d edits, %d killed, %d not, in %.0f s; %.0f s of processors\n", len(edits), len(edits)-bad, bad, time.Since(begin).Seconds(), needed.Seconds())
	return bad, nil
}

// An attempt is what the tests printed at an edit, the processor time that building and
// running them took, and the error where none failed.
type attempt struct {
	out     string
	took    time.Duration
	verdict error
}

func outcome(err error) string {
	switch {
	case err == nil:
		return "killed"
	case errors.Is(err, errSurvived):
		return "SURVIVED"
	}
	return "ERROR"
}

func moduleRoot() (string, error) {
	dir, err := os.Getwd()
	if err != nil {
		return "", err
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir, nil
		}
		up := filepath.Dir(dir)
		if up == dir {
			return "", errors.New("no go.mod here or above: run it inside the repository")
		}
		dir = up
	}
}

// load reads the edits of all files in a folder, in the order of their names.
func load(dir string) ([]edit, error) {
	files, err := filepath.Glob(filepath.Join(dir, "*.toml"))
	if err != nil {
		return nil, err
	}
	slices.Sort(files)
	var all []edit
	for _, f := range files {
		data, err := os.ReadFile(f)
		if err != nil {
			return nil, err
		}
		var list struct{ Edit []edit }
		d := toml.NewDecoder(bytes.NewReader(data)).DisallowUnknownFields()
		if err := d.Decode(&list); err != nil {
			return nil, fmt.Errorf("%s: %w", f, err)
		}
		for i, e := range list.Edit {
			if e.Name == "" || e.Old == "" || e.Package == "" || e.Tests == "" || e.Old == e.New {
				return nil, fmt.Errorf("%s: edit %d (%q) lacks a name, old, package or tests, or changes nothing", f, i+1, e.Name)
			}
		}
		all = append(all, list.Edit...)
	}
	return all, nil
}

// copyTree copies the repository without its history.
func copyTree(to, from string) error {
	return filepath.WalkDir(from, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(from, path)
		if err != nil {
			return err
		}
		if d.Name() == ".git" {
			if d.IsDir() {
				return filepath.SkipDir
			}
			return nil
		}
		switch {
		case d.IsDir():
			return os.MkdirAll(filepath.Join(to, rel), 0o755)
		case !d.Type().IsRegular():
			return nil
		}
		data, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		return os.WriteFile(filepath.Join(to, rel), data, 0o644)
	})
}

// tested runs a command on the tests of a package, for a limited time. It returns what it prints and the processor
// time that it took.
func tested(limit time.Duration, dir, edit string, command ...string) (string, time.Duration, error) {
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	defer cancel()
	cmd := exec.CommandContext(ctx, command[0], command[1:]...)
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "PRESTRIKE_TESTS=all", chosen+"="+edit) // also those that a plain go test leaves out
	cmd.WaitDelay = time.Second
	out, err := cmd.CombinedOutput()
	if ctx.Err() != nil {
		err = ctx.Err()
	}
	var took time.Duration
	if s := cmd.ProcessState; s != nil {
		took = s.UserTime() + s.SystemTime()
	}
	return string(out), took, err
}

var errSurvived = errors.New("the tests pass all the same")

// alone makes one edit, builds and runs its tests and takes it back.
func alone(work string, e edit) attempt {
	file, err := find(work, e)
	if err != nil {
		return attempt{verdict: err}
	}
	before, err := os.ReadFile(file)
	if err != nil {
		return attempt{verdict: err}
	}
	wrong := strings.Replace(string(before), e.Old, e.New, 1)
	if err := os.WriteFile(file, []byte(wrong), 0o644); err != nil {
		return attempt{verdict: err}
	}
	defer func() {
		if err := os.WriteFile(file, before, 0o644); err != nil {
			panic(err) // every later edit would be made on top of this one
		}
	}()
	// Another step vets.
	out, took, err := tested(tooLong, work, "", "go", "test", "-short", "-count=1", "-vet=off", "-trimpath", "-failfast", "./"+filepath.ToSlash(e.Package), "-run", e.Tests)
	return attempt{out, took, verdict(out, err)}
}

// verdict is why what the tests printed, and the error of their run, do not prove that they
// bite; nil where they do.
func verdict(out string, err error) error {
	switch {
	case err == nil:
		return errSurvived
	case errors.Is(err, context.DeadlineExceeded):
		return fmt.Errorf("its tests take more than %v", tooLong)
	case !strings.Contains(out, "--- FAIL") && !strings.Contains(out, "panic:"):
		return fmt.Errorf("it does not compile: %s", strings.TrimSpace(out))
	}
	return nil
}

// find returns the one file, no test, that holds the text to be changed, once.
func find(work string, e edit) (string, error) {
	in := filepath.Join(work, filepath.FromSlash(e.In))
	if _, err := os.Stat(in); err != nil {
		in = work
	}
	var found []string
	err := filepath.WalkDir(in, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		if rel, _ := filepath.Rel(work, path); strings.HasPrefix(rel, ".ci") {
			return nil
		}
		data, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		for range strings.Count(string(data), e.Old) {
			found = append(found, path)
		}
		return nil
	})
	switch {
	case err != nil:
		return "", err
	case len(found) != 1:
		return "", fmt.Errorf("it no longer applies: %q occurs %d times", e.Old, len(found))
	}
	return found[0], nil
}
