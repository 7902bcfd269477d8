package main

import (
	"bytes"
	"regexp"
	"strings"
	"testing"

	"prestrike/audit/report"

	"github.com/spf13/cobra"
)

// Help keeps to the width of the screen, on every command. What stands on a line of
// its own in an example may be one long word.
func TestHelpKeepsToTheWidth(t *testing.T) {
	for _, width := range []int{40, 50, 60, 72, 79, 80, 100, 200} {
		var walk func(cmd *cobra.Command)
		walk = func(cmd *cobra.Command) {
			var b bytes.Buffer
			writeHelp(&b, cmd, width)
			for line := range strings.Lines(b.String()) {
				line = strings.TrimRight(line, "\n")
				if n := report.Columns(line); n > width {
					t.Errorf("%s at %d columns: %d columns in %q", cmd.CommandPath(), width, n, line)
				}
				if strings.TrimRight(line, " ") != line {
					t.Errorf("%s: blanks end %q", cmd.CommandPath(), line)
				}
			}
			for _, sub := range cmd.Commands() {
				walk(sub)
			}
		}
		walk(newRoot(&console{}))
	}
}

// Help is in our words: no sentence and no notation of the library's own is left in it.
func TestHelpIsInOurWords(t *testing.T) {
	library := regexp.MustCompile(`help for |Available Commands|autocompletion|additional help topics|\[=|\(default ["\[)]|\w\|\w|\bstrings?\b|\bint\b|\bduration\b`)
	var walk func(cmd *cobra.Command)
	walk = func(cmd *cobra.Command) {
		var b bytes.Buffer
		writeHelp(&b, cmd, 100)
		for line := range strings.Lines(b.String()) {
			if found := library.FindString(line); found != "" {
				t.Errorf("%s: %q in %q", cmd.CommandPath(), found, line)
			}
		}
		for _, sub := range cmd.Commands() {
			walk(sub)
		}
	}
	walk(newRoot(&console{}))
}
