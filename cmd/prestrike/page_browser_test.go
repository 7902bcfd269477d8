package main

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"prestrike/audit/pictures/picturestest"
	"prestrike/audit/pixels/pixelstest"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// axeFile is where .ci/run puts axe-core, which checks pages for what keeps readers out.
func axeFile() string {
	base, err := os.UserCacheDir()
	if err != nil {
		return ""
	}
	return filepath.Join(base, "prestrike-ci", "axe-core", "package", "axe.min.js")
}

// A browser is Debian's chromium with one page, and all that the page asked for or printed.
type browser struct {
	ctx context.Context
	url string

	mu   sync.Mutex
	said []string // messages of the console, exceptions, dialogs
	got  []string // requests
}

var inBrowser = flag.Bool("browser", false, "open the report's page in chromium")

// openBrowser starts a browser and has the page written that it opens.
func openBrowser(t *testing.T, write func(*testing.T) string) *browser {
	t.Helper()
	b := startBrowser(t)
	b.url = (&url.URL{Scheme: "file", Path: write(t)}).String()
	return b
}

// startBrowser starts a browser; it skips the test without -browser, and where there is no
// chromium.
func startBrowser(t *testing.T) *browser {
	t.Helper()
	if !*inBrowser {
		t.Skip("a browser takes long to start: .ci/run browser does")
	}
	program, err := exec.LookPath("chromium")
	if err != nil {
		t.Skip("chromium is not installed: .ci/run browser installs it")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(program), chromedp.NoSandbox, chromedp.DisableGPU)
	ctx, stop := context.WithTimeout(t.Context(), 4*time.Minute)
	t.Cleanup(stop)
	ctx, stop = chromedp.NewExecAllocator(ctx, options...)
	t.Cleanup(stop)
	ctx, stop = chromedp.NewContext(ctx)
	t.Cleanup(stop)
	b := &browser{ctx: ctx}
	b.do(t) // starts it
	err = chromedp.Listen(ctx, func(event any) {
		b.mu.Lock()
		defer b.mu.Unlock()
		switch e := event.(type) {
		case *runtime.EventConsoleAPICalled:
			b.said = append(b.said, fmt.Sprint(e.Type, " from the console"))
		case *runtime.EventExceptionThrown:
			b.said = append(b.said, e.ExceptionDetails.Text)
		case *log.EventEntryAdded:
			b.said = append(b.said, e.Entry.Text)
		case *page.EventJavascriptDialogOpening:
			b.said = append(b.said, "dialog: "+e.Message)
		case *network.EventRequestWillBeSent:
			if !strings.HasPrefix(e.Request.URL, "data:") && e.Request.URL != b.url {
				b.got = append(b.got, e.Request.URL)
			}
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	call(t, b, network.Enable, network.EnableParams{})
	call(t, b, log.Enable, struct{}{})
	call(t, b, runtime.Enable, struct{}{})
	return b
}

func (b *browser) do(t *testing.T, actions ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(b.ctx, actions...); err != nil {
		t.Fatal(err)
	}
}

// call sends a command of the protocol.
func call[P, R any](t *testing.T, b *browser, command cdp.Command[P, R], params P) {
	t.Helper()
	if _, err := chromedp.Call(b.ctx, command, params); err != nil {
		t.Fatal(err)
	}
}

// ask evaluates an expression in the page, and waits for what it promises.
func ask[T any](t *testing.T, b *browser, expression string) T {
	t.Helper()
	answer, err := evaluate[T](b, expression)
	if err != nil {
		t.Fatal(err)
	}
	return answer
}

func evaluate[T any](b *browser, expression string) (T, error) {
	return chromedp.Run(b.ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
}

// tell evaluates an expression for what it does.
func tell(t *testing.T, b *browser, expression string) {
	t.Helper()
	ask[int](t, b, expression+"; 0")
}

// quiet fails where the page printed or asked for anything.
func (b *browser) quiet(t *testing.T, when string) {
	t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.said) > 0 || len(b.got) > 0 {
		t.Errorf("%s: messages %q, requests %q; want none", when, b.said, b.got)
	}
	b.said, b.got = nil, nil
}

// load loads the page at a width.
func (b *browser) load(t *testing.T, width int64) {
	t.Helper()
	call(t, b, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: width, Height: 900, DeviceScaleFactor: 1, Mobile: width < 500})
	b.do(t, chromedp.Navigate(b.url), chromedp.WaitReady("footer"))
}

// writeTestPage writes the page on a small demonstration session, of which one file has a
// name that a page must not act on.
func writeTestPage(t *testing.T) string {
	t.Helper()
	folder := filepath.Join(t.TempDir(), "card")
	if err := writeCard(folder); err != nil {
		t.Fatal(err)
	}
	frames := filepath.Join(folder, "DCIM", "100BXCAM")
	if err := os.Rename(filepath.Join(frames, "BX1_0012.JPG"), filepath.Join(frames, `"><img src=x onerror=alert(1)><script>alert(2)<`+"\u202e"+`.JPG`)); err != nil {
		t.Fatal(err)
	}
	return writePage(t, folder)
}

// writePage writes the page on a folder.
func writePage(t *testing.T, folder string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "page.html")
	var remarks bytes.Buffer
	c := &console{out: &remarks, err: &remarks}
	if got := run(t.Context(), []string{"report", folder, "--format", "html", "-o", file, "--fail-on", "never"}, c); got != statusGood {
		t.Fatalf("status %d: %s", got, remarks.String())
	}
	return file
}

// TestPageInBrowser holds the page to what it promises, in a real browser: it asks for
// nothing, prints nothing, fits every width, prints, and keeps nobody out.
func TestPageInBrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a browser some 20 s")
	}
	b := openBrowser(t, writeTestPage)
	for _, width := range []int64{360, 768, 1440, 2560} {
		b.load(t, width)
		if wide := ask[int64](t, b, `document.documentElement.scrollWidth`); wide > width {
			culprit := ask[string](t, b, `[...document.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > innerWidth + 1).map(e => e.tagName + "." + e.getAttribute("class")).slice(0, 5).join(" ")`)
			t.Errorf("at %d px the page is %d px wide: %s", width, wide, culprit)
		}
		broken := ask[int](t, b, `Promise.all([...document.images].filter(i => i.getAttribute("src")).map(i => i.decode().then(() => 0, () => 1))).then(l => l.reduce((a, b) => a + b, 0))`)
		if broken > 0 {
			t.Errorf("at %d px %d pictures cannot be shown", width, broken)
		}
		b.quiet(t, fmt.Sprintf("at %d px", width))
	}
	// A single between two sequences is a row of its own on a narrow screen: no more of it
	// than the picture is high, as its words stand beside it.
	b.load(t, 360)
	tiles := ask[[]float64](t, b, `[...document.querySelectorAll(".tile.plain")].filter(e => !e.nextElementSibling?.matches(".plain") && !e.previousElementSibling?.matches(".plain")).map(e => e.getBoundingClientRect().height / e.querySelector("figure").getBoundingClientRect().height)`)
	if len(tiles) == 0 {
		t.Error("the page has no single that stands alone")
	}
	for _, times := range tiles {
		if times > 1.3 {
			t.Errorf("the tile of a single is %.1f times as high as its picture", times)
		}
	}
}

