package main

import (
	"bytes"
	"fmt"
	"image/jpeg"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"

	"prestrike/exifread"
)

// What one file may cost beyond what the sound frames beside it do. Decoding pictures
// has its own limit of memory beside that, for all of them.
const (
	mostCPU    = time.Second
	mostMemory = 64 << 20 // bytes
	// mostDecodings is what one picture may take, in decodings of a sound picture of 65
	// megapixels by the standard library, and not in seconds: machines differ, and a busy
	// one counts more CPU time for the same work. It is twice what the standard library
	// would take for 240 megapixels, the largest picture that fits this memory.
	mostDecodings = 8
)

// decoding is the CPU time that the standard library takes to decode a sound picture of 65
// megapixels here and now.
func (a *attack) decoding() (time.Duration, error) {
	self, err := os.Executable()
	if err != nil {
		return 0, err
	}
	cmd := exec.Command(self, "-decode")
	cmd.Stderr = os.Stderr
	if err := cmd.Run(); err != nil {
		return 0, fmt.Errorf("decoding a picture by the standard library: %w", err)
	}
	return cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime(), nil
}

// decode is what decoding measures, in a process of its own.
func decode() error {
	_, err := jpeg.Decode(bytes.NewReader(flat(10000, 6500)))
	return err
}

// atOnce is how many runs go beside each other: CPU time is counted, not the clock.
const atOnce = 2

// soundFrames is how many sound frames lie beside each hostile file.
const soundFrames = 3

// sound makes a folder with sound frames only.
func (a *attack) sound(name string, frames int) (string, error) {
	folder := a.path(name)
	if err := os.MkdirAll(folder, 0o777); err != nil {
		return "", err
	}
	for i := range frames {
		if err := os.WriteFile(filepath.Join(folder, soundName(i)), frame(i+1), 0o666); err != nil {
			return "", err
		}
	}
	return folder, nil
}

func soundName(i int) string { return fmt.Sprintf("BX1_%04d.JPG", i+1) }

// A trap is a folder with one hostile thing in it.
type trap struct {
	what string
	// set puts it beside the sound frames of a folder.
	set func(folder string) error
	// counted is whether it is a file that a report has to account for.
	counted bool
	torn    bool // a frame that is not whole: nothing may be good
	// frames are how many pictures it holds that take as much as one may each.
	frames int
}

// writeHostile writes the hostile file of a number, or into a folder the run of large
// pictures of one behind those.
func writeHostile(name, number string) error {
	i, err := strconv.Atoi(number)
	list, runs := hostiles(), pictures()
	switch {
	case err != nil || i < 0 || i >= len(list)+len(runs):
		return fmt.Errorf("no hostile file %q", number)
	case i < len(list):
		return os.WriteFile(name, list[i].content(), 0o666)
	}
	picture := runs[i-len(list)].content()
	for n := range runFrames {
		if err := os.WriteFile(filepath.Join(name, fmt.Sprintf("BX1_%04d.JPG", 100+n)), recorded(picture, 100+n), 0o666); err != nil {
			return err
		}
	}
	return nil
}

func (a *attack) files() error {
	var traps []trap
	self, err := os.Executable()
	if err != nil {
		return err
	}
	for i, h := range hostiles() {
		traps = append(traps, trap{what: h.what, counted: true, torn: h.torn, set: func(folder string) error {
			// By another process: what is resident here counts for those that are
			// started from here (Linux, exec_mmap: the most of before stays).
			cmd := exec.Command(self, "-write", filepath.Join(folder, h.name), strconv.Itoa(i))
			cmd.Stderr = os.Stderr
			return cmd.Run()
		}})
	}
	for i, h := range pictures() {
		traps = append(traps, trap{what: "a run of " + h.what, counted: true, frames: runFrames, set: func(folder string) error {
			cmd := exec.Command(self, "-write", folder, strconv.Itoa(i+len(hostiles())))
			cmd.Stderr = os.Stderr
			return cmd.Run()
		}})
	}
	traps = append(traps, specials()...)

	base, err := a.sound("base", soundFrames)
	if err != nil {
		return err
	}
	report, err := a.report(base, "--no-cache", "--pixels", "on")
	if err != nil {
		return err
	}
	if s, err := parse(report.out); err != nil || s.Files.Frames != soundFrames {
		return fmt.Errorf("the sound frames alone: status %d, %v: %s", report.status, err, report.said)
	}
	watch, err := a.watch(base, "--pixels", "on")
	if err != nil {
		return err
	}
	// A process has what was resident here when it was started as its least.
	least, err := a.start(nil, "true")
	if err != nil {
		return err
	}
	if least.memory >= min(report.memory, watch.memory) {
		return fmt.Errorf("%d MiB are resident here, more than in the program: what that takes cannot be told", least.memory>>20)
	}
	queue := make(chan int)
	var wg sync.WaitGroup
	var failed error
	var worst result
	runs, skipped := 0, 0
	for range atOnce {
		wg.Go(func() {
			for i := range queue {
				n, took, err := a.spring(i, &traps[i], &report, &watch)
				a.mu.Lock()
				runs += n
				worst.cpu, worst.memory = max(worst.cpu, took.cpu), max(worst.memory, took.memory)
				switch {
				case err == errNotHere:
					skipped++
				case err != nil:
					failed = fmt.Errorf("%s: %w", traps[i].what, err)
				}
				a.mu.Unlock()
			}
		})
	}
	for i := range traps {
		queue <- i
	}
	close(queue)
	wg.Wait()
	fmt.Printf("files: %d traps, %d of them cannot be made here; %d runs of report and watch; beyond the sound frames at most %.2f s of CPU time and %d MiB\n",
		len(traps), skipped, runs, worst.cpu.Seconds(), worst.memory>>20)
	return failed
}

