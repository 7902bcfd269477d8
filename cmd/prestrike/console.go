package main

import (
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"time"

	"prestrike/audit/report"
	"prestrike/audit/shoot"
	"prestrike/watch"

	"golang.org/x/term"
)

// A console is where the program talks to: what is a terminal is set here, not
// sensed elsewhere.
type console struct {
	in          io.Reader // what is typed; nil where nothing is
	out, err    io.Writer
	outTerminal bool // results go to a terminal
	errTerminal bool // remarks go to a terminal
	width       int  // columns of the terminal that results go to; 0 where there is none
	plain       bool // no colours, by NO_COLOR or TERM
	// cacheFolder names the user's folder for what may be lost; nil where
	// nothing is to be kept.
	cacheFolder func() (string, error)
	exit        func(int) // os.Exit where nil
	// now is the clock that a watch takes quiet from; nil for the system's.
	now func() time.Time
	// taken, where not nil, is told of each event of a watch that was taken in.
	taken func(watch.Event)
}

// systemConsole is the console that the program was started on.
func systemConsole() *console {
	c := &console{
		in: os.Stdin, out: os.Stdout, err: os.Stderr,
		outTerminal: term.IsTerminal(int(os.Stdout.Fd())),
		errTerminal: term.IsTerminal(int(os.Stderr.Fd())),
		// https://no-color.org: set and not empty, whatever the value.
		plain:       os.Getenv("NO_COLOR") != "" || os.Getenv("TERM") == "dumb",
		cacheFolder: os.UserCacheDir,
	}
	if c.outTerminal {
		if width, _, err := term.GetSize(int(os.Stdout.Fd())); err == nil {
			c.width = width
		}
	}
	return c
}

// textWidth is how many columns a result fills: longer lines than the default
// are hard to read on any screen.
func (c *console) textWidth(toFile bool) int {
	if toFile || c.width <= 0 {
		return report.DefaultWidth
	}
	return min(c.width, report.DefaultWidth)
}

// remark writes a line to standard error. Whatever stands in it is shown
// escaped, as it may hold names of files.
func (c *console) remark(format string, args ...any) {
	fmt.Fprintf(c.err, "prestrike: %s\n", report.Visible(fmt.Sprintf(format, args...)))
}

// progressEvery keeps a slow terminal from slowing the work.
const progressEvery = 100 * time.Millisecond

// A progress is one line on a terminal that is written over as work goes on.
// It may be told from several goroutines.
type progress struct {
	w    io.Writer // nil where nothing is to be shown
	verb string
	now  func() time.Time
	// tellLeft has the time left told, once a few seconds have shown the pace.
	tellLeft bool
	began    time.Time

	mu    sync.Mutex
	shown time.Time // when the line was last written
	last  int       // its length
}

// newProgress begins the line at once, so that something is seen from the start.
func (c *console) newProgress(quiet bool, verb, start string) *progress {
	p := &progress{verb: verb, now: time.Now, began: time.Now()}
	if c.errTerminal && !quiet {
		p.w = c.err
		p.write(start)
	}
	return p
}

// tell shows how far the work is, unless the line was written just now.
func (p *progress) tell(done, total int) {
	p.show(float64(done), float64(total), func() string { return fmt.Sprintf("%d of %d", done, total) })
}

// tellBytes is tell where the work is so many bytes.
func (p *progress) tellBytes(done, total int64) {
	p.show(float64(done), float64(total), func() string { return byteCount(done) + " of " + byteCount(total) })
}

func (p *progress) show(done, total float64, text func() string) {
	if p.w == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if now := p.now(); now.Sub(p.shown) >= progressEvery {
		p.shown = now
		p.write(p.verb + " " + text() + p.left(now, done, total))
	}
}

// paceAfter is how long the pace is watched before the time left is told.
const paceAfter = 2 * time.Second

// left writes how long it will take from now on.
func (p *progress) left(now time.Time, done, total float64) string {
	passed := now.Sub(p.began)
	if !p.tellLeft || passed < paceAfter || done == 0 {
		return ""
	}
	left := time.Duration(float64(passed) / done * (total - done))
	return ", about " + shoot.FormatDuration(max(left.Round(time.Second), time.Second)) + " left"
}

// end wipes the line.
func (p *progress) end() {
	if p.w == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.write("")
	fmt.Fprint(p.w, "\r")
	p.w = nil
}

func (p *progress) write(line string) {
	fmt.Fprintf(p.w, "\r%s%s", line, strings.Repeat(" ", max(p.last-len(line), 0)))
	p.last = len(line)
}