// TestPageByKeyboard steps through pictures without a mouse.
func TestPageByKeyboard(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a browser some 10 s")
	}
	b := openBrowser(t, writeTestPage)
	b.load(t, 1440)
	press := func(key string) {
		t.Helper()
		b.do(t, chromedp.KeyEvent(key))
	}
	tell(t, b, `document.querySelector(".strip .zoom").focus()`)
	press(kb.Enter)
	open, alt := ask[bool](t, b, `document.querySelector("dialog").open`), ask[string](t, b, `document.querySelector("dialog img").alt`)
	press(kb.ArrowRight)
	if next := ask[string](t, b, `document.querySelector("dialog img").alt`); !open || alt == next {
		t.Errorf("the picture is large: %t; from %q an arrow key steps to %q", open, alt, next)
	}
	press(kb.Escape)
	if ask[bool](t, b, `document.querySelector("dialog").open`) {
		t.Error("Escape does not close the large picture")
	}
	tell(t, b, `document.querySelector("input[type=range]").focus()`)
	alt = ask[string](t, b, `document.querySelector("output").value`)
	press(kb.ArrowRight)
	if next := ask[string](t, b, `document.querySelector("output").value`); alt == next {
		t.Errorf("the slider stays at %q", alt)
	}
	b.quiet(t, "by keyboard")
}

