package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"net"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"prestrike/audit/board"
	"prestrike/audit/report"
	"prestrike/audit/tablet"
)

// drawnGallery draws small pictures.
type drawnGallery struct{}

func drawn(width, height int) (*report.Picture, error) {
	img := image.NewGray(image.Rect(0, 0, width, height))
	for y := range height {
		for x := range width {
			img.SetGray(x, y, color.Gray{uint8(40 + 150*x/width + 20*((x/16+y/16)%2))})
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, nil); err != nil {
		return nil, err
	}
	return &report.Picture{Type: "image/jpeg", Data: b.Bytes(), Width: width, Height: height}, nil
}

func (drawnGallery) Newest(string) (*report.Picture, error)           { return drawn(1200, 800) }
func (drawnGallery) Deciding(string, string) (*report.Picture, error) { return drawn(600, 400) }
func (drawnGallery) Closed(string) (*report.Picture, error)           { return drawn(480, 320) }
func (drawnGallery) WriteSequence(_ context.Context, w io.Writer, _ string) error {
	_, err := io.WriteString(w, "<!doctype html><html lang=\"en\"><title>1.4</title><main><h1>Sequence 1.4</h1></main></html>")
	return err
}

// setStates are one state of each phase, with texts as long as they come.
func setStates() []*board.State {
	now := time.Now()
	var closed []board.Closed
	for i, verdict := range []string{"good", "check", "reshoot", "good"} {
		c := board.Closed{Sequence: board.Sequence{Key: fmt.Sprint("c", i), ID: fmt.Sprint("1.", 3-i), Kind: "focus", View: "front, raking light", Verdict: verdict, Frames: 50}, First: "0002", Last: "0051", At: now}
		if verdict == "reshoot" {
			c.Retaken = "1.2"
		}
		closed = append(closed, c)
	}
	findings := []board.Finding{
		{Sequence: "1.4", Key: "a", Rule: "dark-frame", Title: "A frame is dark", Severity: "reshoot", Message: "0031 is about 2.5 EV darker than its neighbours at the same settings", Action: "shoot the whole sequence again; check the flash and its batteries"},
		{Sequence: "1.3", Key: "c0", Rule: "iso-drift", Title: "ISO changed", Severity: "check", Message: "ISO 100 to 200 in 0007", Action: "inspect 0007"},
	}
	about := func(frames, expected int, open bool) *board.Sequence {
		return &board.Sequence{Key: "a", ID: "1.4", Kind: "focus", View: "front, raking light", Verdict: "reshoot", Frames: frames, Expected: expected, Open: open}
	}
	base := board.State{Since: now, At: now, Closed: closed, Findings: findings, Views: "3 of 9 views shot; missing: hinge, underside, back", Time: "about 38 min needed, 31 left", Last: &board.Frame{Path: "x", Came: now}}
	state := func(phase board.Phase, q *board.Sequence, do string) *board.State {
		s := base
		s.Phase, s.Sequence, s.Do = phase, q, do
		return &s
	}
	lost := state(board.Lost, about(27, 50, true), "CARD/DCIM cannot be read: check the camera, the cable and the disk")
	lost.Gone = []string{"CARD/DCIM"}
	idle := &board.State{Phase: board.Idle, Since: now, At: now}
	clean := state(board.Good, about(50, 50, false), "next is back view")
	clean.Findings = nil
	return []*board.State{
		idle, state(board.Shooting, about(27, 50, true), ""), state(board.Stalled, about(37, 50, true), "check the camera, its battery and its card; press Enter if the sequence is over"),
		state(board.Inspect, about(50, 50, false), "inspect 0031 at 100 % before you go on"), state(board.Again, about(50, 50, false), findings[0].Action), clean, lost,
	}
}

// A tabletServer serves a page until it is stopped.
type tabletServer struct {
	*tablet.Server
	stop func()
}

func serveTablet(t *testing.T, address string) (*tabletServer, string) {
	t.Helper()
	l, err := (&net.ListenConfig{}).Listen(t.Context(), "tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	s := tablet.New(tablet.Options{Access: tablet.Access{Hosts: []string{l.Addr().String()}}, Gallery: drawnGallery{}})
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(ctx, l) }()
	return &tabletServer{s, func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}}, l.Addr().String()
}

