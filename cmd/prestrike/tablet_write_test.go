package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"prestrike/audit/config"
	"prestrike/audit/publish"
	"prestrike/audit/publish/publishtest"
)

// A writerPage is a page of a watch that writes, as a browser has it, without the browser.
type writerPage struct {
	t      *testing.T
	w      *watchRun
	url    string // with a slash at its end
	client *http.Client
}

// pageLink is the link to a page that writes.
var pageLink = regexp.MustCompile(`(http://[0-9.:]+/)\?key=[A-Z0-9]+`)

// openWriter opens the page of a watch by the link that it prints.
func openWriter(t *testing.T, w *watchRun) *writerPage {
	t.Helper()
	w.wait(&w.err, "the link can see the page and write to prestrike.toml")
	link := pageLink.FindStringSubmatch(w.err.String())
	if link == nil {
		t.Fatalf("no link in %s", w.err.String())
	}
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	p := &writerPage{t: t, w: w, url: link[1], client: &http.Client{Jar: jar, Timeout: time.Minute}}
	r, err := p.client.Get(link[0])
	if err != nil {
		t.Fatal(err)
	}
	_ = r.Body.Close() // the cookie is in its head
	return p
}

// A pageState is what a page is told, as far as the tests need it.
type pageState struct {
	Word   string
	Number string
	Closed []struct{ Title, Verdict, Sequence string }
	Write  struct{ Edition, Undo string }
}

// state is what the page is told first.
func (p *writerPage) state() (s pageState) {
	p.t.Helper()
	r, err := p.client.Get(p.url + "events")
	if err != nil {
		p.t.Fatal(err)
	}
	defer r.Body.Close()
	lines := bufio.NewScanner(r.Body)
	for lines.Scan() {
		if text, ok := bytes.CutPrefix(lines.Bytes(), []byte("data: ")); ok {
			if err := json.Unmarshal(text, &s); err != nil {
				p.t.Fatal(err)
			}
			return s
		}
	}
	p.t.Fatalf("no state: %s, %v", r.Status, lines.Err())
	return s
}

// comes waits until the page is told what it should, and fails where that takes over two
// seconds.
func (p *writerPage) comes(what string, ok func(pageState) bool) pageState {
	p.t.Helper()
	began := time.Now()
	s := p.state()
	for !ok(s) {
		if time.Since(began) > longestWait/4 {
			p.t.Fatalf("%s is not on the page: %+v", what, s)
		}
		time.Sleep(10 * time.Millisecond)
		s = p.state()
	}
	if took := time.Since(began); took > 2*time.Second {
		p.t.Errorf("%s is on the page after %v", what, took)
	}
	return s
}

