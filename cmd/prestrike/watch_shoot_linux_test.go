package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"prestrike/audit/board"
	"prestrike/audit/pictures/picturestest"
	"prestrike/audit/pixels/pixelstest"
	"prestrike/audit/publish"
	"prestrike/audit/publish/publishtest"
)

// within is how soon whatever happens is to be on the screen, on the page and at the broker.
const within = 2 * time.Second

// A scripted is a shoot with the program itself on a terminal, its page in a browser and a
// broker, with the time at which each shows what.
type scripted struct {
	t       *testing.T
	folder  string
	address string // of the page
	broker  *publishtest.Broker
	browser *browser
	master  *os.File
	command *exec.Cmd

	mu     sync.Mutex
	screen bytes.Buffer
	writes []write // to the screen
	heard  []message
}

// A write is how long the screen's text was at a time.
type write struct {
	end int
	at  time.Time
}

// A message is a state of the set as the broker has it.
type message struct {
	text string
	at   time.Time
}

// startShoot prepares a shoot: a broker that is followed, and a browser whose page notes
// what it shows and when.
func startShoot(t *testing.T) *scripted {
	t.Helper()
	s := &scripted{
		t: t, folder: t.TempDir(), address: freeAddress(t), browser: startBrowser(t), broker: publishtest.Start(t, publishtest.Options{}),
	}
	ctx, stop := context.WithCancel(t.Context())
	followed := make(chan error, 1)
	go func() {
		followed <- publish.Follow(ctx, publish.Options{Broker: s.broker.URL("studio")}, func(h publish.Heard) {
			text := fmt.Sprint("nobody, lost: ", h.Lost)
			if h.State != nil {
				text = h.State.Headline()
			}
			s.mu.Lock()
			defer s.mu.Unlock()
			s.heard = append(s.heard, message{text, time.Now()})
		}, func(string) {})
	}()
	t.Cleanup(func() {
		stop()
		if err := <-followed; err != nil {
			t.Error(err)
		}
	})
	// Not the page's own script: what is noted stays when it loads anew.
	const notes = `setInterval(() => {
		if (window !== top || !document.body) return;
		const text = (document.body.dataset.live === "yes" ? "" : "not live ") + (document.getElementById("word")?.textContent ?? "") + " " + (document.getElementById("number")?.textContent ?? "");
		const noted = JSON.parse(sessionStorage.noted ?? "[]");
		if (noted.length && noted.at(-1)[1] === text) return;
		sessionStorage.noted = JSON.stringify([...noted, [Date.now(), text]]);
	}, 20)`
	call(t, s.browser, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: notes})
	return s
}

// watch starts the program.
func (s *scripted) watch(args ...string) {
	s.t.Helper()
	master, terminal := openTerminal(s.t, 120, 30)
	s.master = master
	s.mu.Lock()
	s.screen.Reset()
	s.writes = nil
	s.mu.Unlock()
	args = append([]string{"watch", s.folder, "--page=" + s.address, "--publish", s.broker.URL("studio").String(), "--set", "table 2"}, args...)
	s.command = exec.CommandContext(s.t.Context(), "prestrike", args...)
	s.command.Stdin, s.command.Stdout, s.command.Stderr = terminal, terminal, terminal
	home := s.t.TempDir()
	s.command.Env = append(os.Environ(), "TERM=xterm", "NO_COLOR=1", "LC_ALL=C", "HOME="+home, "XDG_CONFIG_HOME=/nowhere/config", "XDG_CACHE_HOME="+home)
	if err := s.command.Start(); err != nil {
		s.t.Fatal(err)
	}
	terminal.Close()
	go func() { // ends with the terminal
		part := make([]byte, 1<<16)
		for {
			n, err := master.Read(part)
			s.mu.Lock()
			s.screen.Write(part[:n])
			s.writes = append(s.writes, write{s.screen.Len(), time.Now()})
			s.mu.Unlock()
			if err != nil {
				return
			}
		}
	}()
}

// put has a frame appear in the folder, and returns when.
func (s *scripted) put(name string, data []byte) time.Time {
	s.t.Helper()
	path := filepath.Join(s.folder, name)
	if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o777), os.WriteFile(path+".part", data, 0o666), os.Rename(path+".part", path)); err != nil {
		s.t.Fatal(err)
	}
	return time.Now()
}

