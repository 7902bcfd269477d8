package main

import (
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"prestrike/audit"
	"prestrike/audit/config"
	"prestrike/audit/report"
	"prestrike/audit/shoot"
	"prestrike/audit/values"
	"prestrike/audit/words"

	"github.com/spf13/cobra"
)

const listLong = `List names the files of the sequences in folders, one a line, for the next program. One
sequence follows the other, each in the order of focus or time. The folders are audited
as report does.

Copies, pictures that the camera merged and sequences that were retaken are left out. So
are sequences at reshoot, and single frames: these are mostly test frames and markers.
What is left out is named on standard error. --all lists retaken sequences and those at
reshoot, too. --kind single lists single frames. --sequence and --view list what they
name. A frame of the shot list is no test frame.

With --into DIR, each sequence gets a new folder in DIR, with links to its files and
never with copies. A text file in DIR explains the folders. Nothing that is there is
written over. Links are numbered where their names alone would not keep the order. Where
the file system of DIR knows no links, each folder gets a list of its files. A program
that changes a file through a link changes the frame itself.

Exit status: 0 listed, 3 when nothing was listed.`

const listExamples = `  prestrike list /media/card --sequence 1.2
  prestrike list /media/card --view "front, raking light"
  prestrike list . --kind focus --verdict good --files raw
  prestrike list . --kind focus -0 | xargs -0 ls -l
  prestrike list /media/card --into stacks          a folder of links for each sequence`

// listFlags is the command line of prestrike list.
type listFlags struct {
	shoot     shootFlags
	sequences []string
	views     []string
	kind      string
	verdict   string
	files     string
	into      string
	links     string
	all       bool
	null      bool
	relative  bool
	quiet     bool
}

// anything is the word of a choice that limits nothing.
const anything = "any"

func newList(c *console) *cobra.Command {
	var f listFlags
	cmd := &cobra.Command{
		Use:     "list FOLDER...",
		Short:   "List the files of each sequence, or link them into folders, for the next program",
		Long:    listLong,
		Example: listExamples,
		Args:    atLeastOne("folder"),
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective) {
			return nil, cobra.ShellCompDirectiveFilterDirs
		},
		RunE: func(cmd *cobra.Command, folders []string) error { return runList(cmd, c, &f, folders) },
	}
	flags := cmd.Flags()
	addList(flags, values.SequenceID, &f.sequences, "sequence", "only the sequence of this `ID`, as in the report; may be repeated")
	flags.StringArrayVar(&f.views, "view", nil, "only the view of this `NAME`, as in the shot list; may be repeated")
	addChoice(cmd, &f.kind, "kind", "only sequences of this `KIND`", kindWords()...)
	addChoice(cmd, &f.verdict, "verdict", "only sequences of this verdict", anything+"\tall but reshoot", "good", "check", "reshoot")
	addChoice(cmd, &f.files, "files", "which files of each frame", "all\traw files and pictures", "raw\traw files only", "jpeg\tJPEG and other pictures that are not raw")
	flags.BoolVar(&f.all, "all", false, "sequences at reshoot and those that were retaken, too")
	flags.BoolVarP(&f.null, "null", "0", false, "end each name with a zero byte in place of a line end")
	flags.BoolVar(&f.relative, "relative", false, "paths from the folder you are in, in place of absolute ones")
	flags.StringVar(&f.into, "into", "", "make a folder of links for each sequence in `DIR`")
	addChoice(cmd, &f.links, "links", "what the folders hold", linksSymbolic+"\tsymbolic links", linksHard+"\thard links, on the same file system only", linksNone+"\ta text file with the names")
	f.shoot.addTo(cmd, c)
	flags.BoolVarP(&f.quiet, "quiet", "q", false, "no progress and no remarks")
	flags.SortFlags = false
	return cmd
}

// kindWords are the words of --kind; the first limits nothing.
func kindWords() []string {
	out := []string{anything}
	for k := shoot.Single; k <= shoot.Series; k++ {
		out = append(out, k.String())
	}
	return out
}

