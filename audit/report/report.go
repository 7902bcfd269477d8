// Package report writes the outcome of an audit: as tables and text for people, as
// JSON and CSV for programs. A form is one function in the list [Forms] returns.
//
// Whatever comes from a file, names included, is hostile text. It is written
// with its control characters escaped, in every form.
package report

import (
	"bufio"
	"fmt"
	"io"
	"slices"
	"strings"

	"prestrike/audit"
)

// DefaultWidth is how many columns a report fills where nothing is known of
// the place it is read in.
const DefaultWidth = 100

// narrowest is the width below which text becomes harder to read than
// overlong lines are.
const narrowest = 40

// Options steer how a report is written. The zero value is good for a file or
// a pipe.
type Options struct {
	Width  int  // columns to fill, at most; 0 means [DefaultWidth]
	Colour bool // mark the urgent words with terminal colours as well
	// Brief leaves out everything but what must be done and the closing line.
	Brief bool
	// Why lists every reason for which a rule could not judge.
	Why bool
	// Gallery makes the pictures of a page, as many as Pictures asks for; nil for none.
	Gallery  Gallery
	Pictures PictureCount
}

// width returns the columns to fill.
func (o *Options) width() int {
	if o.Width <= 0 {
		return DefaultWidth
	}
	return max(o.Width, narrowest)
}

// A Form is one way to write a report.
type Form struct {
	Name string // the word on the command line
	Doc  string // one line, no capital, no full stop
	// Frames is true where it lists the values of each frame, working f-numbers among them.
	Frames bool

	write func(io.Writer, *model, *Options) error
	// ours reports whether a file that begins and ends so is a report of this
	// form. The ends of a short file hold all of it.
	ours func(begin, end []byte) bool
}

// Forms returns every form, the default first.
func Forms() []*Form {
	return []*Form{
		{Name: "table", Doc: "a table per session, for people", write: writeTable, ours: isTable},
		{Name: "json", Doc: "everything, for programs", write: writeJSON, ours: isJSON},
		{Name: "csv", Doc: "a row per frame, for spreadsheets", Frames: true, write: writeCSV, ours: isCSV},
		{Name: "markdown", Doc: "the tables and findings as text, for notes", write: writeMarkdown, ours: isMarkdown},
		{Name: "html", Doc: "a page with pictures, for the browser", write: writePage, ours: isPage},
	}
}

// ParseForm returns the form of a name.
func ParseForm(name string) (*Form, error) {
	var names []string
	for _, f := range Forms() {
		if f.Name == name {
			return f, nil
		}
		names = append(names, f.Name)
	}
	return nil, fmt.Errorf("%q is not a form: write %s", name, strings.Join(names, " or "))
}

// IsReport reports whether a file is a report of any form, by its first and last
// bytes, 64 KiB of each or the whole file.
func IsReport(begin, end []byte) bool {
	return slices.ContainsFunc(Forms(), func(f *Form) bool { return f.ours(begin, end) })
}

// Write writes the report. A nil opt means the zero Options.
func (f *Form) Write(w io.Writer, result *audit.Result, opt *Options) error {
	if opt == nil {
		opt = &Options{}
	}
	b := bufio.NewWriter(w)
	if err := f.write(b, newModel(result), opt); err != nil {
		return err
	}
	return b.Flush()
}
