package main

import (
	"bytes"
	"strings"
	"testing"

	"prestrike/audit/report"

	"github.com/spf13/cobra"
)

// Help keeps to the width of the screen, on every command. What stands on a line of
// its own in an example may be one long word.
func TestHelpKeepsToTheWidth(t *testing.T) {
	for _, width := range []int{60, 80, 100, 200} {
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
