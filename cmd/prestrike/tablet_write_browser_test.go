package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// press clicks what a finger would: the middle of an element, which must be of a finger's
// size, on the screen and under nothing.
func (b *browser) press(t *testing.T, element string) {
	t.Helper()
	b.await(t, element)
	got := ask[[]float64](t, b, `(() => { const e = `+element+`; e.scrollIntoView({block: "nearest"}); const r = e.getBoundingClientRect();
		const x = r.x + r.width / 2, y = r.y + r.height / 2, hit = document.elementFromPoint(x, y);
		return [x, y, r.width, r.height, hit && (e === hit || e.contains(hit)) ? 1 : 0]; })()`)
	if got[4] != 1 || got[2] < 44 || got[3] < 44 {
		t.Errorf("%s is %.0f by %.0f px, under nothing: %v", element, got[2], got[3], got[4] == 1)
	}
	b.do(t, chromedp.MouseClickXY(got[0], got[1]))
}

// shot keeps a picture of the page where PRESTRIKE_SHOTS names a folder.
func (b *browser) shot(t *testing.T, name string) {
	t.Helper()
	shots := os.Getenv("PRESTRIKE_SHOTS")
	if shots == "" {
		return
	}
	time.Sleep(200 * time.Millisecond)
	png, err := chromedp.Run(b.ctx, chromedp.CaptureScreenshot())
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(shots, name+".png"), png, 0o600); err != nil {
		t.Fatal(err)
	}
}

// at sets the size and the colours of the screen.
func (b *browser) at(t *testing.T, width, height int64, scheme string) {
	t.Helper()
	call(t, b, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
	call(t, b, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: width, Height: height, DeviceScaleFactor: 1, Mobile: width < 500})
}

// A writingPage is a page that writes, in a browser, with its watch.
type writingPage struct {
	*browser
	w    *watchRun
	file string // of the configuration
	axe  []byte
}

// Elements and texts of that page.
const (
	firstTile  = `[...document.querySelectorAll("#closed button")].find(b => b.textContent.includes("1.1 focus"))`
	secondTile = `[...document.querySelectorAll("#closed button")].find(b => b.textContent.includes("1.2 focus"))`
	answered   = `document.getElementById("answer").textContent`
	closedText = `document.getElementById("closed").innerText`
	reportPart = `document.querySelector("iframe").contentDocument?.querySelector("article")`
	writeKey   = `document.getElementById("write")`
	leaveKey   = `document.getElementById("leave")`
	backKey    = `document.getElementById("back")`
	undoKey    = `document.getElementById("take-back")`
)

// kindKey is the button of a kind of declaration, where it shows.
func kindKey(k string) string {
	return `document.querySelector('#declare:not([hidden]) [data-kind="` + k + `"]:not([hidden])')`
}

// within waits until something is on the page, and fails where that takes over two seconds.
func (p *writingPage) within(t *testing.T, what, expression string) {
	t.Helper()
	if took := p.await(t, expression); took > 2*time.Second {
		t.Errorf("%s is on the page after %v", what, took)
	}
}

// TestPageBesideWrites presses every button of a page that writes, through a shoot: what is
// declared is in the file, on the terminal and on the page within two seconds, at every
// width and in both schemes without a message or a barrier.
func TestPageBesideWrites(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a browser some 30 s")
	}
	b := startBrowser(t)
	w, writer, file := startWriter(t)
	link := pageLink.FindStringSubmatch(w.err.String())
	b.url = writer.url
	axe, err := os.ReadFile(axeFile())
	if err != nil {
		t.Log("axe-core is not installed: .ci/run browser installs it")
	}
	p := &writingPage{b, w, file, axe}
	b.at(t, 1024, 768, "light")
	b.do(t, chromedp.Navigate(link[0]))
	b.await(t, `document.body?.dataset.live === "yes" && document.querySelectorAll("#closed button").length === 2 && !location.search`)
	for _, scheme := range []string{"light", "dark"} {
		for _, size := range [][2]int64{{360, 740}, {768, 1024}, {1024, 768}} {
			b.at(t, size[0], size[1], scheme)
			p.sheets(t, scheme, size[0])
		}
	}
	if _, err := os.Stat(file); !os.IsNotExist(err) {
		t.Fatalf("looking wrote %s", readConfig(t, file))
	}
	b.at(t, 1024, 768, "light")
	p.meant(t)
	p.shotAgain(t)
	p.views(t)
	p.othersWrite(t)
	b.quietBut(t, b.url, "in the shoot")
	w.end()
}