// spring runs report and watch over a trap. It returns the most that one of them took
// beyond the sound frames.
func (a *attack) spring(i int, t *trap, report, watch *result) (runs int, worst result, err error) {
	folder, err := a.sound(fmt.Sprintf("trap-%d", i), soundFrames)
	if err != nil {
		return 0, worst, err
	}
	defer os.RemoveAll(folder) // below the folder for what may be lost
	if err := t.set(folder); err != nil {
		return 0, worst, err
	}
	for _, run := range []struct {
		how  string
		base *result
		run  func() (result, error)
	}{
		{"report", report, func() (result, error) { return a.report(folder, "--no-cache", "--pixels", "on") }},
		{"watch", watch, func() (result, error) { return a.watch(folder, "--pixels", "on") }},
	} {
		longest := mostCPU
		if t.frames > 0 {
			one, err := a.decoding()
			if err != nil {
				return runs, worst, err
			}
			longest = mostDecodings * one * time.Duration(t.frames)
		}
		got, err := run.run()
		if err == nil && got.cpu-run.base.cpu > longest && got.crashed() == "" {
			// The same work counts for more CPU time beside other work: the lesser of two
			// runs holds.
			var again result
			if again, err = run.run(); again.crashed() != "" || again.cpu < got.cpu {
				got = again
			}
		}
		if err != nil {
			return runs, worst, err
		}
		runs++
		if t.frames == 0 {
			worst.cpu, worst.memory = max(worst.cpu, got.cpu-run.base.cpu), max(worst.memory, got.memory-run.base.memory)
		} else {
			fmt.Printf("files: %s of %s: %.2f s of CPU time, of at most %.2f s, and %d MiB more\n", run.how, t.what, (got.cpu - run.base.cpu).Seconds(), longest.Seconds(), (got.memory-run.base.memory)>>20)
		}
		if what := got.crashed(); what != "" {
			a.breach("%s of %s: %s", run.how, t.what, what)
		}
		if n := got.cpu - run.base.cpu; n > longest {
			a.breach("%s of %s: %.2f s of CPU time more than without it", run.how, t.what, n.Seconds())
		}
		limit := int64(mostMemory)
		if t.frames > 0 {
			limit += exifread.MaxPictureBytes
		}
		if n := got.memory - run.base.memory; n > limit {
			a.breach("%s of %s: %d MiB more than without it", run.how, t.what, n>>20)
		}
		for _, text := range [][]byte{got.out, got.said} {
			if what := unsafe(text); what != "" {
				a.breach("%s of %s: printed %s", run.how, t.what, what)
			}
		}
		if run.how == "report" {
			a.accounted(t, &got)
		}
		if t.torn && got.status == 0 {
			a.breach("%s of %s: good, with a torn file", run.how, t.what)
		}
	}
	return runs, worst, nil
}

