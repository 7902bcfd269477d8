package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strings"

	"prestrike/audit"
	"prestrike/audit/config"
	"prestrike/audit/report"
	"prestrike/audit/shoot"
	"prestrike/audit/words"

	"github.com/spf13/cobra"
)

const acceptLong = `Accept declares that what a rule found in a sequence is meant. It adds an entry to the
prestrike.toml of the folder, or of a folder above it. All other entries stay as they
are. The finding remains in the report, with your reason, and no longer counts. To take
it back, remove the entry.

Name the sequence as in the report, such as 1.12, or a whole session, such as 1. Name
the rule as prestrike report --why shows it, in brackets after the finding.

Exit status: 0 written, 3 when nothing was written.`

const acceptExamples = `  prestrike accept /media/card 1.12 iso-drift "the light fades on purpose"`

func newAccept(c *console) *cobra.Command {
	var f shootFlags
	cmd := &cobra.Command{
		Use:     "accept FOLDER SEQUENCE RULE REASON",
		Short:   "Declare that a finding is meant",
		Long:    acceptLong,
		Example: acceptExamples,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 4 {
				return &usageError{errors.New("name the folder, the sequence, the rule and the reason, in quotation marks"), cmd.CommandPath()}
			}
			return nil
		},
		ValidArgsFunction: func(_ *cobra.Command, args []string, _ string) ([]cobra.Completion, cobra.ShellCompDirective) {
			switch len(args) {
			case 0:
				return nil, cobra.ShellCompDirectiveFilterDirs
			case 2:
				var names []cobra.Completion
				for _, r := range ruleList() {
					names = append(names, cobra.CompletionWithDesc(r.ID, r.Title))
				}
				return names, cobra.ShellCompDirectiveNoFileComp
			}
			return nil, cobra.ShellCompDirectiveNoFileComp
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return runAccept(cmd, c, &f, args[0], args[1], args[2], strings.TrimSpace(args[3]))
		},
	}
	f.addTo(cmd, c)
	cmd.Flags().SortFlags = false
	return cmd
}

func runAccept(cmd *cobra.Command, c *console, f *shootFlags, folder, id, rule, reason string) error {
	file, err := f.fileToWrite(folder)
	if err != nil {
		return err
	}
	after := ""
	if f.config != "" {
		after = fmt.Sprintf(" Report with --config %s.", f.config)
		if _, none := os.Lstat(f.config); errors.Is(none, fs.ErrNotExist) {
			f.config = "" // it is made, and the file that holds until then is read
		}
	}
	opt, _, err := f.options(cmd, []string{folder})
	if err != nil {
		return err
	}
	if findRule(opt.Rules, rule) == nil {
		return noRule(cmd, opt.Rules, rule)
	}
	if reason == "" {
		return &usageError{errors.New("the reason is empty: it is shown in the report"), cmd.CommandPath()}
	}
	result, err := judgeFolder(cmd, c, folder, opt)
	if err != nil {
		return err
	}
	frame, err := acceptable(result, id, rule)
	if err != nil {
		return err
	}
	meant := audit.Acceptance{Rule: rule, Frame: nameIn(result, frame), Reason: reason}
	if err := config.Accept(file, opt.Rules, meant); err != nil {
		if mistake, ok := errors.AsType[*config.Error](err); ok {
			return mistake
		}
		return notWritten(file, err, "name another file with --config", "allow writing to it, or name another file with --config")
	}
	return c.print(fmt.Appendf(nil, "Wrote to %s: %s in %s is meant.%s\n", report.Visible(file), rule, id, report.Visible(after)))
}

// acceptable returns the frame by which a finding of a rule in a sequence, or in a session
// of a number, is accepted, the first of the sequence. An error is why nothing is to be
// accepted.
func acceptable(r *audit.Result, id, rule string) (*shoot.Frame, error) {
	of := func(list []*audit.Finding) (*audit.Finding, error) {
		var open []string
		accepted := false
		for _, f := range list {
			switch {
			case f.Accepted:
				accepted = accepted || f.Rule == rule
			case f.Closed:
			case f.Rule == rule:
				return f, nil
			case !slices.Contains(open, f.Rule):
				open = append(open, f.Rule)
			}
		}
		switch {
		case accepted:
			return nil, fmt.Errorf("%s in %s is accepted already", rule, id)
		case len(open) == 0:
			return nil, fmt.Errorf("nothing is open in %s: prestrike report shows what is", id)
		}
		return nil, fmt.Errorf("%s has no open finding of %s: those that are open are of %s", id, rule, words.List(open, 6))
	}
	for _, session := range r.Sessions {
		if id == session.ID {
			f, err := of(session.Findings)
			switch {
			case err != nil:
				return nil, err
			case len(f.Frames) == 0: // an acceptance without a frame holds for what is found later, too
				return nil, fmt.Errorf("%s in %s names no frame, and would be accepted wherever it is found: "+
					"change the plan in prestrike.toml. Write optional = true in its [[view]], or another planned number", rule, id)
			}
			return f.Frames[0], nil
		}
		for _, q := range session.Sequences {
			if q.ID == id {
				_, err := of(q.Findings)
				return q.Frames[0], err
			}
		}
	}
	return nil, fmt.Errorf("there is no sequence %q: prestrike report lists them", id)
}

// nameIn names a frame by its file, and by its path where others have that name.
func nameIn(r *audit.Result, frame *shoot.Frame) string {
	for _, session := range r.Sessions {
		for _, q := range session.Sequences {
			for _, f := range q.Frames {
				if f != frame && f.Name() == frame.Name() {
					return frame.Path()
				}
			}
		}
	}
	return frame.Name()
}