// await waits until an expression holds in the page, and returns how long that took.
func (b *browser) await(t *testing.T, expression string) time.Duration {
	t.Helper()
	began := time.Now()
	for {
		holds, err := evaluate[bool](b, "!!("+expression+")")
		// A page that loads itself again has no answer while it does.
		if err != nil && !strings.Contains(err.Error(), "Inspected target navigated") {
			t.Fatal(err)
		}
		if err == nil && holds {
			return time.Since(began)
		}
		if time.Since(began) > 20*time.Second {
			t.Fatalf("%s does not come to hold: %s", expression, ask[string](t, b, "document.body.innerText.slice(0, 400)"))
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// quietBut fails where the page printed anything, or asked for anything elsewhere.
func (b *browser) quietBut(t *testing.T, own, when string) {
	t.Helper()
	b.mu.Lock()
	var elsewhere []string
	for _, url := range b.got {
		if !strings.HasPrefix(url, own) {
			elsewhere = append(elsewhere, url)
		}
	}
	b.got = elsewhere
	b.mu.Unlock()
	b.quiet(t, when)
}

// TestPageBesideTheSet shows every state at every width, in both schemes: it fits, can be
// read from afar, prints nothing to the console, and keeps nobody out.
func TestPageBesideTheSet(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a browser some 30 s")
	}
	b := startBrowser(t)
	server, address := serveTablet(t, "127.0.0.1:0")
	defer server.stop()
	b.url = "http://" + address + "/"
	axe, err := os.ReadFile(axeFile())
	if err != nil {
		t.Log("axe-core is not installed: .ci/run browser installs it")
	}
	for _, scheme := range []string{"light", "dark"} {
		call(t, b, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
		for _, size := range [][2]int64{{360, 740}, {768, 1024}, {1024, 768}, {1440, 900}, {2560, 1440}} {
			call(t, b, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: size[0], Height: size[1], DeviceScaleFactor: 1, Mobile: size[0] < 500})
			server.Show(setStates()[0])
			b.do(t, chromedp.Navigate(b.url), chromedp.WaitReady("footer"))
			for _, state := range setStates() {
				when := fmt.Sprintf("%s, %s, %d px", state.Phase, scheme, size[0])
				server.Show(state)
				b.await(t, fmt.Sprintf(`document.body.dataset.phase === %q && document.body.dataset.live === "yes" && [...document.images].every(i => !i.getAttribute("src") || i.complete)`, state.Phase))
				if shots := os.Getenv("PRESTRIKE_SHOTS"); shots != "" {
					time.Sleep(300 * time.Millisecond)
					png, err := chromedp.Run(b.ctx, chromedp.CaptureScreenshot())
					if err != nil {
						t.Fatal(err)
					}
					_ = os.WriteFile(fmt.Sprintf("%s/%s-%s-%d.png", shots, state.Phase, scheme, size[0]), png, 0o600)
				}
				if wide := ask[int64](t, b, `document.documentElement.scrollWidth`); wide > size[0] {
					t.Errorf("%s: the page is %d px wide", when, wide)
				}
				// The letters of the word are a twelfth of the shorter side at least, 1.2 cm on a
				// tablet of 15 cm: legible at 3 m by 20 minutes of arc (ISO 9241-303 recommends 20
				// to 22 for reading), which are 1.7 cm; capitals are 0.7 of the size of a font.
				short := min(size[0], size[1])
				if height := ask[float64](t, b, `0.7 * parseFloat(getComputedStyle(document.getElementById("word")).fontSize)`); height*12 < float64(short) {
					t.Errorf("%s: the letters are %.0f px high", when, height)
				}
				if fits := ask[bool](t, b, `(() => { const w = document.getElementById("word"), r = document.createRange(); r.selectNodeContents(w); return r.getBoundingClientRect().right <= innerWidth; })()`); !fits {
					t.Errorf("%s: the word is cut off", when)
				}
				b.quietBut(t, b.url, when)
				if size[0] == 360 || size[0] == 1440 {
					b.accessible(t, axe, when)
				}
			}
		}
	}
}

// accessible fails where axe-core finds what keeps readers out.
func (b *browser) accessible(t *testing.T, axe []byte, when string) {
	t.Helper()
	if axe == nil {
		return
	}
	tell(t, b, string(axe))
	answer := ask[string](t, b, `axe.run(document, {runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}).then(r => JSON.stringify(r.violations.map(v => [v.id, v.help, v.nodes.slice(0, 3).map(n => n.html.slice(0, 200) + " " + n.failureSummary)])))`)
	var violations []any
	if err := json.Unmarshal([]byte(answer), &violations); err != nil {
		t.Fatal(err)
	}
	for _, v := range violations {
		t.Errorf("%s: %v", when, v)
	}
}

// TestPageOverAllSets shows many sets at every width, in both schemes.
func TestPageOverAllSets(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a browser some 10 s")
	}
	b := startBrowser(t)
	l, err := (&net.ListenConfig{}).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	wall := tablet.NewWall(tablet.Access{Hosts: []string{l.Addr().String()}})
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- wall.Serve(ctx, l) }()
	defer func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}()
	b.url = "http://" + l.Addr().String() + "/"
	axe, err := os.ReadFile(axeFile())
	if err != nil {
		t.Log("axe-core is not installed: .ci/run browser installs it")
	}
	for i, state := range setStates() {
		wall.Show(fmt.Sprint("table ", i), state)
	}
	wall.Gone("table 8", true)
	wall.Gone("table 9", false)
	const hostile = `<img src=x onerror=alert(1)> "'&`
	wall.Show(hostile, setStates()[5])
	wall.Show("a-very-long-name-of-a-set-without-any-blank-that-somebody-chose-for-the-table-by-the-window-of-room-12", setStates()[1])
	for _, scheme := range []string{"light", "dark"} {
		call(t, b, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
		for _, width := range []int64{360, 768, 1440, 2560} {
			when := fmt.Sprintf("%s, %d px", scheme, width)
			wall.Trouble("")
			call(t, b, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: width, Height: 900, DeviceScaleFactor: 1, Mobile: width < 500})
			b.do(t, chromedp.Navigate(b.url), chromedp.WaitReady("#sets"))
			b.await(t, `document.body.dataset.live === "yes" && document.querySelectorAll("#sets li").length === 11`)
			if first := ask[string](t, b, `document.querySelector("#sets .word").textContent`); first != "no folder" && first != "no watch" {
				t.Errorf("%s: %q comes first", when, first)
			}
			if wide := ask[int64](t, b, `document.documentElement.scrollWidth`); wide > width {
				t.Errorf("%s: the page is %d px wide", when, wide)
			}
			b.await(t, `document.getElementById("count").textContent === "11 sets, 5 need somebody" && document.title === "(5) All sets"`)
			b.await(t, `[...document.querySelectorAll("#sets .age")].filter(e => e.textContent.startsWith("since ")).length === 9`)
			if names := ask[string](t, b, `[...document.querySelectorAll("#sets h2")].map(e => e.textContent).join("|")`); !strings.Contains(names, hostile) {
				t.Errorf("%s: the names are %s", when, names)
			}
			if cut := ask[string](t, b, `[...document.querySelectorAll("#sets .word")].filter(e => e.scrollWidth > e.clientWidth).map(e => e.textContent).join()`); cut != "" {
				t.Errorf("%s: cut off are %s", when, cut)
			}
			wall.Trouble("the broker is away: what is shown may be old")
			b.await(t, `!document.getElementById("trouble").hidden`)
			b.accessible(t, axe, when)
			if shots := os.Getenv("PRESTRIKE_SHOTS"); shots != "" {
				png, err := chromedp.Run(b.ctx, chromedp.CaptureScreenshot())
				if err != nil {
					t.Fatal(err)
				}
				_ = os.WriteFile(fmt.Sprintf("%s/wall-%s-%d.png", shots, scheme, width), png, 0o600)
			}
			b.quietBut(t, b.url, when)
		}
	}
}