// accounted holds a report to naming the sound frames, and what lies beside them.
func (a *attack) accounted(t *trap, r *result) {
	s, err := parse(r.out)
	if err != nil {
		a.breach("report of %s: status %d, no JSON: %v: %.300s", t.what, r.status, err, r.said)
		return
	}
	files := s.files()
	for i := range soundFrames {
		if files[soundName(i)] != 1 {
			a.breach("report of %s: %s is in %d frames", t.what, soundName(i), files[soundName(i)])
		}
	}
	if t.counted && len(files)+s.Files.Other+len(s.Files.Unreadable) <= soundFrames {
		a.breach("report of %s: the file is not accounted for", t.what)
	}
}

// errNotHere means that a trap cannot be made on this system.
var errNotHere = fmt.Errorf("not here")

// specials are what is no file, or leads elsewhere.
func specials() []trap {
	link := func(to string) func(string) error {
		return func(folder string) error { return os.Symlink(to, filepath.Join(folder, "BX1_0004.JPG")) }
	}
	device := func(major, minor uint64) func(string) error {
		return func(folder string) error {
			err := mknod(filepath.Join(folder, "BX1_0004.JPG"), major, minor)
			if err != nil { // only the system's owner may
				return errNotHere
			}
			return nil
		}
	}
	return []trap{
		{"a pipe", func(folder string) error { return syscall.Mkfifo(filepath.Join(folder, "BX1_0004.JPG"), 0o666) }, false, false, 0},
		{"a pipe without a name of a picture", func(folder string) error { return syscall.Mkfifo(filepath.Join(folder, "notes"), 0o666) }, false, false, 0},
		{"a link to a pipe", func(folder string) error {
			if err := syscall.Mkfifo(filepath.Join(folder, "pipe"), 0o666); err != nil {
				return err
			}
			return link("pipe")(folder)
		}, false, false, 0},
		{"a socket", func(folder string) error {
			// Its name must be short, and it stays where the one who listens is gone.
			at, err := os.MkdirTemp("", "s")
			if err != nil {
				return err
			}
			defer os.RemoveAll(at)
			l, err := net.ListenUnix("unix", &net.UnixAddr{Name: filepath.Join(at, "s"), Net: "unix"})
			if err != nil {
				return err
			}
			l.SetUnlinkOnClose(false)
			defer l.Close()
			return os.Rename(filepath.Join(at, "s"), filepath.Join(folder, "BX1_0004.JPG"))
		}, false, false, 0},
		{"a link to an endless device", link("/dev/zero"), false, false, 0},
		{"a link to a device that waits", link("/dev/tty"), false, false, 0},
		{"a link to itself", link("BX1_0004.JPG"), false, false, 0},
		{"a link to nowhere", link("nowhere"), false, false, 0},
		{"a link to the folder itself", link("."), false, false, 0},
		{"a link to the folder above", link(".."), false, false, 0},
		{"a link to the root", link("/"), false, false, 0},
		{"a link to a frame", link(soundName(0)), false, false, 0},
		{"an endless device", device(1, 5), false, false, 0},
		{"a device of blocks that is not there", device(250, 77), false, false, 0},
		{"a folder named as a picture", func(folder string) error { return os.Mkdir(filepath.Join(folder, "BX1_0004.JPG"), 0o777) }, false, false, 0},
		{"200 folders in each other", func(folder string) error {
			deep := filepath.Join(folder, strings.Repeat("d/", 200))
			if err := os.MkdirAll(deep, 0o777); err != nil {
				return err
			}
			return os.WriteFile(filepath.Join(deep, "BX1_0004.JPG"), frame(4), 0o666)
		}, true, false, 0},
		{"a file of 1 TiB of nothing", func(folder string) error {
			name := filepath.Join(folder, "BX1_0004.DNG")
			if err := os.WriteFile(name, tiff(dir(2, 0, [4]uint32{0x100, 4, 1, 60}, [4]uint32{0x101, 4, 1, 40})), 0o666); err != nil {
				return err
			}
			if err := os.Truncate(name, 1<<40); err != nil {
				return errNotHere
			}
			return nil
		}, true, false, 0},
		{"2,000 files that are none", func(folder string) error {
			for i := range 2000 {
				if err := syscall.Mkfifo(filepath.Join(folder, fmt.Sprintf("BX1_%04d.NEF", i+10)), 0o666); err != nil {
					return err
				}
			}
			return nil
		}, false, false, 0},
	}
}