// post sends a declaration, and returns what the page is told.
func (p *writerPage) post(path string, what map[string]any) (done bool, text string) {
	p.t.Helper()
	body, err := json.Marshal(what)
	if err != nil {
		p.t.Fatal(err)
	}
	r, err := http.NewRequestWithContext(p.t.Context(), http.MethodPost, p.url+path, bytes.NewReader(body))
	if err != nil {
		p.t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Origin", strings.TrimSuffix(p.url, "/"))
	answer, err := p.client.Do(r)
	if err != nil {
		p.t.Fatal(err)
	}
	defer answer.Body.Close()
	read, err := io.ReadAll(answer.Body)
	if err != nil {
		p.t.Fatal(err)
	}
	var out struct {
		Done bool
		Text string
	}
	if err := json.Unmarshal(read, &out); err != nil {
		p.t.Fatalf("%s: %s, %s", path, answer.Status, read)
	}
	if strings.Contains(out.Text, string(filepath.Separator)) || strings.Contains(out.Text, p.w.in) {
		p.t.Errorf("the page is told of a folder: %q", out.Text)
	}
	return out.Done, out.Text
}

// declared is a declaration of a sequence by what the page was told.
func (s pageState) declared(id, kind string, more map[string]any) (path string, what map[string]any) {
	what = map[string]any{"edition": s.Write.Edition, "id": id, "kind": kind}
	for k, v := range more {
		what[k] = v
	}
	return "declare/" + s.name(id), what
}

// name is the name of a closed sequence.
func (s pageState) name(id string) string {
	for _, q := range s.Closed {
		if strings.HasPrefix(q.Title, id+" ") {
			return q.Sequence
		}
	}
	return "none"
}

func (s pageState) verdict(id string) string {
	for _, q := range s.Closed {
		if strings.HasPrefix(q.Title, id+" ") {
			return q.Verdict
		}
	}
	return ""
}

func (s pageState) title(id string) string {
	for _, q := range s.Closed {
		if strings.HasPrefix(q.Title, id+" ") {
			return q.Title
		}
	}
	return ""
}

// startWriter watches a folder with a sequence that lacks two frames and one that is like
// it, with a page that writes.
func startWriter(t *testing.T, args ...string) (*watchRun, *writerPage, string) {
	t.Helper()
	w := startWatch(t, nil, append([]string{"--page=127.0.0.1:0", "--page-write", "--pixels", "off"}, args...)...)
	w.wait(&w.out, "holds no frames yet")
	p := openWriter(t, w)
	w.feed("0013", "0014", "0015", "0016", "0019", "0020", "0021", "0022")
	w.enter("reshoot  Missing frames (1.1): 0017 and 0018 are not there")
	w.feed("0023", "0024", "0025", "0026", "0027", "0028", "0029", "0030", "0031", "0032")
	w.enter("good     1.2 focus 10:14, frames 0023 to 0032 (10)")
	p.comes("what closed", func(s pageState) bool { return len(s.Closed) == 2 })
	return w, p, filepath.Join(w.in, config.Name)
}

func readConfig(t *testing.T, file string) string {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		return err.Error()
	}
	return string(text)
}