// TestPageBesideComesBack holds that a page shows within three seconds that its watch is
// gone, and comes back by itself with the next.
func TestPageBesideComesBack(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a browser some 10 s")
	}
	b := startBrowser(t)
	server, address := serveTablet(t, "127.0.0.1:0")
	b.url = "http://" + address + "/"
	server.Show(setStates()[1])
	b.do(t, chromedp.Navigate(b.url), chromedp.WaitReady("footer"))
	b.await(t, `document.body.dataset.live === "yes" && document.getElementById("number").textContent === "27 of 50"`)
	tell(t, b, `window.marked = true`)
	server.stop()
	if took := b.await(t, `document.body.dataset.live === "no" && document.getElementById("dead").innerText.startsWith("NOT LIVE since")`); took > 3*time.Second {
		t.Errorf("the page shows after %v that it is not live", took)
	}
	b.mu.Lock()
	b.said = nil // the browser itself reports that nobody answers
	b.mu.Unlock()
	server, _ = serveTablet(t, address)
	defer server.stop()
	server.Show(setStates()[5])
	b.await(t, `document.body?.dataset.live === "yes" && document.body.dataset.phase === "good" && !window.marked`)

	// One sequence, and back.
	tell(t, b, `document.querySelector("#closed button").click()`)
	b.await(t, `document.querySelector("dialog").open && document.querySelector("iframe").contentDocument?.body?.innerText.includes("Sequence 1.4")`)
	tell(t, b, `document.getElementById("back").click()`)
	b.await(t, `!document.querySelector("dialog").open`)
	tell(t, b, `document.getElementById("sound").click()`)
	b.await(t, `document.getElementById("sound").getAttribute("aria-pressed") === "true"`)
}