// sheets shows every sheet, and writes nothing.
func (p *writingPage) sheets(t *testing.T, scheme string, width int64) {
	t.Helper()
	p.press(t, firstTile)
	p.await(t, reportPart)
	for _, k := range []string{"", "meant", "shot-again", "view"} {
		when := fmt.Sprintf("%q, %s, %d px", k, scheme, width)
		if k != "" {
			p.press(t, kindKey(k))
			p.await(t, `!document.getElementById("sheet").hidden`)
		} else {
			p.await(t, kindKey("meant"))
		}
		if wide := ask[int64](t, p.browser, `document.documentElement.scrollWidth`); wide > width {
			t.Errorf("%s: the page is %d px wide", when, wide)
		}
		small := ask[[]string](t, p.browser, `[...document.querySelectorAll("dialog button, dialog label:has(input), dialog input[type=text]")].filter(e => e.checkVisibility()).map(e => [e.textContent, e.getBoundingClientRect()]).filter(([_, r]) => r.height < 55.9 || r.width < 55.9).map(([t, r]) => t + " " + r.width + " by " + r.height)`)
		if len(small) > 0 {
			t.Errorf("%s: too small for a finger: %q", when, small)
		}
		p.accessible(t, p.axe, when)
		p.shot(t, fmt.Sprintf("write-%s-%s-%d", k, scheme, width))
		if k != "" {
			p.press(t, leaveKey)
		}
	}
	p.press(t, backKey)
	p.await(t, `!document.getElementById("sequence").open`)
	p.quietBut(t, p.url, fmt.Sprintf("%s, %d px", scheme, width))
}

// meant accepts a finding, with a reason that is picked and one that is typed, and takes it
// back.
func (p *writingPage) meant(t *testing.T) {
	t.Helper()
	p.press(t, firstTile)
	p.await(t, reportPart)
	p.press(t, kindKey("meant"))
	p.press(t, writeKey)
	p.await(t, answered+`.startsWith("Write the reason")`)
	p.press(t, `document.querySelector("#sheet-reasons button")`)
	p.press(t, writeKey)
	p.within(t, "what is meant", answered+`.includes("is meant: written to prestrike.toml") && document.getElementById("sheet").hidden`)
	// The picture of its part of the report is merged anew, which takes a busy machine longer.
	p.await(t, reportPart+`?.innerText.includes("It is meant so")`)
	p.within(t, "that nothing is open", `!`+kindKey("meant"))
	p.shot(t, "write-meant-done")
	p.w.wait(&p.w.out, "is now: good")
	if text := readConfig(t, p.file); !strings.Contains(text, "reason = 'It is meant so'") {
		t.Errorf("written:\n%s", text)
	}
	p.press(t, undoKey)
	p.within(t, "what was taken back", answered+`.startsWith("Taken back") && document.getElementById("undo").hidden`)
	p.within(t, "the finding", kindKey("meant"))
	if _, err := os.Stat(p.file); !os.IsNotExist(err) {
		t.Errorf("%s is still there", p.file)
	}
	p.press(t, kindKey("meant"))
	p.press(t, `document.getElementById("sheet-text")`)
	p.do(t, chromedp.SendKeys("#sheet-text", `the "fade" is <b>meant</b>`+"\r"))
	p.await(t, reportPart+`?.innerText.includes('the "fade" is <b>meant</b>')`)
	p.press(t, undoKey)
	p.within(t, "what was taken back", `document.getElementById("undo").hidden`)
	p.within(t, "the finding", kindKey("meant"))
}

// shotAgain declares the retake, and goes back to the set.
func (p *writingPage) shotAgain(t *testing.T) {
	t.Helper()
	p.press(t, kindKey("shot-again"))
	p.press(t, writeKey)
	p.await(t, answered+`.startsWith("Choose the sequence")`)
	p.press(t, `document.querySelector("#sheet-choices label")`)
	p.press(t, writeKey)
	p.within(t, "the retake", answered+`.startsWith("1.2 repeats 1.1")`)
	p.within(t, "that it no longer is to be declared", kindKey("view")+` && !`+kindKey("shot-again")+` && !`+kindKey("meant"))
	p.w.wait(&p.w.out, "is now: retaken")
	p.press(t, backKey)
	p.within(t, "the retake", closedText+`.includes("retaken as 1.2")`)
	p.shot(t, "write-retaken")
}

// views names a new view, which is then listed.
func (p *writingPage) views(t *testing.T) {
	t.Helper()
	p.press(t, secondTile)
	p.press(t, kindKey("view"))
	p.do(t, chromedp.SendKeys("#sheet-text", "back"))
	p.press(t, writeKey)
	p.within(t, "the view", answered+`.startsWith('1.2 shows "back"')`)
	p.press(t, kindKey("view"))
	p.await(t, `document.querySelector("#sheet-choices input:checked")?.value === "back"`)
	p.shot(t, "write-view-listed")
	p.press(t, leaveKey)
	p.press(t, backKey)
	p.within(t, "the view", closedText+`.includes("1.2 focus, back")`)
	if text := readConfig(t, p.file); !strings.Contains(text, "[[retaken]]") || !strings.Contains(text, "name = 'back'\nkind = 'focus'\nframes = 10\nsequence = 'BX1_0023.JPG'\n") {
		t.Errorf("written:\n%s", text)
	}
}

