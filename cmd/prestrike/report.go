package main

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"prestrike/audit"
	"prestrike/audit/report"
	"prestrike/audit/values"
	"prestrike/rules"

	"github.com/spf13/cobra"
)

const reportLong = `Report reads every picture file in the folders and all folders inside them, and
prints one table per session. It has a row for each sequence, and below it what was
found, the most urgent last. The very last line is what to do now.

Verdicts:
  good     nothing found
  check    inspect it before you go on
  reshoot  shoot it again while the subject is here
  retaken  it was faulty, and the sequence named below is its retake: same body, lens and
           settings, soon after, and its pictures show the same view

The pictures themselves are inspected, too: where the sharp zone of a focus sequence
begins and ends, and whether something moved or went dark. The results are kept in the
user's cache folder, and may be deleted at any time.

--format html writes a page with pictures, and --open opens it in the browser. The page
shows what to do now, and for each finding the picture that decides it. The page is one
file and needs no network.

A dash in the table means that the files do not record a value. What a rule could not
judge is listed as not judged. Not judged is not good. Where no more than a note could
have come of it, only --why lists it.

` + statusHelp + `
With --fail-on reshoot, check ends with 0; with --fail-on never, so does reshoot.`

const reportExamples = `  prestrike report /media/card
  prestrike report . --planned-frames 50     focus sequences should have 50 frames
  prestrike report monday tuesday            two cards or folders as one shoot
  prestrike report . --since 14:00           without what began before 14:00 of the last day
  prestrike report . --open                  a page with pictures, in the browser
  prestrike report . --quiet                 only what must be done
  prestrike report . --format json -o report.json
  prestrike report . --format csv -o frames.csv     a row per frame, for a spreadsheet`

// reportFlags is the command line of prestrike report.
type reportFlags struct {
	output
	failOn  string
	shoot   shootFlags
	since   values.Moment
	now     values.Moment
	noCache bool
	why     bool
	open    bool
	show    string // how many pictures a page has
	final   bool
}

func newReport(c *console) *cobra.Command {
	var f reportFlags
	cmd := &cobra.Command{
		Use:     "report FOLDER...",
		Short:   "Audit all frames in folders and report what must be shot again",
		Long:    reportLong,
		Example: reportExamples,
		Args:    atLeastOne("folder"),
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective) {
			return nil, cobra.ShellCompDirectiveFilterDirs
		},
		RunE: func(cmd *cobra.Command, folders []string) error {
			return runReport(cmd, c, &f, folders)
		},
	}
	f.addTo(cmd, reportForms()...)
	addChoice(cmd, &f.failOn, "fail-on", "the verdict from which on the exit status is not 0",
		"check\tcheck ends with 1, reshoot with 2", "reshoot\tonly reshoot ends with 2", "never\tboth end with 0")
	f.shoot.addTo(cmd, c)
	addValue(cmd.Flags(), values.Since, &f.since, "since", "judge only sequences that begin after `TIME`, such as 14:00, \"2026-11-26 14:00\" or 2h before the last frame")
	addValue(cmd.Flags(), values.Now, &f.now, "now", "audit as at this `TIME`, such as 15:20 on the day of the last frame: for the time left until a courier comes")
	cmd.Flags().BoolVar(&f.noCache, "no-cache", false, "inspect all pictures again, and cache no results")
	cmd.Flags().BoolVar(&f.why, "why", false, "name the rule of each finding, and list all that was not judged")
	addChoice(cmd, &f.show, "pictures", "with --format html, the pictures on the page",
		"few\tthose of findings, and some of each sequence", "all\tevery frame beside", "none\tno pictures")
	cmd.Flags().BoolVar(&f.open, "open", false, "write the page to the cache folder and open it in the browser")
	cmd.Flags().BoolVar(&f.final, "final", false, "the shoot is over: views of the shot list that are missing must be shot now")
	cmd.Flags().SortFlags = false
	return cmd
}

