package main

import (
	"bufio"
	"os"
	"path/filepath"
)

// icon is whether the program was started by its icon, as when a folder is dropped on
// it: what it prints is not seen then, or only while it runs.
type icon uint8

const (
	noIcon     icon = iota
	iconWindow      // in a window that closes when the program ends
	iconAlone       // without any window
)

// arguments returns the command line of a report, with the flag that shows it in the
// browser where the program was started by its icon.
func (i icon) arguments(args []string) []string {
	if i != noIcon {
		return append(args, "--open")
	}
	return args
}

// begin shows how to begin where the program was started by its icon with nothing. It
// reports whether that is done.
func (c *console) begin(args []string) bool {
	if c.icon == noIcon || len(args) > 0 {
		return false
	}
	c.say([]byte(howToBegin))
	if c.readme == nil || c.open == nil {
		return true
	}
	if page := c.readme(); page != "" {
		_ = c.open(page) // what to do is in the window already
	}
	return true
}

const howToBegin = `prestrike inspects the pictures of a shoot, and reports what must be shot again.

To begin, drop the folder with your pictures, or the memory card, on the icon of
prestrike. A page opens in your browser. Your pictures are only read.

To try it without pictures of your own, open a terminal in this folder and write
  prestrike demo tryout
and then drop the folder "card" inside the new folder "tryout" on the icon.
`

// wait keeps a window open that would close with the program.
func (c *console) wait() {
	if c.icon != iconWindow || c.in == nil {
		return
	}
	c.say([]byte("\nPress Enter to close this window.\n"))
	_, _ = bufio.NewReader(c.in).ReadString('\n') // whatever comes, it ends
}

// readmeBeside returns the page that comes with the program in its archive; empty where it
// is not there.
func readmeBeside() string {
	program, err := os.Executable()
	if err != nil {
		return ""
	}
	page := filepath.Join(filepath.Dir(program), "README.html")
	if info, err := os.Stat(page); err != nil || !info.Mode().IsRegular() {
		return ""
	}
	return page
}

// unseen reports whether nobody can see what is written to a file: it is no terminal, no
// file that keeps it, and no pipe to another program.
func unseen(f *os.File) bool {
	info, err := f.Stat()
	if err != nil {
		return true // closed
	}
	return !info.Mode().IsRegular() && info.Mode()&os.ModeNamedPipe == 0 && info.Mode()&os.ModeSocket == 0
}

// desktopThere reports whether there is a desktop to open a page on.
func desktopThere(system string, environment func(string) string) bool {
	return system == "darwin" || environment("DISPLAY") != "" || environment("WAYLAND_DISPLAY") != ""
}
