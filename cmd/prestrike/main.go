// Prestrike audits the frames of a photographic capture session while the set
// still stands: it finds the sequences and reports what must be shot again.
package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"slices"
	"strings"
	"syscall"

	"prestrike/audit/report"
	"prestrike/audit/values"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second Ctrl-C ends the program at once
	// Nearly all that is read is kept until the report: looking for
	// garbage half as often saves time and costs a few MiB.
	collectAt(200)
	crashesAreSignals()
	os.Exit(run(ctx, os.Args[1:], systemConsole()))
}

// The exit statuses. The first three are those of audit.Verdict.
const (
	statusGood = iota
	statusCheck
	statusReshoot
	statusNotAudited
)

const statusHelp = `Exit status: 0 good, 1 check, 2 reshoot, 3 could not audit.`

// status is the error of a command that did its work and has reported all there is
// to report; it only carries the exit status.
type status int

func (s status) Error() string { return fmt.Sprintf("exit status %d", int(s)) }

// usageError is a mistake on the command line.
type usageError struct {
	err     error
	command string // whose help explains
}

func (e *usageError) Error() string { return e.err.Error() }

// run runs the command line and returns the exit status.
//
// Output goes to two places: results to standard output, everything else
// to standard error, as "prestrike: " and a sentence without capital or full
// stop, with what to do behind a colon.
func run(ctx context.Context, args []string, c *console) (code int) {
	defer func() {
		if v := recover(); v != nil {
			code = c.crashed(v)
		}
		c.leave(code)
	}()
	args, more := c.begin(args)
	if !more {
		return statusGood
	}
	root := newRoot(c)
	root.SetArgs(byFolder(root, args, c.icon))
	root.SetOut(c.out)
	root.SetErr(c.err)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return statusGood
	}
	if s, ok := errors.AsType[status](err); ok {
		return int(s)
	}
	if errors.Is(err, context.Canceled) {
		c.remark("stopped before the end: nothing was written")
		return statusNotAudited
	}
	for _, e := range parts(err) {
		c.remark("%s", e)
	}
	if u, ok := errors.AsType[*usageError](err); ok {
		fmt.Fprintf(c.err, "Write \"%s --help\" to see how it is used.\n", u.command)
	}
	return statusNotAudited
}

// parts returns the errors that were joined to one, or the one.
func parts(err error) []error {
	if joined, ok := err.(interface{ Unwrap() []error }); ok {
		return joined.Unwrap()
	}
	return []error{err}
}

// atMostOne refuses a command line with more than one of what it names.
func atMostOne(what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) > 1 {
			return &usageError{errors.New("name one " + what + " at most"), cmd.CommandPath()}
		}
		return nil
	}
}

func newRoot(c *console) *cobra.Command {
	root := &cobra.Command{
		Use:   "prestrike",
		Short: "Audit the frames of a shoot before the set is taken down",
		Long: `prestrike reads the frames of a shoot and finds the focus sequences, brackets,
time-lapses and bursts in them. It reports what must be shot again while the subject is
still there. Originals are only read, never changed.`,
		Example: `  prestrike report /media/card          audit a card
  prestrike /media/card                 the same
  prestrike report /media/card --open   the same, as a page with pictures
  prestrike watch /tethered             follow a folder while it fills
  prestrike demo tryout                 write a made-up job to try it on`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return nil
			}
			return noCommandOrFolder(cmd, args[0])
		},
		RunE:                       func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
		Version:                    version(),
		SuggestionsMinimumDistance: 2,
		SilenceUsage:               true,
		SilenceErrors:              true,
	}
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		return &usageError{plainFlagError(flagMistake(cmd, err)), cmd.CommandPath()}
	})
	root.PersistentPreRunE = func(cmd *cobra.Command, _ []string) error { return emptyName(cmd) }
	root.PersistentFlags().BoolVar(&c.plain, "no-color", c.plain, "no colours, as with NO_COLOR set")
	root.PersistentFlags().Lookup("no-color").DefValue = "false" // NO_COLOR is no default of the program
	root.AddGroup(groups...)
	addCommands(root, groupBefore, newPlan(c), newSlate(c))
	addCommands(root, groupDuring, newWatch(c), newBoard(c), newReport(c))
	addCommands(root, groupAfter, newList(c), newCopies(c), newAccept(c), newFrames(c))
	addCommands(root, groupOther, newRules(c), newConfig(c), newDemo(c), newCompletion(root), newManual(root))
	help := newHelp(root)
	help.GroupID = groupOther
	root.SetHelpCommand(help)
	root.SetHelpFunc(helpFunc(c))
	explainHelp(root, "explain the program")
	root.InitDefaultVersionFlag()
	root.Flags().Lookup("version").Usage = "name the version"
	return root
}

