package main

import (
	"bufio"
	"bytes"
	"html/template"
	"os"
	"path/filepath"
	"runtime"
	"strings"
)

// icon is whether the program was started by its icon, as when a folder is dropped on
// it: what it prints is not seen then, or only while it runs.
type icon uint8

const (
	noIcon     icon = iota
	iconWindow      // in a window that closes when the program ends
	iconAlone       // without any window
)

// inWindow is the first word of a command line in the archives that opens a window of its
// own, as the icon of Windows does: on macOS and Linux a program started by its icon cannot
// know that its window closes.
const inWindow = "begin"

// arguments returns the command line of a report, with the flag that shows it in the
// browser where the program was started by its icon.
func (i icon) arguments(args []string) []string {
	if i != noIcon {
		return append(args, "--open")
	}
	return args
}

// begin returns the command line to run, and whether there is one. Where the program was
// started by its icon with nothing, it shows how to begin, and runs the report on the
// folder that it is answered with.
func (c *console) begin(args []string) ([]string, bool) {
	if len(args) > 0 && args[0] == inWindow {
		c.icon, args = iconWindow, args[1:]
	}
	if c.icon == noIcon || len(args) > 0 {
		return args, true
	}
	if c.icon == iconAlone {
		c.showHowToBegin()
		return nil, false
	}
	var b bytes.Buffer
	reflow(&b, purpose+dragHere, c.errColumns())
	c.say(append(b.Bytes(), "\nFolder: "...))
	if c.in == nil {
		return nil, false
	}
	in := bufio.NewReader(c.in)
	line, _ := in.ReadString('\n') // what was typed before an end is meant
	if line = strings.TrimSpace(line); line == "" {
		c.in = nil // nobody waits for more
		return nil, false
	}
	c.in = in // holds what else was typed
	return c.icon.arguments([]string{"report", dropped(line, runtime.GOOS)}), true
}

// showHowToBegin shows how to begin where no window shows what is printed: on the page that
// comes with the program, or on one of its own.
func (c *console) showHowToBegin() {
	if c.readme != nil && c.open != nil {
		if page := c.readme(); page != "" {
			_ = c.open(page) // there is nowhere to report that it failed
			return
		}
	}
	c.showPage("How to begin", purpose+fromTerminal)
}

const purpose = `prestrike inspects the pictures of a shoot, and reports what must be shot again. Your
pictures are only read.

`

const dragHere = `Drag the folder with your pictures, or the memory card, onto this window. Then press
Enter. The report opens as a page in your browser.
`

const fromTerminal = `Open a terminal in the folder of prestrike: the menu of the folder has an entry for it.
Write ./prestrike report --open and a space. Then drag the folder with your pictures onto
the terminal, and press Enter.
`

// dropped returns the path that a window of the system inserts where a file is dropped on
// it, as one word of its shell; what names a file as it stands is taken so.
func dropped(line, system string) string {
	if _, err := os.Stat(line); err == nil {
		return line
	}
	if system == "windows" {
		return strings.Trim(line, `"`)
	}
	var b strings.Builder
	quote := byte(0)
	for i := 0; i < len(line); i++ {
		switch ch := line[i]; {
		case ch == '\\' && quote != '\'' && i+1 < len(line):
			i++
			b.WriteByte(line[i])
		case quote == 0 && (ch == '\'' || ch == '"'):
			quote = ch
		case quote != 0 && ch == quote:
			quote = 0
		default:
			b.WriteByte(ch)
		}
	}
	return b.String()
}

// leave has what was printed read where it would not be: it keeps a window open that would
// close with the program, and shows what went wrong on a page where there is no window.
func (c *console) leave(code int) {
	switch {
	case c.icon == iconWindow && c.in != nil:
		c.say([]byte("\nPress Enter to end.\n"))
		_, _ = bufio.NewReader(c.in).ReadString('\n') // whatever comes, it ends
	case c.icon == iconAlone && code == statusNotAudited:
		c.mu.Lock()
		said := strings.Join(c.unseen, "\n\n")
		c.mu.Unlock()
		c.showPage("Not everything was inspected", said)
	}
}

var plainPage = template.Must(template.New("page").Parse(`<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>prestrike</title>
<style>
:root { color-scheme: light dark }
body { font: 1.1rem/1.5 system-ui, sans-serif; max-width: 40rem; margin: 2rem auto; padding: 0 1rem; overflow-wrap: anywhere }
</style>
</head>
<body>
<main>
<h1>{{.Title}}</h1>
{{range .Text}}<p>{{.}}</p>
{{end}}</main>
</body>
</html>
`))

// showPage shows sentences in the browser, a paragraph for each between empty lines. Where
// it cannot, there is nowhere to report that.
func (c *console) showPage(title, text string) {
	if c.open == nil {
		return
	}
	file, err := cachedPage(c, nil)
	if err != nil {
		folder, err := os.MkdirTemp("", "prestrike-")
		if err != nil {
			return
		}
		file = filepath.Join(folder, "prestrike.html")
	}
	var b bytes.Buffer
	err = plainPage.Execute(&b, struct {
		Title string
		Text  []string
	}{title, strings.Split(strings.TrimSpace(text), "\n\n")})
	if err == nil && os.WriteFile(file, b.Bytes(), 0o600) == nil {
		_ = c.open(file)
	}
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