// configurations puts what is no file, and what has no end, where the program searches
// for a configuration. It returns how many runs it made.
func (a *attack) configurations(folder string) (runs int, err error) {
	config := filepath.Join(folder, "prestrike.toml")
	for _, set := range []struct {
		what string
		set  func() error
	}{
		{"a configuration that is a pipe", func() error { return syscall.Mkfifo(config, 0o666) }},
		{"a configuration that is an endless device", func() error { return os.Symlink("/dev/zero", config) }},
		{"a configuration of 2 GB", func() error {
			if err := os.WriteFile(config, []byte("[shoot]\n"), 0o666); err != nil {
				return err
			}
			return os.Truncate(config, 2<<30)
		}},
		{"a configuration with control characters", func() error {
			return os.WriteFile(config, []byte("[shoot]\n\"\\u001b[2J\\n\" = \"\\u001b[2J\\u202e\"\n"), 0o666)
		}},
	} {
		if err := set.set(); err != nil {
			return runs, err
		}
		got, err := a.report(folder, "--no-cache")
		if err != nil {
			return runs, err
		}
		runs++
		if what := got.crashed(); what != "" || got.status != 3 || len(got.out) > 0 || got.cpu > mostCPU || got.memory > mostMemory {
			a.breach("%s: %s status %d, %.2f s, %d MiB; said %q", set.what, what, got.status, got.cpu.Seconds(), got.memory>>20, got.said)
		}
		if what := unsafe(got.said); what != "" || !strings.Contains(string(got.said), "prestrike.toml") {
			a.breach("%s: printed %s: %q", set.what, what, got.said)
		}
		if err := os.Remove(config); err != nil {
			return runs, err
		}
	}
	return runs, nil
}

// elsewhere puts traps where the program searches for configurations and for what it kept
// of pictures.
func (a *attack) elsewhere() error {
	folder, err := a.sound("elsewhere", runFrames+1)
	if err != nil {
		return err
	}
	runs, err := a.configurations(folder)
	if err != nil {
		return err
	}
	entries, clean, err := a.filledCache(folder)
	if err != nil {
		return err
	}
	var contents [][]byte
	for _, name := range entries {
		content, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		contents = append(contents, content)
	}
	for _, set := range []struct {
		what string
		set  func(name string) error
	}{
		{"each other's entries", func(name string) error {
			next := (slices.Index(entries, name) + 1) % len(entries)
			return os.WriteFile(name, contents[next], 0o600)
		}},
		{"pipes", func(name string) error { return syscall.Mkfifo(name, 0o666) }},
		{"links to an endless device", func(name string) error { return os.Symlink("/dev/zero", name) }},
		{"links to a frame", func(name string) error { return os.Symlink(filepath.Join(folder, soundName(0)), name) }},
		{"other bytes", func(name string) error { return os.WriteFile(name, make([]byte, 1<<20), 0o666) }},
	} {
		for _, name := range entries {
			if err := os.Remove(name); err != nil {
				return err
			}
			if err := set.set(name); err != nil {
				return err
			}
		}
		before, err := tree(folder)
		if err != nil {
			return err
		}
		got, err := a.report(folder, "--pixels", "on")
		if err != nil {
			return err
		}
		runs++
		if what := got.crashed(); what != "" || string(got.out) != string(clean.out) || got.status != clean.status {
			a.breach("%s in the cache: %s status %d, another report: %v; said %q", set.what, what, got.status, string(got.out) != string(clean.out), got.said)
		}
		if what := differences(before, folder); what != "" {
			a.breach("%s in the cache: %s", set.what, what)
		}
	}
	fmt.Printf("cache: %d runs with traps for configurations and in a cache of %d files\n", runs, len(entries))
	return os.RemoveAll(a.path("cache"))
}

// filledCache has the program keep what it finds in a folder and in another, and returns
// the files that it keeps it in, and the report on the folder.
func (a *attack) filledCache(folder string) (entries []string, clean result, err error) {
	other, err := a.sound("other", runFrames+2)
	if err != nil {
		return nil, result{}, err
	}
	if err := os.RemoveAll(a.path("cache")); err != nil { // of the watches
		return nil, result{}, err
	}
	if _, err := a.report(other, "--pixels", "on"); err != nil {
		return nil, result{}, err
	}
	clean, err = a.report(folder, "--pixels", "on")
	if err != nil {
		return nil, result{}, err
	}
	err = filepath.WalkDir(a.path("cache"), func(name string, d os.DirEntry, err error) error {
		if err == nil && d.Type().IsRegular() {
			entries = append(entries, name)
		}
		return err
	})
	if err != nil {
		return nil, result{}, err
	}
	if len(entries) < 2 {
		return nil, clean, fmt.Errorf("%d entries in the cache, which are none to be taken for each other", len(entries))
	}
	return entries, clean, nil
}
