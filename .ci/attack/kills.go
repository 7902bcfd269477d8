package main

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// A stamp is what must not change of an original.
type stamp struct {
	sum  [sha256.Size]byte
	time time.Time
	mode fs.FileMode
}

// tree returns the stamps of all files in a folder.
func tree(folder string) (map[string]stamp, error) {
	all := map[string]stamp{}
	err := filepath.WalkDir(folder, func(name string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		content, err := os.ReadFile(name)
		all[name] = stamp{sha256.Sum256(content), info.ModTime(), info.Mode()}
		return err
	})
	return all, err
}

// differences returns how a folder differs from what it was.
func differences(before map[string]stamp, folder string) string {
	now, err := tree(folder)
	if err != nil {
		return err.Error()
	}
	for name, was := range before {
		if now[name] != was {
			return name + " is not what it was"
		}
	}
	if len(now) != len(before) {
		return fmt.Sprintf("%d files, were %d", len(now), len(before))
	}
	return ""
}

// cardFrames is how many frames of the demonstration are kept: enough that a run takes
// as long as it takes to be killed in the middle.
const cardFrames = 40

// demo writes the first frames of the demonstration to a folder.
func (a *attack) demo(card string) error {
	job := a.path("job")
	if got, err := a.start(nil, a.exe, "demo", job); err != nil || got.status != 0 {
		return fmt.Errorf("demo: status %d, %v: %s", got.status, err, got.said)
	}
	if err := os.Rename(filepath.Join(job, "card"), card); err != nil {
		return err
	}
	if err := os.RemoveAll(job); err != nil {
		return err
	}
	n := 0
	return filepath.WalkDir(card, func(name string, d fs.DirEntry, err error) error {
		if err == nil && d.Type().IsRegular() {
			if n++; n > cardFrames {
				err = os.Remove(name)
			}
		}
		return err
	})
}

// killed kills runs at random moments.
func (a *attack) killed() error {
	card, results := a.path("card"), a.path("results")
	if err := a.demo(card); err != nil {
		return err
	}
	if err := os.Mkdir(results, 0o777); err != nil {
		return err
	}
	before, err := tree(card)
	if err != nil {
		return err
	}
	began := time.Now()
	want, err := a.report(card)
	if err != nil {
		return err
	}
	span := time.Since(began)
	if _, err := parse(want.out); err != nil {
		return fmt.Errorf("the card: status %d, %v: %s", want.status, err, want.said)
	}
	output := filepath.Join(results, "report.json")
	random := rand.New(rand.NewPCG(a.seed, 1))
	kinds := []struct {
		name    string
		command []string
	}{
		{"report", []string{a.exe, "report", card, "--format", "json"}},
		{"watch", []string{a.exe, "watch", card, "--settle", "50ms"}},
		{"report -o", []string{a.exe, "report", card, "--format", "json", "-o", output}},
	}
	kills, ended := map[string]int{}, 0
	for killed := 0; killed < a.kills && ended < 10*a.kills; {
		kind := kinds[(killed+ended)%len(kinds)]
		if random.IntN(2) == 0 { // pictures are inspected anew
			if err := os.RemoveAll(a.path("cache")); err != nil {
				return err
			}
		}
		got, err := a.start(func(p *os.Process, _ <-chan struct{}) {
			time.Sleep(time.Duration(random.Float64() * 0.7 * float64(span)))
			if kind.name == "watch" && random.IntN(2) == 0 { // while it ends
				_ = p.Signal(os.Interrupt) // it may have ended
				time.Sleep(time.Duration(random.Float64() * 0.3 * float64(time.Second)))
			}
			_ = p.Kill() // it may have ended
		}, kind.command...)
		if err != nil {
			return err
		}
		if got.status >= 0 {
			ended++
		} else {
			killed++
			kills[kind.name]++
		}
		if text, err := os.ReadFile(output); err == nil && !bytes.Equal(text, want.out) {
			a.breach("killed %s: the result is %d bytes, a whole one %d", kind.name, len(text), len(want.out))
		}
		later, err := a.report(card)
		if err != nil {
			return err
		}
		if what := later.crashed(); what != "" || later.status != want.status || !bytes.Equal(later.out, want.out) {
			a.breach("after a killed %s: %s status %d, another report: %v", kind.name, what, later.status, !bytes.Equal(later.out, want.out))
		}
		if what := differences(before, card); what != "" {
			a.breach("after a killed %s: %s", kind.name, what)
		}
	}
	left, err := a.swept(results, card, output)
	if err != nil {
		return err
	}
	fmt.Printf("kills: %v, and %d runs that had ended; %d unfinished results left and swept; a report takes %.1f s\n", kills, ended, left, span.Seconds())
	return nil
}

// swept holds the next run with -o to removing what killed ones have left, and nothing
// else. It returns how many files they were.
func (a *attack) swept(results, card, output string) (left int, err error) {
	// One at least, as a kill hits the moment of writing rarely.
	if err := os.WriteFile(filepath.Join(results, ".prestrike-0123456789abcdef.tmp"), []byte("{"), 0o666); err != nil {
		return 0, err
	}
	other := filepath.Join(results, ".prestrike-notes.tmp")
	if err := os.WriteFile(other, []byte("mine"), 0o666); err != nil {
		return 0, err
	}
	entries, err := os.ReadDir(results)
	if err != nil {
		return 0, err
	}
	long := time.Now().Add(-2 * time.Hour) // younger ones may be another run's
	for _, e := range entries {
		if err := os.Chtimes(filepath.Join(results, e.Name()), long, long); err != nil {
			return 0, err
		}
		if strings.HasSuffix(e.Name(), ".tmp") {
			left++
		}
	}
	if got, err := a.start(nil, a.exe, "report", card, "--format", "json", "-o", output); err != nil || got.crashed() != "" {
		return 0, fmt.Errorf("report -o: status %d, %v: %s", got.status, err, got.said)
	}
	if entries, err = os.ReadDir(results); err != nil {
		return 0, err
	}
	for _, e := range entries {
		if name := e.Name(); name != filepath.Base(output) && name != filepath.Base(other) {
			a.breach("%s is left beside a result", name)
		}
	}
	if _, err := os.Stat(other); err != nil {
		a.breach("a file of another's was swept: %v", err)
	}
	return left - 1, nil
}
