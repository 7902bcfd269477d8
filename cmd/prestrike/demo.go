package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"prestrike/cmd/prestrike/internal/demo"

	"github.com/spf13/cobra"
)

const demoLong = `Demo writes a made-up job to try the program on: a museum lends an ammonite for a
catalogue, and the courier collects it at 16:00. The folder must be empty or not
there yet. It gets
  card            what the camera wrote; some frames show the slate of a view
  copy            a copy of the card
  prestrike.toml  the shot list

These faults are in the session, and no others:
%s
In copy, one byte of %s is not what it is on the card.

` + "Exit status: 0 when the session is written, 3 when not."

// demonstration is the session that is written; tests write a smaller one.
var demonstration = demo.Standard()

func newDemo(c *console) *cobra.Command {
	var faults strings.Builder
	for i, f := range demonstration.Faults() {
		fmt.Fprintf(&faults, "  %d. %s\n", i+1, strings.ReplaceAll(f.What, ". ", ".\n     "))
	}
	var quiet bool
	cmd := &cobra.Command{
		Use:     "demo FOLDER",
		Short:   "Write a small made-up job to try the program on",
		Long:    fmt.Sprintf(demoLong, faults.String(), demonstration.Damaged()),
		Example: "  prestrike demo tryout\n  prestrike report tryout/card\n  prestrike report tryout/card --now 15:20    as on that day, before the courier comes\n  prestrike copies tryout/card tryout/copy",
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 1 {
				return &usageError{errors.New("name one folder to write to"), cmd.CommandPath()}
			}
			return nil
		},
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective) {
			return nil, cobra.ShellCompDirectiveFilterDirs
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return runDemo(cmd, c, args[0], quiet)
		},
	}
	cmd.Flags().BoolVarP(&quiet, "quiet", "q", false, "no progress, and nothing is printed when all went well")
	return cmd
}

func runDemo(cmd *cobra.Command, c *console, folder string, quiet bool) error {
	line := c.newProgress(quiet, "writing", "preparing the subject")
	n, err := demonstration.Write(cmd.Context(), folder, line.tell)
	line.end()
	switch {
	case errors.Is(err, demo.ErrNotEmpty):
		return fmt.Errorf("%s is not empty: name a new folder, so that nothing of yours is mixed up with the demonstration", folder)
	case err != nil:
		if errors.Is(err, context.Canceled) {
			return err
		}
		return notWritten(folder, err, "name another folder", "name a folder that you may write to")
	case quiet:
		return nil
	}
	card, copied := shellWord(filepath.Join(folder, demo.Card)), shellWord(filepath.Join(folder, demo.Copy))
	_, err = fmt.Fprintf(c.out, `Wrote a made-up session of %d frames, its shot list and a copy of the card to %s.
Now try:

  prestrike report %s
  prestrike report %s --now 15:20    as on that day, before the courier comes
  prestrike copies %s %s
`, n, folder, card, card, card, copied)
	return err
}

// shellWord quotes a word for the command line where it needs it.
func shellWord(s string) string {
	plain := func(r rune) bool {
		return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune(`-_./\:~`, r)
	}
	if s != "" && strings.IndexFunc(s, func(r rune) bool { return !plain(r) }) < 0 {
		return s
	}
	return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'"
}
