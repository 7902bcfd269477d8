package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"strconv"
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
	inTerminal  bool // what is typed comes from a terminal, which shows it
	outTerminal bool // results go to a terminal
	errTerminal bool // remarks go to a terminal
	width       int  // columns of the terminal that results go to, or COLUMNS where there is none; 0 where neither is known
	errWidth    int  // columns of the one that remarks go to
	plain       bool // no colours, by NO_COLOR or TERM
	// cacheFolder names the user's folder for what may be lost; nil where
	// nothing is to be kept.
	cacheFolder func() (string, error)
	exit        func(int) // os.Exit where nil
	// open opens a file in the reader's browser.
	open   func(file string) error
	icon   icon     // whether the program was started by its icon
	unseen []string // remarks that no window shows, with [iconAlone]
	// readme names the page that explains how to begin; empty where there is none.
	readme func() string
	// today is the date and time that frames are held against; nil where nobody knows.
	today func() time.Time
	// now is the clock that a watch takes quiet from; nil for the system's.
	now func() time.Time
	// sleep, where not nil, is how the sounds of a watch wait between two bells.
	sleep func(context.Context, time.Duration)
	// taken, where not nil, is called with each event of a watch that was taken in.
	taken func(watch.Event)

	// size returns the columns and rows of the terminal that remarks go to; nil where it
	// cannot be asked.
	size func() (width, height int, err error)
	dumb bool // the terminal only writes lines, by TERM

	mu    sync.Mutex
	shown int       // columns of the line that is shown for now
	board *bigBoard // that stands on the terminal; nil where none does
}

// systemClock is a variable for tests of the whole program, which are not to depend on the day.
var systemClock = time.Now

// systemConsole is the console that the program was started on.
func systemConsole() *console {
	c := &console{
		in: os.Stdin, out: os.Stdout, err: os.Stderr,
		inTerminal:  term.IsTerminal(int(os.Stdin.Fd())),
		outTerminal: term.IsTerminal(int(os.Stdout.Fd())),
		errTerminal: term.IsTerminal(int(os.Stderr.Fd())),
		// https://no-color.org: set and not empty, whatever the value.
		plain:       os.Getenv("NO_COLOR") != "" || os.Getenv("TERM") == "dumb",
		dumb:        os.Getenv("TERM") == "dumb",
		cacheFolder: os.UserCacheDir,
		open:        openFile,
		icon:        startedByIcon(),
		readme:      readmeBeside,
		today:       systemClock,
	}
	if c.outTerminal {
		if width, _, err := term.GetSize(int(os.Stdout.Fd())); err == nil {
			c.width = width
		}
	} else if width, err := strconv.Atoi(os.Getenv("COLUMNS")); err == nil && width > 0 {
		c.width = width
	}
	if c.errTerminal {
		c.size = func() (int, int, error) { return term.GetSize(int(os.Stderr.Fd())) }
		if width, _, err := term.GetSize(int(os.Stderr.Fd())); err == nil {
			c.errWidth = width
		}
	}
	return c
}

// textWidth is how many columns a result fills. On a terminal it is no more than the
// default, as longer lines are hard to read; in a pipe it is what COLUMNS asks for.
func (c *console) textWidth(toFile bool) int {
	switch {
	case toFile || c.width <= 0:
		return report.DefaultWidth
	case c.outTerminal:
		return min(c.width, report.DefaultWidth)
	}
	return max(c.width, narrowPipe)
}

// narrowPipe is the least that COLUMNS may ask for.
const narrowPipe = 40

// errColumns is how many columns a remark fills.
func (c *console) errColumns() int {
	if c.errWidth <= 0 {
		return report.DefaultWidth
	}
	return min(c.errWidth, report.DefaultWidth)
}

// errSize returns the columns and rows of the terminal that remarks go to, as it is now.
func (c *console) errSize() (width, height int) {
	if c.size != nil {
		if width, height, err := c.size(); err == nil && width > 0 && height > 0 {
			return width, height
		}
	}
	return report.DefaultWidth, 24
}

