package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

// newManual writes the manual pages for the archives that people download. Help
// does not list it: whoever has the program has them already.
func newManual(root *cobra.Command) *cobra.Command {
	date := ""
	cmd := &cobra.Command{
		Use:    "manual FOLDER",
		Short:  "Write the manual pages",
		Hidden: true,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 1 {
				return &usageError{errors.New("name one folder to write to"), cmd.CommandPath()}
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			day, err := time.Parse(time.DateOnly, date)
			if err != nil {
				return fmt.Errorf("--date: cannot read %q: write a day such as 2026-03-04", date)
			}
			if err := os.MkdirAll(args[0], 0o777); err != nil {
				return notWritten(args[0], err, "name another folder", "name a folder that you may write to")
			}
			root.DisableAutoGenTag = true
			return writeManual(root, args[0], doc.GenManHeader{Section: "1", Date: &day, Source: "prestrike", Manual: "prestrike"})
		},
	}
	cmd.Flags().StringVar(&date, "date", "2026-01-01", "the `DAY` that the pages name")
	return cmd
}

// writeManual writes the page of a command and those of the commands below it.
func writeManual(cmd *cobra.Command, folder string, header doc.GenManHeader) error {
	for _, below := range cmd.Commands() {
		if below.IsAvailableCommand() {
			if err := writeManual(below, folder, header); err != nil {
				return err
			}
		}
	}
	var page bytes.Buffer
	if err := doc.GenMan(cmd, &header, &page); err != nil {
		return err
	}
	// The library writes "--quiet[=false]" and "--output=\"\"" where nothing is to be
	// read but the name of the flag.
	text := strings.NewReplacer("[=false]", "", `=""`, "", "\\fP=\n", "\\fP\n").Replace(page.String())
	name := strings.ReplaceAll(cmd.CommandPath(), " ", "-") + ".1"
	if err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o666); err != nil {
		return notWritten(filepath.Join(folder, name), err, "name another folder", "name a folder that you may write to")
	}
	return nil
}