// freeAddress is one of this computer that nobody listens at.
func freeAddress(t *testing.T) string {
	t.Helper()
	l, err := (&net.ListenConfig{}).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// TestPageBesideShoot follows a whole shoot on the page: each verdict is there within two
// seconds of the terminal's, with its pictures, also after the watch was started again.
func TestPageBesideShoot(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a browser some 20 s")
	}
	b := startBrowser(t)
	address := freeAddress(t)
	b.url = "http://" + address + "/"
	soon := func(what, expression string) {
		t.Helper()
		if took := b.await(t, expression); took > 2*time.Second {
			t.Errorf("%s is on the page after %v", what, took)
		}
	}
	w := startWatch(t, nil, "--page="+address)
	w.wait(&w.out, "holds no frames yet")
	w.wait(&w.err, "the page for a tablet is at "+b.url)
	b.do(t, chromedp.Navigate(b.url), chromedp.WaitReady("footer"))
	b.await(t, `document.body.dataset.live === "yes" && document.body.dataset.phase === "idle"`)
	w.feed(good...)
	b.await(t, `document.getElementById("word").textContent === "shooting"`)
	w.enter("good     1.1 focus 10:02, frames 0002 to 0011 (10) (closed as you asked)")
	soon("the good sequence", `document.body.dataset.phase === "good" && document.getElementById("closed").innerText.includes("1.1 focus")`)
	w.feed("0013", "0014", "0015", "0016", "0019", "0020", "0021", "0022")
	w.enter("reshoot  Missing frames (1.2): 0017 and 0018 are not there")
	soon("what to shoot again", `document.body.dataset.phase === "again" && document.getElementById("number").textContent === "1.2"`)
	b.await(t, `!document.getElementById("deciding").hidden && document.querySelector("#deciding img").naturalWidth > 100`)
	b.await(t, `document.querySelectorAll("#closed img").length === 2 && document.querySelector("#newest img").naturalWidth > 100`)
	tell(t, b, `document.querySelector("#closed button").click()`)
	b.await(t, `document.querySelector("iframe").contentDocument?.querySelector("article")?.innerText.includes("0017 and 0018 are not there")`)
	b.await(t, `[...document.querySelector("iframe").contentDocument.images].length > 2`)
	tell(t, b, `document.getElementById("back").click()`)
	b.quietBut(t, b.url, "in the shoot")
	w.end()
	b.await(t, `document.body.dataset.live === "no"`)
	b.mu.Lock()
	b.said = nil // the browser itself reports that nobody answers
	b.mu.Unlock()
	again := startWatch(t, func(n *watchRun) { n.in = w.in }, "--page="+address)
	again.wait(&again.out, "holds 18 frames already")
	b.await(t, `document.body?.dataset.live === "yes" && document.body.dataset.phase === "again"`)
	again.feed("0023", "0024", "0025", "0026", "0027", "0028", "0029", "0030", "0031", "0032")
	again.enter("1.3 focus 10:14, frames 0023 to 0032 (10)")
	soon("the retake", `document.body.dataset.phase === "good" && document.getElementById("closed").innerText.includes("1.3 focus")`)
	again.end()
}
