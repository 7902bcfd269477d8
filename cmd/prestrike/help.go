package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"runtime/debug"
	"strings"

	"prestrike/audit/report"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// The groups of commands, in the order of a shoot.
const (
	groupBefore = "before"
	groupDuring = "during"
	groupAfter  = "after"
	groupOther  = "other"
)

var groups = []*cobra.Group{
	{ID: groupBefore, Title: "Before the shoot"},
	{ID: groupDuring, Title: "During the shoot"},
	{ID: groupAfter, Title: "After the shoot"},
	{ID: groupOther, Title: "To set up"},
}

// addCommands adds the commands of a group to the root.
func addCommands(root *cobra.Command, group string, commands ...*cobra.Command) {
	for _, cmd := range commands {
		cmd.GroupID = group
		root.AddCommand(cmd)
	}
}

// newHelp is the help command; without it cobra adds one that takes any word.
func newHelp(root *cobra.Command) *cobra.Command {
	return &cobra.Command{
		Use:   "help [COMMAND]",
		Short: "Explain the program or one of its commands",
		ValidArgsFunction: func(_ *cobra.Command, args []string, _ string) ([]cobra.Completion, cobra.ShellCompDirective) {
			var names []cobra.Completion
			if len(args) == 0 {
				for _, cmd := range root.Commands() {
					names = append(names, cobra.CompletionWithDesc(cmd.Name(), cmd.Short))
				}
			}
			return names, cobra.ShellCompDirectiveNoFileComp
		},
		RunE: func(_ *cobra.Command, args []string) error {
			cmd, rest, err := root.Find(args)
			if err != nil {
				return err
			}
			if len(rest) > 0 {
				return noCommand(cmd, rest[0])
			}
			return cmd.Help()
		},
	}
}

// newCompletion is cobra's completion command in our words.
func newCompletion(root *cobra.Command) *cobra.Command {
	const descriptions = true
	writers := map[string]func() error{
		"bash":       func() error { return root.GenBashCompletionV2(root.OutOrStdout(), descriptions) },
		"zsh":        func() error { return root.GenZshCompletion(root.OutOrStdout()) },
		"fish":       func() error { return root.GenFishCompletion(root.OutOrStdout(), descriptions) },
		"powershell": func() error { return root.GenPowerShellCompletionWithDesc(root.OutOrStdout()) },
	}
	shells := []cobra.Completion{"bash", "zsh", "fish", "powershell"}
	return &cobra.Command{
		Use:   "completion SHELL",
		Short: "Write what a shell needs to complete commands and flags",
		Long: `Completion writes a script for bash, zsh, fish or powershell. With it the Tab key
completes commands, flags, rules and folders.`,
		Example: `  source <(prestrike completion bash)                              for this terminal
  prestrike completion bash > ~/.local/share/bash-completion/completions/prestrike
  prestrike completion zsh > "${fpath[1]}/_prestrike"
  prestrike completion fish > ~/.config/fish/completions/prestrike.fish
  prestrike completion powershell | Out-String | Invoke-Expression`,
		ValidArgsFunction: cobra.FixedCompletions(shells, cobra.ShellCompDirectiveNoFileComp),
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 1 || writers[args[0]] == nil {
				return &usageError{fmt.Errorf("name one shell: %s", strings.Join(shells, ", ")), cmd.CommandPath()}
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error { return writers[args[0]]() },
	}
}

// version names the build: a release, or the revision it was made from.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	text := info.Main.Version
	if text == "" {
		text = "(devel)"
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.time" && s.Value != "" {
			text += ", of " + s.Value
		}
	}
	return text + ", " + info.GoVersion
}

// byFolder lets a folder alone mean the report on it: args are those of the
// command line, by how the program was started. What can only be a path is left to the
// report, too, which explains what is wrong with it.
func byFolder(root *cobra.Command, args []string, by icon) []string {
	if len(args) == 0 || args[0] == "" || strings.HasPrefix(args[0], "-") {
		return args
	}
	if cmd, _, err := root.Find(args[:1]); err == nil && cmd != root {
		return args
	}
	if _, err := os.Stat(args[0]); err != nil && by == noIcon && filepath.Base(args[0]) == args[0] {
		return args
	}
	return by.arguments(append([]string{"report"}, args...))
}