// remark writes to standard error, on a terminal wrapped to its width. Whatever
// stands in it is shown escaped, as it may hold names of files.
func (c *console) remark(format string, args ...any) {
	text := report.Visible(fmt.Sprintf(format, args...))
	b := bytes.NewBufferString("prestrike: " + text + "\n")
	if c.errTerminal && c.errWidth > 0 {
		b.Reset()
		report.Paragraph(b, "prestrike: ", len("prestrike: "), text, c.errColumns())
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.icon == iconAlone {
		c.unseen = append(c.unseen, text)
	}
	if c.holds(c.err, c.errTerminal, b.Bytes()) {
		return
	}
	c.wipe()
	_, _ = c.err.Write(b.Bytes()) // there is nowhere to report that it failed
}

// say writes text to standard error as it is.
func (c *console) say(text []byte) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.holds(c.err, c.errTerminal, text) {
		return
	}
	c.wipe()
	_, _ = c.err.Write(text) // there is nowhere to report that it failed
}

// print writes a part of the result.
func (c *console) print(text []byte) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.holds(c.out, c.outTerminal, text) {
		return nil
	}
	c.wipe()
	_, err := c.out.Write(text)
	return err
}

// showLine shows one line on the terminal of the remarks, in place of the one
// that was shown before, and no wider than the terminal is now. Whatever else is written
// wipes it. The cursor is left at its beginning, so that what is typed is wiped with it.
func (c *console) showLine(line string) {
	line = report.Cut(line, c.lineColumns())
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.board != nil {
		return // it shows more
	}
	width := report.Columns(line)
	fmt.Fprintf(c.err, "\r%s%s\r", line, strings.Repeat(" ", max(c.shown-width, 0)))
	c.shown = width
}

// lineColumns is how many columns the line that is shown may fill: one less than the
// terminal of the remarks has now, as some terminals go on to the next line behind the last.
func (c *console) lineColumns() int {
	width := c.errColumns()
	if c.size != nil {
		if now, _, err := c.size(); err == nil && now > 0 {
			width = min(now, report.DefaultWidth)
		}
	}
	return width - 1
}

// bell sounds the terminal's bell once.
func (c *console) bell() {
	c.mu.Lock()
	defer c.mu.Unlock()
	_, _ = c.err.Write([]byte("\a")) // there is nowhere to report that it failed
}

// endLine wipes the line that is shown.
func (c *console) endLine() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.wipe()
}

// wipe is endLine where c is locked.
func (c *console) wipe() {
	if c.shown > 0 {
		fmt.Fprintf(c.err, "\r%s\r", strings.Repeat(" ", c.shown))
		c.shown = 0
	}
}

// entered is for Enter on a terminal, which has moved on to the next line: the line that
// was shown would be left standing above as it was. Where it was shown anew since, it stands
// below too.
func (c *console) entered() {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.shown > 0 && c.inTerminal && c.errTerminal && !c.dumb {
		fmt.Fprint(c.err, "\x1b[A\r\x1b[J") // ECMA-48: cursor up, erase to the end of the screen
		c.shown = 0
	}
}

// progressEvery keeps a slow terminal from slowing the work.
const progressEvery = 100 * time.Millisecond

// A progress is one line on a terminal that is written over as work goes on.
// It may be called from several goroutines.
type progress struct {
	c    *console // nil where nothing is to be shown
	verb string
	now  func() time.Time
	// tellLeft shows the time left, once a few seconds have shown the pace.
	tellLeft bool
	began    time.Time

	mu    sync.Mutex
	shown time.Time // when the line was last written
}

// newProgress begins the line at once, so that something is seen from the start.
func (c *console) newProgress(quiet bool, verb, start string) *progress {
	p := &progress{verb: verb, now: time.Now, began: time.Now()}
	if c.errTerminal && !quiet {
		p.c = c
		c.showLine(start)
	}
	return p
}

// tell shows how far the work is, unless the line was written just now.
func (p *progress) tell(done, total int) {
	p.show(float64(done), float64(total), func() string { return fmt.Sprintf("%d of %d", done, total) })
}

// count returns a function that counts one more as done, where the total is not known.
func (p *progress) count() func() {
	done := 0
	return func() {
		done++
		p.show(0, 0, func() string { return strconv.Itoa(done) })
	}
}

// tellBytes is tell where the work is counted in bytes.
func (p *progress) tellBytes(done, total int64) {
	p.show(float64(done), float64(total), func() string { return byteCount(done) + " of " + byteCount(total) })
}

func (p *progress) show(done, total float64, text func() string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.c == nil {
		return
	}
	if now := p.now(); now.Sub(p.shown) >= progressEvery {
		p.shown = now
		p.c.showLine(p.verb + " " + text() + p.left(now, done, total))
	}
}

// paceAfter is how long the pace is watched before the time left is reported.
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
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.c != nil {
		p.c.endLine()
		p.c = nil
	}
}
