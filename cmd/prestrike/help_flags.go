package main

import (
	"bytes"
	"fmt"
	"strings"

	"prestrike/audit/report"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// explainHelp gives the flag --help of a command, and of those below it, words of ours.
func explainHelp(cmd *cobra.Command, words string) {
	cmd.InitDefaultHelpFlag()
	cmd.Flags().Lookup("help").Usage = words
	for _, below := range cmd.Commands() {
		explainHelp(below, "explain this command")
	}
}

// Where the explanation of a flag begins: behind the longest flag, but no further right than
// a part of the width, so that it is not squeezed. A longer flag has a line of its own.
const (
	flagGap   = 3
	flagShare = 3 // a third of the width
	flagLeast = 24
	flagBelow = 10 // where it begins on a very narrow screen
)

// writeFlags lists flags with what they do, within the width.
func writeFlags(b *bytes.Buffer, set *pflag.FlagSet, width int) {
	column := 0
	var shown []*pflag.Flag
	set.VisitAll(func(f *pflag.Flag) {
		if !f.Hidden {
			shown = append(shown, f)
		}
	})
	most := max(width/flagShare, flagLeast)
	for _, f := range shown {
		if n := len(flagUse(f)) + flagGap; n <= most {
			column = max(column, n)
		}
	}
	if 2*column > width { // then each explanation is below its flag
		column = flagBelow
	}
	for _, f := range shown {
		use := flagUse(f)
		if len(use)+flagGap > column {
			fmt.Fprintf(b, "%s\n", use)
			use = ""
		}
		report.Paragraph(b, fmt.Sprintf("%-*s", column, use), column, flagWords(f), width)
	}
}

// flagUse writes how a flag is given: "  -o, --output FILE".
func flagUse(f *pflag.Flag) string {
	use := "      "
	if f.Shorthand != "" {
		use = "  -" + f.Shorthand + ", "
	}
	use += "--" + f.Name
	value, _ := pflag.UnquoteUsage(f)
	switch {
	case value == "": // a flag that is on or off
	case f.NoOptDefVal != "":
		use += ", --" + f.Name + "=" + value
	default:
		use += " " + value
	}
	return use
}

// flagWords writes what a flag does, which words it takes and what holds without it.
func flagWords(f *pflag.Flag) string {
	_, text := pflag.UnquoteUsage(f)
	if c, ok := f.Value.(*choice); ok {
		text += ": " + c.list()
	}
	if by := strings.Trim(f.DefValue, "[]"); by != "" && by != "false" { // a list is in brackets
		text += " (default " + by + ")"
	}
	return text
}