func runList(cmd *cobra.Command, c *console, f *listFlags, folders []string) error {
	if f.into != "" && (f.null || f.relative) {
		return &usageError{errors.New("-0 and --relative are for lists: leave them out with --into"), cmd.CommandPath()}
	}
	if f.into == "" && cmd.Flags().Changed("links") {
		return &usageError{errors.New("--links needs --into DIR"), cmd.CommandPath()}
	}
	opt, _, err := f.shoot.options(cmd, folders)
	if err != nil {
		return err
	}
	collection, err := gather(cmd, c, f.quiet, folders)
	if err != nil {
		return err
	}
	if n := len(collection.Unfinished); n > 0 {
		c.remark("%s not complete yet, and not listed: %s", words.Count(n, "copy is", "copies are"), words.List(collection.Unfinished, 3))
	}
	defer limitMemory(len(collection.Files), opt.Pixels != audit.PixelsOff)()
	measurePictures(c, f.quiet, false, folders, opt)
	result, err := audit.Judge(cmd.Context(), collection, opt)
	if err := cmd.Context().Err(); err != nil {
		return err
	}
	if err != nil {
		return fmt.Errorf("not everything was judged, so that nothing is listed: %w", err)
	}
	picked, err := f.pick(result)
	if err != nil {
		return err
	}
	if f.into != "" {
		return f.writeFolders(c, picked, folders)
	}
	out, err := f.lines(picked, c.outTerminal)
	if err != nil {
		return err
	}
	if err := c.print(out); err != nil {
		return err
	}
	if !f.quiet {
		for _, l := range picked.leftOut() {
			c.remark("%s", l)
		}
	}
	return nil
}

// A pickedList is what is handed on of an audit, and what is not.
type pickedList struct {
	sequences []pickedSequence
	reshoot   []string // sequences left out, each with the first thing to shoot it again for
	retaken   []string // sequences left out, each with its retake
	single    int      // frames left out that stand alone
	lacking   []string // what sequences lack of the files asked for
}

// A pickedSequence is a sequence with the files handed on.
type pickedSequence struct {
	*audit.Reviewed
	files []*shoot.File // in the order of focus or time
}

// pick chooses the sequences and files. An error is why there are none.
func (f *listFlags) pick(r *audit.Result) (*pickedList, error) {
	p := &pickedList{}
	known := map[string]bool{}
	for _, session := range r.Sessions {
		for _, q := range session.Sequences {
			known[q.ID] = true
			if f.wants(q, p) {
				p.add(q, f.files)
			}
		}
	}
	for _, name := range f.views {
		at := slices.IndexFunc(r.Views, func(v *audit.ShotView) bool { return strings.EqualFold(v.Name, name) })
		switch {
		case at < 0:
			return nil, noView(r, name)
		case r.Views[at].Sequence == nil:
			return nil, fmt.Errorf("no sequence shows view %q: prestrike report names what is missing", name)
		}
	}
	for _, id := range f.sequences {
		if !known[id] {
			return nil, fmt.Errorf("there is no sequence %q: prestrike report lists them", id)
		}
	}
	if len(p.sequences) == 0 {
		why := "no sequence is of the kind and verdict asked for"
		if left := slices.Concat(p.leftOut(), p.lacking); len(left) > 0 {
			why = strings.Join(left, "; ")
		}
		return nil, errors.New("nothing to list: " + why)
	}
	return p, nil
}

// wants reports whether a sequence is asked for, and keeps what is left out all the same.
func (f *listFlags) wants(q *audit.Reviewed, p *pickedList) bool {
	named := slices.Contains(f.sequences, q.ID) || slices.ContainsFunc(f.views, func(name string) bool { return strings.EqualFold(name, q.View) })
	retaken := q.SupersededBy != nil
	switch {
	case q.Patches != nil && !named: // goes with the one it closes
		return false
	case len(f.sequences)+len(f.views) > 0 && !named,
		f.kind != anything && f.kind != q.Kind.String(),
		f.verdict != anything && f.verdict != q.Verdict.String():
		return false
	case q.Kind == shoot.Single && !named && q.View == "" && f.kind == anything:
		p.single += len(q.Frames)
		return false
	case retaken && !f.all:
		p.retaken = append(p.retaken, fmt.Sprintf("%s is left out: %s is its retake", q.ID, q.SupersededBy.ID))
		return false
	case q.Verdict == audit.VerdictReshoot && !retaken && !f.all && f.verdict != audit.VerdictReshoot.String():
		p.reshoot = append(p.reshoot, q.ID+" is left out, as it must be shot again: "+firstReason(q))
		return false
	}
	return true
}