// helpFunc writes help within the width of the screen.
func helpFunc(c *console) func(*cobra.Command, []string) {
	return func(cmd *cobra.Command, _ []string) {
		var b bytes.Buffer
		writeHelp(&b, cmd, c.textWidth(false))
		_ = c.print(b.Bytes()) // there is nowhere to report that it failed
	}
}

func writeHelp(b *bytes.Buffer, cmd *cobra.Command, width int) {
	text := cmd.Long
	if text == "" {
		text = cmd.Short + "."
	}
	reflow(b, text, width)
	fmt.Fprint(b, "\nUsage:\n")
	if !cmd.HasParent() {
		fmt.Fprint(b, "  prestrike FOLDER\n  prestrike COMMAND ...\n")
	} else {
		reflow(b, "  "+cmd.UseLine(), width)
	}
	if cmd.HasExample() {
		fmt.Fprint(b, "\nExamples:\n")
		reflow(b, cmd.Example, width)
	}
	sub := map[string][]*cobra.Command{}
	longest := 0
	for _, s := range cmd.Commands() {
		if s.IsAvailableCommand() {
			sub[s.GroupID] = append(sub[s.GroupID], s)
			longest = max(longest, len(s.Name()))
		}
	}
	list := func(title string, commands []*cobra.Command) {
		if len(commands) == 0 {
			return
		}
		fmt.Fprintf(b, "\n%s:\n", title)
		for _, s := range commands {
			report.Paragraph(b, fmt.Sprintf("  %-*s  ", longest, s.Name()), longest+4, s.Short, width)
		}
	}
	for _, g := range cmd.Groups() {
		list(g.Title, sub[g.ID])
	}
	list("Commands", sub[""])
	flags := func(title string, set *pflag.FlagSet) {
		if set.HasAvailableFlags() {
			fmt.Fprintf(b, "\n%s:\n", title)
			writeFlags(b, set, width)
		}
	}
	flags("Flags", cmd.LocalFlags())
	flags("Flags of every command", cmd.InheritedFlags())
	if cmd.HasAvailableSubCommands() {
		b.WriteByte('\n')
		report.Paragraph(b, "", 0, cmd.CommandPath()+" COMMAND --help explains a command.", width)
	}
}

// reflow writes text of paragraphs and of lines that begin with blanks, each of
// these by itself, within the width.
func reflow(b *bytes.Buffer, text string, width int) {
	var paragraph []string
	flush := func() {
		if len(paragraph) > 0 {
			report.Paragraph(b, "", 0, strings.Join(paragraph, " "), width)
			paragraph = nil
		}
	}
	for line := range strings.SplitSeq(strings.Trim(text, "\n"), "\n") {
		switch {
		case strings.TrimSpace(line) == "":
			flush()
			b.WriteByte('\n')
		case strings.HasPrefix(line, " "):
			flush()
			reflowLine(b, line, width)
		default:
			paragraph = append(paragraph, line)
		}
	}
	flush()
}

// reflowLine writes a line of a list or an example: as it is where it fits, else
// what stands behind a gap in lines of its own column, or below where that is narrow.
func reflowLine(b *bytes.Buffer, line string, width int) {
	if report.Columns(line) <= width {
		b.WriteString(line + "\n")
		return
	}
	words := strings.TrimLeft(line, " ")
	margin := len(line) - len(words)
	if left, right, ok := strings.Cut(words, "  "); ok {
		right = strings.TrimLeft(right, " ")
		if column := len(line) - len(right); 2*column <= width {
			report.Paragraph(b, line[:column], column, right, width)
			return
		}
		report.Paragraph(b, strings.Repeat(" ", margin), margin, left, width)
		report.Paragraph(b, strings.Repeat(" ", margin+4), margin+4, right, width)
		return
	}
	report.Paragraph(b, strings.Repeat(" ", margin), margin+4, words, width)
}