// othersWrite has somebody write by hand, which the page shows first, and then make the
// folder one that nobody can write to.
func (p *writingPage) othersWrite(t *testing.T) {
	t.Helper()
	p.press(t, secondTile)
	p.press(t, kindKey("view"))
	if err := os.WriteFile(p.file, []byte(readConfig(t, p.file)+"\n[[view]]\nname = \"keel\"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	p.do(t, chromedp.SendKeys("#sheet-text", "keel"))
	p.press(t, writeKey)
	p.within(t, "that others wrote", answered+`.startsWith("The settings changed meanwhile")`)
	p.within(t, "what was written by hand", `[...document.querySelectorAll("#sheet-choices input")].some(i => i.value === "keel") && document.getElementById("sheet-text").value === "keel"`)
	p.press(t, writeKey)
	p.within(t, "the view", answered+`.startsWith('1.2 shows "keel"')`)
	if text := readConfig(t, p.file); strings.Count(text, "BX1_0023.JPG") != 2 || !strings.Contains(text, "name = \"keel\"\nsequence = 'BX1_0023.JPG'\n") {
		t.Errorf("written:\n%s", text)
	}
	readOnly(t, p.w.in)
	p.press(t, kindKey("view"))
	p.do(t, chromedp.SendKeys("#sheet-text", "ribs"))
	p.press(t, writeKey)
	p.within(t, "that it cannot be written", answered+`.startsWith("Cannot write prestrike.toml")`)
	p.shot(t, "write-refused")
	p.accessible(t, p.axe, "refused")
}

// TestPageBesideForReading holds that a page without --page-write shows no button that
// declares anything.
func TestPageBesideForReading(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a browser some 10 s")
	}
	b := startBrowser(t)
	server, address := serveTablet(t, "127.0.0.1:0")
	defer server.stop()
	b.url = "http://" + address + "/"
	server.Show(setStates()[4])
	b.at(t, 1024, 768, "light")
	b.do(t, chromedp.Navigate(b.url), chromedp.WaitReady("footer"))
	b.await(t, `document.body.dataset.live === "yes" && document.querySelector("#closed button")`)
	b.press(t, `document.querySelector("#closed button")`)
	b.await(t, `document.querySelector("iframe").contentDocument?.body?.innerText.includes("Sequence 1.4")`)
	shown := ask[[]string](t, b, `[...document.querySelectorAll("button, input, form")].filter(e => e.checkVisibility() && (e.closest("dialog") || e.closest("#undo"))).map(e => e.id)`)
	if fmt.Sprint(shown) != "[back]" {
		t.Errorf("shown are %q", shown)
	}
	b.quietBut(t, b.url, "a page for reading")
}

// TestPageBesideOpenTwentyTimes holds that of twenty pages that are open at once each shows
// a sequence within two seconds of its line on the terminal.
func TestPageBesideOpenTwentyTimes(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a browser some 20 s")
	}
	const pages = 20
	b := startBrowser(t)
	address := freeAddress(t)
	w := startWatch(t, nil, "--page="+address, "--pixels", "off")
	w.wait(&w.out, "holds no frames yet")
	var tabs []*browser
	for range pages {
		// A browser opens few connections to one place for all pages of a user.
		ctx, stop := chromedp.NewContext(b.ctx, chromedp.WithNewBrowserContext())
		t.Cleanup(stop)
		tab := &browser{ctx: ctx, url: "http://" + address + "/"}
		tab.do(t, chromedp.Navigate(tab.url), chromedp.WaitReady("footer"))
		tabs = append(tabs, tab)
	}
	for _, tab := range tabs {
		tab.await(t, `document.body.dataset.live === "yes"`)
		// Each page notes by itself when it shows the sequence: asking one after the other takes time.
		tell(t, tab, `new MutationObserver(() => { if (!window.shownAt && document.getElementById("closed").innerText.includes("1.1 focus")) window.shownAt = Date.now(); }).observe(document.getElementById("closed"), {childList: true, subtree: true})`)
	}
	w.feed(good...)
	w.enter("good     1.1 focus 10:02, frames 0002 to 0011 (10)")
	closed := time.Now().UnixMilli()
	var group sync.WaitGroup
	var mu sync.Mutex
	worst := int64(0)
	for i, tab := range tabs {
		group.Go(func() {
			ctx, stop := context.WithTimeout(tab.ctx, time.Minute)
			defer stop()
			for ctx.Err() == nil {
				at, err := chromedp.Run(ctx, chromedp.Evaluate[float64](`window.shownAt || 0`))
				if err != nil {
					t.Errorf("page %d: %v", i, err)
					return
				}
				if at > 0 {
					mu.Lock()
					worst = max(worst, int64(at)-closed)
					mu.Unlock()
					return
				}
				time.Sleep(50 * time.Millisecond)
			}
			t.Errorf("page %d does not show the sequence", i)
		})
	}
	group.Wait()
	t.Logf("the last of %d pages shows it %d ms after the terminal", pages, worst)
	if worst > 2000 {
		t.Errorf("the last page shows it after %d ms", worst)
	}
	w.end()
}