// eventually asks until something is known when it happened.
func (s *scripted) eventually(what string, ask func() (time.Time, bool)) time.Time {
	s.t.Helper()
	for range 3000 {
		if at, ok := ask(); ok {
			return at
		}
		time.Sleep(10 * time.Millisecond)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.t.Fatalf("%s does not come; heard %v; on the screen is\n%s", what, s.heard, shownOn(120, s.screen.String()))
	return time.Time{}
}

// shown returns when a text was on the screen first.
func (s *scripted) shown(text string) time.Time {
	s.t.Helper()
	return s.eventually(fmt.Sprintf("%q on the screen", text), func() (time.Time, bool) {
		s.mu.Lock()
		defer s.mu.Unlock()
		i := bytes.Index(s.screen.Bytes(), []byte(text))
		if i < 0 {
			return time.Time{}, false
		}
		end := i + len(text)
		for _, w := range s.writes {
			if w.end >= end {
				return w.at, true
			}
		}
		return time.Time{}, false
	})
}

// bells is how often the bell sounded.
func (s *scripted) bells() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return bytes.Count(s.screen.Bytes(), []byte("\a"))
}

// rings waits until the bell sounded so often, and holds that it is then silent.
func (s *scripted) rings(n int) {
	s.t.Helper()
	s.eventually(fmt.Sprint(n, " bells"), func() (time.Time, bool) { return time.Now(), s.bells() >= n })
	time.Sleep(1500 * time.Millisecond) // longer than any pause in a signal
	if got := s.bells(); got != n {
		s.t.Errorf("the bell sounded %d times, want %d", got, n)
	}
}

// onPage returns when the page showed a text, which it had not shown before a time.
func (s *scripted) onPage(text string, after time.Time) time.Time {
	s.t.Helper()
	return s.eventually(fmt.Sprintf("%q on the page", text), func() (time.Time, bool) {
		ctx, stop := context.WithTimeout(s.browser.ctx, within)
		defer stop()
		notes, err := chromedp.Run(ctx, chromedp.Evaluate[[][]any](`JSON.parse(sessionStorage.noted ?? "[]")`))
		if err != nil && s.browser.ctx.Err() != nil {
			s.t.Fatal(err) // the browser has gone; a page that loads anew has no answer for now
		}
		for _, n := range notes {
			ms, _ := n[0].(float64)
			at := time.UnixMilli(int64(ms))
			if shows, _ := n[1].(string); strings.HasPrefix(shows, text) && !at.Before(after.Truncate(time.Millisecond)) {
				return at, true
			}
		}
		return time.Time{}, false
	})
}

// atBroker returns when the broker had a state of a headline, sent after a time.
func (s *scripted) atBroker(text string, after time.Time) time.Time {
	s.t.Helper()
	return s.eventually(fmt.Sprintf("%q at the broker", text), func() (time.Time, bool) {
		s.mu.Lock()
		defer s.mu.Unlock()
		i := slices.IndexFunc(s.heard, func(m message) bool { return strings.HasPrefix(m.text, text) && !m.at.Before(after) })
		if i < 0 {
			return time.Time{}, false
		}
		return s.heard[i].at, true
	})
}

// A show is what is to be seen of something that happened.
type show struct {
	what, screen, page, broker string
	least, most                time.Duration
}

// sees holds that something is on the screen, on the page and at the broker between the least
// and the most time after it happened, and prints when.
func (s *scripted) sees(happened time.Time, w show) {
	s.t.Helper()
	screen := s.shown(w.screen).Sub(happened)
	shown := s.onPage(w.page, happened).Sub(happened)
	sent := s.atBroker(w.broker, happened).Sub(happened)
	s.t.Logf("%-46s screen %5d ms, page %5d ms, broker %5d ms", w.what, screen.Milliseconds(), shown.Milliseconds(), sent.Milliseconds())
	for where, took := range map[string]time.Duration{"screen": screen, "page": shown, "broker": sent} {
		if took < w.least-50*time.Millisecond || took > w.most {
			s.t.Errorf("%s: on the %s after %v, want %v to %v", w.what, where, took, w.least, w.most)
		}
	}
}