// emptyName refuses a flag whose name of a file or of something else is empty: it would
// count as one that was left out.
func emptyName(cmd *cobra.Command) (err error) {
	cmd.Flags().Visit(func(f *pflag.Flag) {
		if f.Value.Type() == "string" && strings.TrimSpace(f.Value.String()) == "" {
			what, _ := pflag.UnquoteUsage(f)
			err = &usageError{fmt.Errorf("--%s: the %s is empty: name one, or leave --%s out", f.Name, what, f.Name), cmd.CommandPath()}
		}
	})
	return err
}

// plainFlagError names the flag before the value that it refuses.
func plainFlagError(err error) error {
	wrong, ok := errors.AsType[*pflag.InvalidValueError](err)
	if !ok {
		return err
	}
	flag := "--" + wrong.GetFlag().Name
	if _, ok := errors.AsType[*values.Error](err); ok { // names what was read
		return fmt.Errorf("%s: %w", flag, wrong.Unwrap())
	}
	if wrong.GetFlag().Value.Type() == "bool" {
		return fmt.Errorf("%s: cannot read %q: write %s alone, or leave it out", flag, wrong.GetValue(), flag)
	}
	return fmt.Errorf("%s: cannot read %q: %w", flag, wrong.GetValue(), wrong.Unwrap())
}

// forExample is what may be named on a command line.
var forExample = map[string]string{"folder": ", such as . for the folder you are in", "file": ", such as BX1_0001.JPG"}

// atLeastOne refuses a command line without arguments, and reports what to name.
func atLeastOne(what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) == 0 {
			return &usageError{errors.New("name a " + what + forExample[what]), cmd.CommandPath()}
		}
		if slices.Contains(args, "") {
			return &usageError{errors.New("the name of a " + what + " is empty: name one" + forExample[what]), cmd.CommandPath()}
		}
		return nil
	}
}

// choice is a flag that takes one of a few words.
type choice struct {
	value *string
	words []cobra.Completion // "word\tdescription"
}

// addChoice adds the flag to the command, with its completion.
func addChoice(cmd *cobra.Command, value *string, name, usage string, words ...cobra.Completion) {
	*value, _, _ = strings.Cut(words[0], "\t")
	cmd.Flags().Var(&choice{value, words}, name, usage)
	// The error is for flags that do not exist.
	_ = cmd.RegisterFlagCompletionFunc(name, cobra.FixedCompletions(words, cobra.ShellCompDirectiveNoFileComp))
}

func (c *choice) String() string {
	if c.value == nil {
		return ""
	}
	return *c.value
}

// Type is the name of the value in help texts where the usage quotes none.
func (c *choice) Type() string { return "WORD" }

// list names the words: "table, json or csv".
func (c *choice) list() string {
	var names []string
	for _, w := range c.words {
		word, _, _ := strings.Cut(w, "\t")
		names = append(names, word)
	}
	last := len(names) - 1
	return strings.Join(names[:last], ", ") + " or " + names[last]
}

func (c *choice) Set(s string) error {
	for _, w := range c.words {
		if word, _, _ := strings.Cut(w, "\t"); strings.EqualFold(word, strings.TrimSpace(s)) {
			*c.value = word
			return nil
		}
	}
	return fmt.Errorf("write %s", c.list())
}

// tableOrJSON are the forms of a result that is no report.
var tableOrJSON = []cobra.Completion{"table\ta table, for people", "json\teverything, for programs"}

// reportForms are the forms of a report.
func reportForms() []cobra.Completion {
	var forms []cobra.Completion
	for _, f := range report.Forms() {
		forms = append(forms, cobra.CompletionWithDesc(f.Name, f.Doc))
	}
	return forms
}

// output is the flags that all commands with a result have.
type output struct {
	format    string
	file      string
	overwrite bool
	quiet     bool
}

// addTo adds the flags to the command, whose result has these forms: a word with a line of
// help each.
func (o *output) addTo(cmd *cobra.Command, forms ...cobra.Completion) {
	addChoice(cmd, &o.format, "format", "form of the result", forms...)
	cmd.Flags().StringVarP(&o.file, "output", "o", "", "write the result to `FILE`, whole or not at all, instead of the screen")
	cmd.Flags().BoolVar(&o.overwrite, "overwrite", false, "with -o, replace a file that is no earlier result; never a frame")
	cmd.Flags().BoolVarP(&o.quiet, "quiet", "q", false, "no progress and no remarks; of the table only what must be done")
}
