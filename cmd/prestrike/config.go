package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"

	"prestrike/audit/config"
	"prestrike/audit/report"

	"github.com/spf13/cobra"
)

const configLong = `Config shows the settings of a folder, each with where it comes from: a file and line,
the command line, or the default.

The settings come from prestrike.toml in the folder, or in a folder above it. What
that file does not set is taken from prestrike.toml in your own configuration
folder: %s. Nothing needs to be configured before first use.

With --write it writes a starting file to the folder, with every key as a comment.
A file that is there already is not changed.

Exit status: 0 shown or written, 3 when that failed or a file has mistakes.`

const configExamples = `  prestrike config                 the settings here
  prestrike config /media/card
  prestrike config --write .       write a starting file to fill in`

func newConfig(c *console) *cobra.Command {
	var shoot shootFlags
	var write bool
	var format string
	own := "none on this system"
	if dir, err := os.UserConfigDir(); err == nil {
		own = filepath.Join(dir, "prestrike")
	}
	cmd := &cobra.Command{
		Use:     "config [FOLDER]",
		Short:   "Show the settings of a folder, or write a starting file",
		Long:    fmt.Sprintf(configLong, own),
		Example: configExamples,
		Args:    atMostOne("folder"),
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective) {
			return nil, cobra.ShellCompDirectiveFilterDirs
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			folder := "."
			if len(args) == 1 {
				folder = args[0]
			}
			if info, err := os.Stat(folder); err != nil || !info.IsDir() {
				return fmt.Errorf("%s: no such folder", folder)
			}
			if write {
				return writeStartingFile(c, folder)
			}
			_, settings, err := shoot.options(cmd, []string{folder})
			if err != nil {
				return err
			}
			settings = config.InForce(settings)
			var text bytes.Buffer
			if format == "json" {
				err = writeSettingsJSON(&text, settings)
			} else {
				err = showSettings(&text, settings, c.textWidth(false))
			}
			if err != nil {
				return err
			}
			_, err = c.out.Write(text.Bytes())
			return err
		},
	}
	addChoice(cmd, &format, "format", "form of the result", "table\ta table for people", "json\tJSON for programs")
	cmd.Flags().BoolVar(&write, "write", false, "write a starting file to the folder")
	shoot.addTo(cmd, c)
	cmd.Flags().SortFlags = false
	return cmd
}

// listPlace is the place in a list of the file, which counts from 0 and is of no use to
// people: the origin names the line.
var listPlace = regexp.MustCompile(`\[[0-9]+\]`)

func showSettings(b *bytes.Buffer, settings []config.Setting, width int) error {
	rows := make([][]string, len(settings))
	for i, s := range settings {
		rows[i] = []string{report.Visible(listPlace.ReplaceAllString(s.Key, "")), report.Visible(s.Value), report.Visible(s.Origin)}
	}
	columns := []report.Column{{Head: "setting"}, {Head: "value"}, {Head: "from"}}
	if err := gridOrLines(b, columns, rows, width, func(row []string) string {
		return fmt.Sprintf("%s = %s (%s)", row[0], row[1], row[2])
	}); err != nil {
		return err
	}
	b.WriteByte('\n')
	report.Paragraph(b, "", 0, "All else is as built in: prestrike rules lists the numbers of the rules.", width)
	return nil
}

// gridOrLines writes a grid where it fits the screen, else a line for each row.
func gridOrLines(b *bytes.Buffer, columns []report.Column, rows [][]string, width int, line func(row []string) string) error {
	var grid bytes.Buffer
	if err := report.Grid(&grid, columns, rows, width, nil); err != nil {
		return err
	}
	if fits(grid.Bytes(), width) {
		b.Write(grid.Bytes())
		return nil
	}
	for _, row := range rows {
		report.Paragraph(b, "", 4, line(row), width)
	}
	return nil
}

// fits reports whether no line is wider than the screen.
func fits(text []byte, width int) bool {
	for line := range bytes.Lines(text) {
		if report.Columns(string(bytes.TrimRight(line, "\n"))) > width {
			return false
		}
	}
	return true
}

func writeSettingsJSON(b *bytes.Buffer, settings []config.Setting) error {
	type setting struct {
		Key    string `json:"key"`
		Value  string `json:"value"`
		Origin string `json:"origin"`
	}
	out := struct {
		Format   string    `json:"format"`
		Version  int       `json:"version"`
		Settings []setting `json:"settings"`
	}{"prestrike-config", 1, []setting{}}
	for _, s := range settings {
		out.Settings = append(out.Settings, setting(s))
	}
	e := json.NewEncoder(b)
	e.SetIndent("", "  ")
	return e.Encode(out)
}

func writeStartingFile(c *console, folder string) error {
	name := filepath.Join(folder, config.Name)
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if os.IsExist(err) {
		return fmt.Errorf("%s is there already and was not changed", name)
	}
	if err != nil {
		return notWritten(name, err, "name another folder", "name a folder that you may write to")
	}
	_, err = f.Write(config.StartingFile(ruleList()))
	if closed := f.Close(); err == nil {
		err = closed
	}
	if err != nil {
		return notWritten(name, err, "name another folder", "name a folder that you may write to")
	}
	_, err = fmt.Fprintf(c.out, "Wrote %s. Remove the # before a line to set it.\n", report.Visible(name))
	return err
}