// exitStatus returns the exit status for a verdict.
func (f *reportFlags) exitStatus(v audit.Verdict) status {
	switch {
	case f.failOn == "never", f.failOn == "reshoot" && v < audit.VerdictReshoot:
		return statusGood
	default:
		return status(v)
	}
}

// formNamed is the form that the ending of a file's name means.
var formNamed = map[string]string{".html": "html", ".htm": "html", ".json": "json", ".csv": "csv", ".md": "markdown"}

func runReport(cmd *cobra.Command, c *console, f *reportFlags, folders []string) error {
	if err := f.asPage(cmd, c, folders); err != nil {
		return err
	}
	form, err := report.ParseForm(f.format)
	if err != nil {
		return err
	}
	opt, _, err := f.shoot.options(cmd, folders)
	if err != nil {
		return err
	}
	f.declare(opt, form)
	target, err := openTarget(c, &f.output, folders)
	if err != nil {
		return err
	}

	collection, err := gather(cmd, c, f.quiet, folders)
	if err != nil {
		return err
	}
	defer limitMemory(len(collection.Files), opt.Pixels != audit.PixelsOff || f.hasPictures())()
	var read []string
	for _, file := range collection.Files {
		read = append(read, file.Abs)
	}
	if err := target.protect(read); err != nil {
		return err
	}

	if p := measurePictures(c, f.quiet, f.noCache, folders, opt); p != nil {
		p.Once = true
	}
	result, ruleErr := audit.Judge(cmd.Context(), collection, opt)
	if err := cmd.Context().Err(); err != nil {
		return err
	}
	if ruleErr != nil {
		for _, e := range parts(ruleErr) {
			c.remark("not everything was judged: %s", e)
		}
	}

	if !result.Since.IsZero() && len(result.Sessions) == 0 {
		return fmt.Errorf("no sequence begins after %s: --since leaves out all %d frames; name an earlier time, or its day too, as in --since %q",
			result.Since.Format("2 January 2006, 15:04"), result.Files.Earlier, result.Since.AddDate(0, 0, -1).Format("2006-01-02 15:04"))
	}
	err = target.writeFrom(func(w io.Writer) error { return f.write(cmd.Context(), c, w, form, result, folders) })
	if err != nil {
		return err
	}
	f.openPage(c, target.path)
	if named := formNamed[strings.ToLower(filepath.Ext(f.file))]; named != "" && named != form.Name && !cmd.Flags().Changed("format") && !f.quiet {
		c.remark("%s holds the report as text: add --format %s if it is to be what its name means", f.file, named)
	}
	if target.path != "" && !f.quiet {
		var last bytes.Buffer
		report.WriteClosing(&last, result, c.errColumns(), false)
		c.say(last.Bytes())
	}
	if s := f.exitStatus(result.Verdict); s != statusGood {
		return s
	}
	if ruleErr != nil {
		return status(statusNotAudited)
	}
	return nil
}

// declare sets what the flags of a report alone declare.
func (f *reportFlags) declare(opt *audit.Options, form *report.Form) {
	opt.Final = f.final
	if form.Frames {
		opt.WorkingFNumbers = rules.WorkingFNumbers
	}
	if f.since.Given() {
		opt.Since = f.since.At
	}
	if f.now.Given() {
		opt.Now = f.now.At
	}
}

// write writes the report in its form.
func (f *reportFlags) write(ctx context.Context, c *console, w io.Writer, form *report.Form, result *audit.Result, folders []string) error {
	out := &report.Options{Width: c.textWidth(f.file != ""), Colour: c.outTerminal && !c.plain && f.file == "", Brief: f.quiet, Why: f.why}
	if f.hasPictures() {
		line := c.newProgress(f.quiet, "making pictures", "making pictures")
		defer line.end()
		out.Gallery, out.Pictures = newGallery(ctx, f.proofCache(c, folders), line.count()), pictureCounts[f.show]
	}
	// Where it was stopped on the way, pictures lack: then there is no page.
	return cmp.Or(form.Write(w, result, out), ctx.Err())
}