// What is meant is in the file and holds on the terminal and the page, and may be taken back.
func TestWatchTakesWhatIsMeant(t *testing.T) {
	w, p, file := startWriter(t)
	s := p.state()
	if s.verdict("1.1") != "reshoot" || s.Word != "again" && s.Word != "good" {
		t.Fatalf("state %+v", s)
	}
	first := s
	// Meant.
	hostile := `"] ' the light # [rule.missing-frame] off = true \`
	path, what := s.declared("1.1", "meant", map[string]any{"rules": []string{"missing-frame"}, "reason": hostile})
	if done, text := p.post(path, what); !done || text != `"Missing frames" of 1.1 is meant: written to prestrike.toml.` {
		t.Fatalf("%v, %q", done, text)
	}
	s = p.comes("what is meant", func(s pageState) bool { return s.verdict("1.1") == "good" && s.Write.Edition != first.Write.Edition })
	w.wait(&w.out, "corrected  1.1 focus 10:09, frames 0013 to 0022 (8) is now: good")
	w.wait(&w.err, `from the page: "Missing frames" of 1.1 is meant: written to prestrike.toml`)
	if s.Write.Undo != `"Missing frames" of 1.1 is meant` {
		t.Errorf("to take back: %q", s.Write.Undo)
	}
	if text := readConfig(t, file); !strings.Contains(text, "[[accept]]\nrule = 'missing-frame'\nframe = 'BX1_0013.JPG'\nreason = ") || strings.Count(text, "\n") != 4 {
		t.Errorf("written:\n%s", text)
	}
	// A page that saw another state changes nothing.
	path, what = first.declared("1.2", "view", map[string]any{"view": "back"})
	if done, text := p.post(path, what); done || text != "The settings changed meanwhile: check the page, then try again." {
		t.Fatalf("an old page: %v, %q", done, text)
	}
	if done, text := p.post("take-back", map[string]any{"edition": first.Write.Edition}); done || text != "The settings changed meanwhile: check the page, then try again." {
		t.Errorf("an old page takes back: %v, %q", done, text)
	}
	// Taken back.
	if done, text := p.post("take-back", map[string]any{"edition": s.Write.Edition}); !done || text != `Taken back: "Missing frames" of 1.1 is meant.` {
		t.Errorf("taken back: %v, %q", done, text)
	}
	s = p.comes("what was taken back", func(s pageState) bool { return s.verdict("1.1") == "reshoot" && s.Write.Undo == "" })
	if _, err := os.Stat(file); !os.IsNotExist(err) {
		t.Errorf("%s is still there", file)
	}
	if done, text := p.post("take-back", map[string]any{"edition": s.Write.Edition}); done || !strings.Contains(text, "nothing that can still be taken back") {
		t.Errorf("taken back twice: %v, %q", done, text)
	}
	w.end()
}

// A retake and the name of a view are in the file and hold on the terminal and the page; a
// minute later they stay.
func TestWatchTakesRetakesAndViews(t *testing.T) {
	w, p, file := startWriter(t)
	s := p.state()
	path, what := s.declared("1.1", "shot-again", map[string]any{"by": s.name("1.2"), "by_id": "1.2"})
	if done, text := p.post(path, what); !done || text != "1.2 repeats 1.1: written to prestrike.toml." {
		t.Fatalf("%v, %q", done, text)
	}
	p.comes("the retake", func(s pageState) bool {
		return s.verdict("1.1") == "retaken as 1.2" && s.Word+" "+s.Number == "good 1.2"
	})
	w.wait(&w.out, "is now: retaken")
	retaken := "[[retaken]]\nsequence = 'BX1_0013.JPG'\nby = 'BX1_0023.JPG'\n"
	if text := readConfig(t, file); text != retaken {
		t.Errorf("written:\n%s", text)
	}
	// A minute later it stays.
	w.pass(undoFor)
	s = p.comes("the end of the minute", func(s pageState) bool { return s.Write.Undo == "" })
	if done, text := p.post("take-back", map[string]any{"edition": s.Write.Edition}); done || !strings.Contains(text, "by hand") {
		t.Errorf("after a minute: %v, %q", done, text)
	}
	// The name of a view, new and listed.
	path, what = s.declared("1.2", "view", map[string]any{"view": "back, \"inside\""})
	if done, text := p.post(path, what); !done || text != "1.2 shows \"back, \\\"inside\\\"\": written to prestrike.toml." {
		t.Fatalf("%v, %q", done, text)
	}
	s = p.comes("the view", func(s pageState) bool { return s.title("1.2") == `1.2 focus, back, "inside"` })
	if text := readConfig(t, file); text != retaken+"\n[[view]]\nname = 'back, \"inside\"'\nkind = 'focus'\nframes = 10\nsequence = 'BX1_0023.JPG'\n" {
		t.Errorf("written:\n%s", text)
	}
	if status := w.end(); status != statusGood {
		t.Errorf("status %d", status)
	}
	if !strings.Contains(w.out.String(), "1 of 1 views shot") {
		t.Errorf("the last report does not know the view:\n%s", w.out.String())
	}
}

// What is written by hand meanwhile stays, and a page writes only on what it has shown.
func TestWatchWritesOnWhatPagesShow(t *testing.T) {
	w, p, file := startWriter(t)
	s := p.state()
	hand := "# by hand\n\n[[view]]\nname = \"back\" # last\n"
	if err := os.WriteFile(file, []byte(hand), 0o600); err != nil {
		t.Fatal(err)
	}
	named := func(s pageState, id, view string) (bool, string) {
		path, what := s.declared(id, "view", map[string]any{"view": view})
		return p.post(path, what)
	}
	if done, text := named(s, "1.2", "keel"); done || text != "The settings changed meanwhile: check the page, then try again." {
		t.Fatalf("over what was written by hand: %v, %q", done, text)
	}
	w.wait(&w.err, "the configuration was changed meanwhile: all is judged by what it holds now")
	first := s
	s = p.comes("what was written by hand", func(s pageState) bool {
		return s.Write.Edition != first.Write.Edition && s.title("1.2") == "1.2 focus, back"
	})
	if done, text := named(s, "1.1", "Back"); !done || text != `1.1 shows "back": written to prestrike.toml.` {
		t.Errorf("then: %v, %q", done, text)
	}
	if text := readConfig(t, file); text != hand+"sequence = 'BX1_0013.JPG'\n" {
		t.Errorf("written:\n%s", text)
	}
	// Two at once: one of them saw what the other changed too late.
	first = s
	s = p.comes("the view", func(s pageState) bool { return s.Write.Edition != first.Write.Edition })
	var group sync.WaitGroup
	var mu sync.Mutex
	written := map[string]string{}
	for _, view := range []string{"keel", "hinge", "front", "ribs"} {
		group.Go(func() {
			done, text := named(s, "1.2", view)
			mu.Lock()
			defer mu.Unlock()
			if done {
				written[view] = text
			} else if text != "The settings changed meanwhile: check the page, then try again." {
				t.Errorf("%s: %q", view, text)
			}
		})
	}
	group.Wait()
	text := readConfig(t, file)
	if len(written) != 1 || strings.Count(text, "[[view]]") != 2 {
		t.Errorf("%d of four at once have written: %v\n%s", len(written), written, text)
	}
	// A mistake by hand is named, and nothing written over it.
	old := s
	s = p.comes("one of them", func(s pageState) bool { return s.Write.Edition != old.Write.Edition })
	broken := text + "planed-frames = 3\n"
	if err := os.WriteFile(file, []byte(broken), 0o600); err != nil {
		t.Fatal(err)
	}
	if done, answer := named(s, "1.2", "label"); done || !strings.HasPrefix(answer, "Prestrike.toml:") || !strings.Contains(answer, "planed-frames") || readConfig(t, file) != broken {
		t.Errorf("over a mistake: %v, %q", done, answer)
	}
	w.end()
}

// Sequences that have another number, or another first frame, are not mistaken for others,
// and rules that found nothing are not accepted.
func TestWatchMistakesNoSequence(t *testing.T) {
	w, p, file := startWriter(t)
	s := p.state()
	// An ID and a first frame that do not belong together.
	for _, c := range []struct{ of, id string }{{"1.1", "1.2"}, {"1.2", "1.1"}, {"1.1", "1.7"}, {"1.1", ""}} {
		path, what := s.declared(c.of, "meant", map[string]any{"rules": []string{"missing-frame"}, "reason": "meant"})
		what["id"] = c.id
		if done, answer := p.post(path, what); done || answer != "The sequences changed meanwhile: check the page, then try again." {
			t.Errorf("%s as %s: %v, %q", c.of, c.id, done, answer)
		}
	}
	for _, rule := range []string{"iso-drift", "no-such-rule", "../../etc/passwd"} {
		path, what := s.declared("1.1", "meant", map[string]any{"rules": []string{rule}, "reason": "meant"})
		if done, answer := p.post(path, what); done || answer != "The sequences changed meanwhile: check the page, then try again." {
			t.Errorf("%s: %v, %q", rule, done, answer)
		}
	}
	path, what := s.declared("1.1", "shot-again", map[string]any{"by": s.name("1.2"), "by_id": "1.3"})
	if done, answer := p.post(path, what); done || answer != "The sequences changed meanwhile: check the page, then try again." {
		t.Errorf("by another ID: %v, %q", done, answer)
	}
	// Another first frame is another sequence: the page must show it before.
	if err := os.Remove(filepath.Join(w.in, w.frame("0013"))); err != nil {
		t.Fatal(err)
	}
	p.comes("another first frame", func(now pageState) bool { return now.name("1.1") != s.name("1.1") })
	path, what = s.declared("1.1", "meant", map[string]any{"rules": []string{"missing-frame"}, "reason": "meant"})
	if done, answer := p.post(path, what); done || answer != "The sequences changed meanwhile: check the page, then try again." {
		t.Errorf("after another first frame: %v, %q\n%s", done, answer, w.out.String())
	}
	if _, err := os.Stat(file); !os.IsNotExist(err) {
		t.Errorf("written:\n%s", readConfig(t, file))
	}
	w.end()
}

// Where the file cannot be written the page says so, and that nothing was written.
func TestWatchCannotWrite(t *testing.T) {
	w, p, file := startWriter(t)
	s := p.state()
	readOnly(t, w.in)
	path, what := s.declared("1.1", "meant", map[string]any{"rules": []string{"missing-frame"}, "reason": "meant"})
	done, text := p.post(path, what)
	if done || !strings.HasPrefix(text, "Cannot write prestrike.toml: ") || !strings.HasSuffix(text, ": allow writing to its folder, or start the watch with another file, by --config.") {
		t.Errorf("%v, %q", done, text)
	}
	if _, err := os.Stat(file); !os.IsNotExist(err) {
		t.Errorf("%s is there: %v", file, err)
	}
	w.wait(&w.err, "from the page: cannot write "+file)
	if s := p.state(); s.Write.Undo != "" || s.verdict("1.1") != "reshoot" {
		t.Errorf("state %+v", s)
	}
	w.end()
}

// readOnly makes a folder one that nobody writes to, the system's own user included.
func readOnly(t *testing.T, folder string) {
	t.Helper()
	if err := os.Chmod(folder, 0o555); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.Chmod(folder, 0o755) }) // it is deleted with the test
	if os.Geteuid() != 0 {
		return
	}
	if err := exec.Command("chattr", "+i", folder).Run(); err != nil {
		t.Skipf("no permission stops this user, and the file system knows no immutable folders: %v", err)
	}
	t.Cleanup(func() {
		if err := exec.Command("chattr", "-i", folder).Run(); err != nil {
			t.Error(err)
		}
	})
}

// A thousand declarations at once leave a file that reads, with one of them in it, and a watch
// that goes on.
func TestWatchOfManyWriters(t *testing.T) {
	w, p, file := startWriter(t)
	s := p.state()
	path, what := s.declared("1.2", "view", map[string]any{"view": "back"})
	body, err := json.Marshal(what)
	if err != nil {
		t.Fatal(err)
	}
	var group sync.WaitGroup
	var mu sync.Mutex
	codes, done := map[int]int{}, 0
	queue := make(chan struct{}, 200) // open at a time: the system's own limit is not the matter
	for range 1000 {
		group.Go(func() {
			queue <- struct{}{}
			defer func() { <-queue }()
			r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, p.url+path, bytes.NewReader(body))
			if err != nil {
				t.Error(err)
				return
			}
			r.Header.Set("Content-Type", "application/json")
			r.Header.Set("Origin", strings.TrimSuffix(p.url, "/"))
			answer, err := p.client.Do(r)
			if err != nil {
				t.Error(err)
				return
			}
			defer answer.Body.Close()
			text, err := io.ReadAll(answer.Body)
			if err != nil {
				t.Error(err)
			}
			mu.Lock()
			defer mu.Unlock()
			codes[answer.StatusCode]++
			if bytes.Contains(text, []byte(`"done":true`)) {
				done++
			}
		})
	}
	group.Wait()
	if codes[http.StatusOK]+codes[http.StatusServiceUnavailable] != 1000 || done != 1 {
		t.Errorf("answers %v, %d written", codes, done)
	}
	if text := readConfig(t, file); strings.Count(text, "[[view]]") != 1 {
		t.Errorf("written:\n%s", text)
	}
	p.comes("the view", func(s pageState) bool { return s.title("1.2") == "1.2 focus, back" })
	w.feed("0038", "0039", "0040")
	w.enter("1.3 ")
	w.end()
}

// What a page declares is at the broker within two seconds.
func TestWatchPublishesDeclarations(t *testing.T) {
	broker := publishtest.Start(t, publishtest.Options{})
	ctx, stop := context.WithCancel(t.Context())
	var mu sync.Mutex
	heard := ""
	followed := make(chan error, 1)
	go func() {
		followed <- publish.Follow(ctx, publish.Options{Broker: broker.URL("studio")}, func(h publish.Heard) {
			mu.Lock()
			defer mu.Unlock()
			if heard = ""; h.State == nil {
				return
			}
			for _, q := range h.State.Closed {
				heard += strings.TrimSpace(fmt.Sprint(q.ID, " ", q.Verdict, " ", q.View, " ", q.Retaken)) + "; "
			}
		}, func(string) {})
	}()
	hears := func(want string) {
		t.Helper()
		began := time.Now()
		for {
			mu.Lock()
			now := heard
			mu.Unlock()
			if now == want {
				break
			}
			if time.Since(began) > longestWait/4 {
				t.Fatalf("the broker has %q, want %q", now, want)
			}
			time.Sleep(5 * time.Millisecond)
		}
		if took := time.Since(began); took > 2*time.Second {
			t.Errorf("%q is at the broker after %v", want, took)
		} else {
			t.Logf("%q is at the broker after %d ms", want, took.Milliseconds())
		}
	}
	w, p, _ := startWriter(t, "--publish", broker.URL("studio").String())
	hears("1.2 good; 1.1 reshoot; ")
	path, what := p.state().declared("1.2", "view", map[string]any{"view": "back"})
	if done, text := p.post(path, what); !done {
		t.Fatal(text)
	}
	hears("1.2 good back; 1.1 reshoot; ")
	s := p.comes("the view", func(s pageState) bool { return s.title("1.2") == "1.2 focus, back" })
	path, what = s.declared("1.1", "shot-again", map[string]any{"by": s.name("1.2"), "by_id": "1.2"})
	if done, text := p.post(path, what); !done {
		t.Fatal(text)
	}
	hears("1.2 good back; 1.1 reshoot  1.2; ")
	w.end()
	stop()
	if err := <-followed; err != nil {
		t.Error(err)
	}
}

// A retake that was declared and is faulty itself is what the set is about: nothing is good
// because something repeats it.
func TestWatchShowsAFaultyRetake(t *testing.T) {
	w, p, _ := startWriter(t)
	var lapse []string
	for n := 59; n <= 88; n++ {
		lapse = append(lapse, fmt.Sprintf("%04d", n))
	}
	w.feed(lapse...)
	w.enter("check    ISO changes (1.3)")
	s := p.comes("what closed", func(s pageState) bool { return s.verdict("1.3") == "check" })
	path, what := s.declared("1.1", "meant", map[string]any{"rules": []string{"missing-frame"}, "reason": "meant"})
	if done, text := p.post(path, what); !done {
		t.Fatal(text)
	}
	s = p.comes("what is meant", func(s pageState) bool { return s.Word+" "+s.Number == "good 1.1" })
	if done, text := p.post("take-back", map[string]any{"edition": s.Write.Edition}); !done {
		t.Fatal(text)
	}
	s = p.comes("what was taken back", func(s pageState) bool { return s.verdict("1.1") == "reshoot" })
	path, what = s.declared("1.1", "shot-again", map[string]any{"by": s.name("1.3"), "by_id": "1.3"})
	if done, text := p.post(path, what); !done {
		t.Fatal(text)
	}
	p.comes("the faulty retake", func(s pageState) bool {
		return s.verdict("1.1") == "retaken as 1.3" && s.Word+" "+s.Number == "inspect 1.3"
	})
	if status := w.end(); status != statusCheck {
		t.Errorf("status %d", status)
	}
}