// TestPageFlicks changes between the two frames of a camera that moved, by the keys that press
// its buttons, and lays them side by side.
func TestPageFlicks(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a browser some 10 s")
	}
	b := openBrowser(t, func(t *testing.T) string {
		shots := picturestest.Covering()
		return writePage(t, picturestest.Camera{Every: 1300 * time.Millisecond}.Shoot(t, pixelstest.Bump(shots, 11, len(shots), 2.5, 1)))
	})
	b.load(t, 1440)
	seen := func() []string {
		t.Helper()
		return strings.Split(ask[string](t, b, `[...document.querySelectorAll(".pair > figure")].filter(f => f.getBoundingClientRect().width > 0).map(f => f.querySelector("img").alt).join("|")`), "|")
	}
	press := func(label string) {
		t.Helper()
		tell(t, b, fmt.Sprintf(`[...document.querySelectorAll(".stepper button")].find(b => b.textContent === %q).focus()`, label))
		b.do(t, chromedp.KeyEvent(kb.Enter))
	}
	const change = "Change between the two"
	first := seen()
	if len(first) != 1 || !strings.Contains(first[0], "0011") {
		t.Fatalf("at first %q is seen, want frame 0011 alone", first)
	}
	press(change)
	if second := seen(); len(second) != 1 || !strings.Contains(second[0], "0012") {
		t.Errorf("the button changes to %q, want frame 0012 alone", second)
	}
	press(change)
	if got := seen(); len(got) != 1 || got[0] != first[0] {
		t.Errorf("the button changes back to %q, want %q", got, first)
	}
	press("Side by side")
	if got := seen(); len(got) != 2 {
		t.Errorf("side by side there is %q, want two frames", got)
	}
	if ask[bool](t, b, fmt.Sprintf(`[...document.querySelectorAll(".stepper button")].some(b => b.textContent === %q && b.getBoundingClientRect().width > 0)`, change)) {
		t.Error("side by side there is still a button that changes between the two")
	}
	press("One at a time")
	if got := seen(); len(got) != 1 {
		t.Errorf("one at a time there is %q", got)
	}
	b.quiet(t, "at a pair")
}

// TestPageAccessible runs axe-core over the page in both schemes.
func TestPageAccessible(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a browser some 20 s")
	}
	axe, err := os.ReadFile(axeFile())
	if err != nil {
		t.Skip("axe-core is not installed: .ci/run browser installs it")
	}
	b := openBrowser(t, writeTestPage)
	for _, scheme := range []string{"light", "dark"} {
		for _, width := range []int64{360, 1440} {
			call(t, b, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
			b.load(t, width)
			tell(t, b, string(axe))
			answer := ask[string](t, b, `axe.run(document, {runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}).then(r => JSON.stringify({passes: r.passes.length, violations: r.violations.map(v => [v.id, v.help, v.nodes.slice(0, 3).map(n => n.html.slice(0, 200) + " " + n.failureSummary)])}))`)
			var result struct {
				Passes     int
				Violations []any
			}
			if err := json.Unmarshal([]byte(answer), &result); err != nil {
				t.Fatal(err)
			}
			if result.Passes < 20 {
				t.Errorf("%s, %d px: only %d rules applied", scheme, width, result.Passes)
			}
			for _, v := range result.Violations {
				t.Errorf("%s, %d px: %v", scheme, width, v)
			}
		}
	}
}

// TestPageWithoutScripts holds that all is there with scripts off.
func TestPageWithoutScripts(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a browser some 10 s")
	}
	b := openBrowser(t, writeTestPage)
	text := func() string {
		b.load(t, 1440)
		return ask[string](t, b, `[...document.querySelectorAll("main p:not(.stepper), main li, main dd, main figcaption")].map(e => e.textContent).join("\n")`)
	}
	with := text()
	call(t, b, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
	without := text()
	if without == "" || with != without {
		t.Errorf("the text differs with scripts off: %d and %d characters", len(with), len(without))
	}
	hidden := ask[int](t, b, `[...document.querySelectorAll("main img")].filter(i => i.getBoundingClientRect().width < 4).length`)
	if hidden > 0 {
		t.Errorf("%d pictures are hidden with scripts off", hidden)
	}
	b.quiet(t, "with scripts off")
}

// TestPagePrints holds that the page prints, with each sequence on a page of its own.
func TestPagePrints(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a browser some 10 s")
	}
	b := openBrowser(t, writeTestPage)
	b.load(t, 1440)
	sequences := ask[int](t, b, `document.querySelectorAll("article").length`)
	pdf, err := chromedp.Run(b.ctx, chromedp.PrintToPDF(chromedp.PDFPaper(chromedp.PaperA4), chromedp.PDFPrintBackground()))
	if err != nil {
		t.Fatal(err)
	}
	pages := bytes.Count(pdf, []byte("/Type /Page\n"))
	if !bytes.HasPrefix(pdf, []byte("%PDF-")) || sequences == 0 || pages <= sequences {
		t.Errorf("%d bytes of PDF with %d pages for %d sequences", len(pdf), pages, sequences)
	}
	b.quiet(t, "in print")
}
