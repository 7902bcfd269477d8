// Command attack sends hostile files at the program and ends it at random moments:
//
//	go run ./.ci/attack [-kills 50] [-seed 1] [PART...]
//
// The parts are
//
//	files  report and watch over bombs, circles, floods, names with control characters
//	       and what is no file, each beside three sound frames and within 1 s of CPU
//	       time and 64 MiB beyond what the sound frames alone take; large pictures within
//	       eight decodings of one by the standard library
//	cache  what is no file, and other bytes, where the program searches for a configuration
//	       and for what it kept of pictures
//	reads  reading each file from a medium that fails, gives nothing or ends early, and,
//	       where strace is installed, whole reports on such a medium
//	kills  report, watch and report -o killed at random moments, and what a later run
//	       reports then
//
// It prints its counts, and fails on any breach. Unix only.
package main

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"sync"
	"syscall"
	"time"
)

// An attack is one run of this command.
type attack struct {
	dir      string // of its own, removed at the end
	exe      string // the program
	env      []string
	seed     uint64
	kills    int
	mu       sync.Mutex
	breaches int
}

func main() {
	kills := flag.Int("kills", 50, "how many runs to kill")
	seed := flag.Uint64("seed", uint64(time.Now().UnixNano()), "of what happens at random")
	keep := flag.Bool("keep", false, "leave the files for a look at them")
	write := flag.String("write", "", "write the hostile file of the `NUMBER` that follows to this file, and end; for this command itself")
	plain := flag.Bool("decode", false, "decode a picture by the standard library, and end; for this command itself")
	flag.Parse()
	if *plain {
		if err := decode(); err != nil {
			fail(err)
		}
		return
	}
	if *write != "" {
		if err := writeHostile(*write, flag.Arg(0)); err != nil {
			fail(err)
		}
		return
	}
	dir, err := os.MkdirTemp("", "attack-")
	if err != nil {
		fail(err)
	}
	a := &attack{dir: dir, exe: filepath.Join(dir, "prestrike"), seed: *seed, kills: *kills}
	a.env = append(os.Environ(), "XDG_CACHE_HOME="+a.path("cache"), "XDG_CONFIG_HOME="+a.path("config"))
	err = a.run(flag.Args())
	if *keep {
		fmt.Println("left in", dir)
	} else {
		_ = os.RemoveAll(dir) // below the folder for what may be lost
	}
	if err != nil {
		fail(err)
	}
}

func fail(err error) {
	fmt.Fprintln(os.Stderr, "attack:", err)
	os.Exit(1)
}

func (a *attack) path(name string) string { return filepath.Join(a.dir, name) }

func (a *attack) run(parts []string) error {
	build := exec.Command("go", "build", "-o", a.exe, "./cmd/prestrike")
	build.Env = append(os.Environ(), "CGO_ENABLED=0") // no loader, whose calls would fail in place of ours
	build.Stderr = os.Stderr
	if err := build.Run(); err != nil {
		return fmt.Errorf("building: %w", err)
	}
	fmt.Printf("seed %d\n", a.seed)
	for _, part := range []struct {
		name string
		run  func() error
	}{{"files", a.files}, {"cache", a.elsewhere}, {"reads", a.reads}, {"kills", a.killed}} {
		if len(parts) > 0 && !slices.Contains(parts, part.name) {
			continue
		}
		began, before := time.Now(), cpu()
		if err := part.run(); err != nil {
			return fmt.Errorf("%s: %w", part.name, err)
		}
		fmt.Printf("%s: %.0f s, %.0f s of CPU time\n", part.name, time.Since(began).Seconds(), (cpu() - before).Seconds())
	}
	fmt.Printf("%d breaches\n", a.breaches)
	if a.breaches > 0 {
		return errors.New("the program did not hold")
	}
	return nil
}

// breach notes that the program did not hold.
func (a *attack) breach(format string, args ...any) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.breaches++
	fmt.Printf("BREACH: %s\n", fmt.Sprintf(format, args...))
}

// cpu is the CPU time of this process and of its children that have ended.
func cpu() time.Duration {
	var sum time.Duration
	for _, who := range []int{syscall.RUSAGE_SELF, syscall.RUSAGE_CHILDREN} {
		var u syscall.Rusage
		if err := syscall.Getrusage(who, &u); err == nil {
			sum += time.Duration(u.Utime.Nano() + u.Stime.Nano())
		}
	}
	return sum
}