// firstReason returns the first thing found for which a sequence is to be shot again.
func firstReason(q *audit.Reviewed) string {
	for _, f := range q.Findings {
		if f.Severity == audit.Reshoot && !f.Accepted && !f.Closed {
			return f.Message
		}
	}
	return ""
}

// add takes the files of a sequence that are asked for.
func (p *pickedList) add(q *audit.Reviewed, which string) {
	picked := pickedSequence{Reviewed: q}
	lacking := 0
	frames := q.FocusOrder()
	for _, patch := range q.PatchedBy {
		frames = slices.Concat(frames, patch.FocusOrder())
	}
	for _, frame := range frames {
		before := len(picked.files)
		for _, file := range frame.Files {
			if which == "all" || file.Raw() == (which == "raw") {
				picked.files = append(picked.files, file)
			}
		}
		if len(picked.files) == before {
			lacking++
		}
	}
	if lacking > 0 {
		what := "picture beside the raw file"
		if which == "raw" {
			what = "raw file"
		}
		p.lacking = append(p.lacking, fmt.Sprintf("%s of %s %s no %s", words.Count(lacking, "frame", "frames"), q.ID, words.Plural(lacking, "has", "have"), what))
	}
	if len(picked.files) > 0 {
		p.sequences = append(p.sequences, picked)
	}
}

// leftOut writes what is not handed on, a sentence each without full stop.
func (p *pickedList) leftOut() []string {
	out := slices.Concat(p.retaken, p.reshoot)
	if p.single > 0 {
		out = append(out, fmt.Sprintf("%s %s left out: --kind single lists %s", words.Count(p.single, "single frame", "single frames"),
			words.Plural(p.single, "is", "are"), words.Plural(p.single, "it", "them")))
	}
	if len(p.sequences) > 0 {
		out = append(out, p.lacking...)
	}
	return out
}

// lines writes the names of the files. On a terminal what would act on it is escaped.
func (f *listFlags) lines(p *pickedList, terminal bool) ([]byte, error) {
	var out []byte
	for _, q := range p.sequences {
		for _, file := range q.files {
			name, err := f.path(file)
			if err != nil {
				return nil, err
			}
			switch {
			case f.null:
				out = append(append(out, name...), 0)
				continue
			case strings.ContainsAny(name, "\n\r"):
				return nil, fmt.Errorf("the name %s holds a line end, and cannot be in a list of lines: add -0, which ends each name with a zero byte", report.Visible(name))
			case terminal:
				name = report.Visible(name)
			}
			out = append(append(out, name...), '\n')
		}
	}
	return out, nil
}

// path returns where a file is, from the root or from the folder that the user is in.
func (f *listFlags) path(file *shoot.File) (string, error) {
	abs, err := filepath.Abs(file.Abs)
	if err != nil {
		return "", fmt.Errorf("which folder this is cannot be found out: %w: name the folder by its whole path", systemWords(err))
	}
	if !f.relative {
		return abs, nil
	}
	here, err := filepath.Abs(".")
	if err != nil {
		return "", fmt.Errorf("which folder this is cannot be found out: %w: leave out --relative", systemWords(err))
	}
	if rel, err := filepath.Rel(here, abs); err == nil {
		return rel, nil
	}
	return abs, nil // on another drive
}

// noView reports that the shot list has no view of a name, and which is near.
func noView(r *audit.Result, name string) error {
	var names []string
	for _, v := range r.Views {
		names = append(names, v.Name)
	}
	if near := config.Nearest(name, names); near != "" {
		return fmt.Errorf("there is no view %q: did you mean %q?", name, near)
	}
	return fmt.Errorf("there is no view %q: name one of the [[view]] entries of prestrike.toml", name)
}