// TestPageOfAScriptedShoot follows a shoot on the screen, on the page and at the broker: good
// work, a stall, a camera that goes and comes back, a watch that dies and is started again.
func TestPageOfAScriptedShoot(t *testing.T) {
	s := startShoot(t)
	card := filepath.Join(t.TempDir(), "card")
	if err := writeCard(card); err != nil {
		t.Fatal(err)
	}
	feed := func(from, to int) (last time.Time) {
		for n := from; n <= to; n++ {
			name := filepath.Join("DCIM", "100BXCAM", fmt.Sprintf("BX1_%04d.JPG", n))
			data, err := os.ReadFile(filepath.Join(card, name))
			if err != nil {
				t.Fatal(err)
			}
			last = s.put(name, data)
			time.Sleep(150 * time.Millisecond)
		}
		return last
	}
	s.watch("--planned-frames", "10", "--settle", "200ms")
	s.shown("waiting for frames")
	s.browser.url = "http://" + s.address + "/"
	s.browser.do(t, chromedp.Navigate(s.browser.url), chromedp.WaitReady("footer"))
	s.onPage("waiting", time.Time{})

	last := feed(2, 11)
	s.sees(last, show{what: "the last frame: good", screen: "(closed with 10 frames, as planned)", page: "good 1.1", broker: "good", most: within})
	s.rings(1)

	last = feed(23, 29)
	const quiet = 6 * time.Second
	s.sees(last, show{what: "no frame comes: stalled", screen: "stalled at", page: "stalled", broker: "stalled", least: quiet, most: 2*quiet + within})
	s.rings(1 + 4)

	away := s.folder + "-away"
	if err := os.Rename(s.folder, away); err != nil {
		t.Fatal(err)
	}
	gone := time.Now()
	s.sees(gone, show{what: "the folder is gone", screen: "cannot be read for now", page: "no folder", broker: "no folder", most: within})
	s.rings(1 + 4 + 6)
	s.eventually("the repetition", func() (time.Time, bool) { return time.Now(), s.bells() >= 1+4+2*6 })
	if took := time.Since(gone); took < board.RepeatEvery || took > board.RepeatEvery+2*within+time.Second {
		t.Errorf("the loss is repeated after %v, want %v", took, board.RepeatEvery)
	}
	if err := os.Rename(away, s.folder); err != nil {
		t.Fatal(err)
	}
	back := time.Now()
	s.sees(back, show{what: "the folder is back", screen: "is back", page: "stalled", broker: "stalled", most: within})

	killed := time.Now()
	if err := s.command.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = s.command.Wait() // killed
	page, broker := s.onPage("not live", killed).Sub(killed), s.atBroker("nobody, lost: true", killed).Sub(killed)
	t.Logf("%-46s page %5d ms, broker %5d ms", "the watch is killed", page.Milliseconds(), broker.Milliseconds())
	if page > 3*time.Second || broker > within {
		t.Errorf("killed: on the page after %v, at the broker after %v", page, broker)
	}
	started := time.Now()
	s.watch("--planned-frames", "10", "--settle", "200ms")
	// The page asks every four seconds whether the watch is there again.
	s.sees(started, show{what: "started again: the page is back by itself", screen: "already", page: "stalled 7 of 10", broker: "stalled at 7 of 10", most: 6 * time.Second})
	last = feed(30, 32)
	s.sees(last, show{what: "the last frame after the start: good", screen: "(closed with 10 frames, as planned)", page: "good 1.2", broker: "good: 1.2", most: within})
	if err := s.command.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	_ = s.command.Wait() // with the status of the folder
	s.atBroker("nobody, lost: false", started)
}

// TestPageOfADarkFrame holds that a dark frame in the middle of a stack of 200 is seen and heard with
// the frame behind it, on the screen, on the page and at the broker.
func TestPageOfADarkFrame(t *testing.T) {
	s := startShoot(t)
	scene := pixelstest.Scene{
		Seed: 5, Width: 288, Height: 192, Shape: pixelstest.Relief, Depth: 60, Contrast: 1,
		PSF: 0.6, Breathing: 0.06, Electrons: 40000, Quality: 90,
	}.Build()
	const frames, dark = 200, 100
	shots := pixelstest.Brighten(pixelstest.Run(3, frames, -0.12, 1.12, 0.04), dark-1, 1, -2)
	card := picturestest.Camera{Every: 1300 * time.Millisecond}.Write(t, frames, func(i int) []byte { return scene.JPEG(shots[i]) })
	feed := func(from, to int) (last time.Time) {
		for n := from; n <= to; n++ {
			name := fmt.Sprintf("BX1_%04d.JPG", n)
			data, err := os.ReadFile(filepath.Join(card, name))
			if err != nil {
				t.Fatal(err)
			}
			last = s.put(name, data)
			time.Sleep(100 * time.Millisecond)
		}
		return last
	}
	s.watch("--planned-frames", fmt.Sprint(frames), "--settle", "200ms")
	s.shown("waiting for frames")
	s.browser.url = "http://" + s.address + "/"
	s.browser.do(t, chromedp.Navigate(s.browser.url), chromedp.WaitReady("footer"))
	feed(1, dark)
	s.shown(fmt.Sprintf("shooting %d of %d", dark, frames))
	if n := s.bells(); n != 0 {
		t.Errorf("%d bells before the frame behind the dark one", n)
	}
	last := feed(dark+1, dark+1)
	s.sees(last, show{what: "the frame behind a dark one, of 200", screen: "frame 0100 is about", page: "again 1.1", broker: "shoot 1.1 again", most: within})
	s.rings(3)
	last = feed(dark+2, frames)
	// What must be shot again closes after two seconds in which no file comes.
	closed := s.shown("(closed with 200 frames, as planned)").Sub(last)
	t.Logf("%-46s screen %5d ms", "the last of 200 frames", closed.Milliseconds())
	if err := s.command.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	_ = s.command.Wait() // with the status of the folder
}
