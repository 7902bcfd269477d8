package main

import (
	"errors"
	"fmt"
	"os"
	"regexp"
	"slices"

	"prestrike/audit"
	"prestrike/audit/pictures"
	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/exifread"
	"prestrike/rules"
	"prestrike/rules/optics"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// testRunFlags are those of prestrike plan that belong to --from.
var testRunFlags = []string{"from", "setting", "remember", "margin", "magnification", "field-width", "sensor-width", "pixels", "like", "pupil", "format"}

// A testRun is a test run with what its pictures and the command line say of it.
type testRun struct {
	sequence *audit.Reviewed
	growth   pixels.Growth
	long     float64 // analysed px of the pictures' long side
	run      optics.TestRun
	plan     *optics.TestRunPlan

	magnification float64       // 0 where not known
	step          optics.Length // of the step planned; 0 where nothing tells
	stepError     float64       // its relative standard deviation
	why           string        // no step is known
}

// runFrom plans the focus step from a test run.
func runFrom(cmd *cobra.Command, c *console, f *planFlags) error {
	var other string
	for _, name := range slices.Sorted(slices.Values(changedFlags(cmd))) {
		if !slices.Contains(testRunFlags, name) {
			other = name
		}
	}
	if other != "" {
		return &usageError{fmt.Errorf("--%s does not go with --from: the test run gives what it needs", other), cmd.CommandPath()}
	}
	if err := notZero(cmd, "pupil", f.task.PupilMagnification); err != nil {
		return err
	}
	if cmd.Flags().Changed("setting") && f.setting == 0 {
		return &usageError{outOfRange(cmd, "setting", "1 or more"), cmd.CommandPath()}
	}
	if f.remember && f.setting == 0 {
		return &usageError{errors.New("--remember needs the focus step that the test run was made with: give --setting"), cmd.CommandPath()}
	}
	folder, id := splitFrom(f.from)
	opt, _, err := (&shootFlags{}).options(cmd, []string{folder})
	if err != nil {
		return err
	}
	opt.Pixels = audit.PixelsOn // nothing is told without
	result, err := judgeFolder(cmd, c, folder, opt)
	if err != nil {
		return err
	}
	t := &testRun{}
	if t.sequence, err = testSequence(result, id); err != nil {
		return err
	}
	if err := t.measure(cmd, opt, f); err != nil {
		return err
	}
	t.millimetres(cmd, opt, f)
	if err := writePlan(c, f.format, t.json(), t.write); err != nil || !f.remember {
		return err
	}
	return t.remember(c, folder)
}

// changedFlags returns the names of the flags that are given.
func changedFlags(cmd *cobra.Command) (names []string) {
	cmd.Flags().Visit(func(f *pflag.Flag) { names = append(names, f.Name) })
	return names
}

// sequenceIn is a folder with the ID of a sequence behind a number sign.
var sequenceIn = regexp.MustCompile(`(?s)^(.+)#(\d+\.\d+)$`)

// splitFrom splits a folder from the sequence named behind it. A folder with such a name
// is a folder.
func splitFrom(from string) (folder, id string) {
	m := sequenceIn.FindStringSubmatch(from)
	if _, err := os.Lstat(from); err == nil || m == nil {
		return from, ""
	}
	return m[1], m[2]
}

// fewestTestFrames is how many frames a test run has at least.
const fewestTestFrames = 8

// testSequence returns the sequence of an ID, or the only one that can be a test run.
func testSequence(r *audit.Result, id string) (*audit.Reviewed, error) {
	var runs []*audit.Reviewed
	var names []string
	for _, session := range r.Sessions {
		for _, q := range session.Sequences {
			if q.ID == id {
				return q, nil
			}
			if (q.Kind == shoot.Focus || q.Kind == shoot.Series) && len(q.Frames) >= fewestTestFrames {
				runs, names = append(runs, q), append(names, q.ID)
			}
		}
	}
	switch {
	case id != "":
		return nil, fmt.Errorf("there is no sequence %q: prestrike report lists them", id)
	case len(runs) == 0:
		return nil, fmt.Errorf("no focus sequence has %d frames or more: make a test run through the subject, of %d frames at any focus step", fewestTestFrames, fewestTestFrames)
	case len(runs) > 1:
		return nil, fmt.Errorf("there are several focus sequences, %s: name one, as in FOLDER#%s", words.List(names, 6), names[len(names)-1])
	}
	return runs[0], nil
}

// measure measures the growth of blur and works out the plan.
func (t *testRun) measure(cmd *cobra.Command, opt *audit.Options, f *planFlags) error {
	run, err := pictures.TestRun(cmd.Context(), t.sequence.Sequence)
	if err != nil {
		return err
	}
	th := pixels.DefaultThresholds()
	j := run.Judge(th, nil)
	t.growth = run.Growth(th, j)
	if t.growth.Answer != pixels.Found {
		return fmt.Errorf("sequence %s does not show the focus step: %s", t.sequence.ID, t.growth.Reason)
	}
	t.long = float64(max(j.Width, j.Height)) / float64(j.Factor)
	const long = 1600 // the long side that limits of blur are given for
	scale := long / t.long
	t.run = optics.TestRun{
		Growth: t.growth.Blur * scale, Low: t.growth.Low * scale, High: t.growth.High * scale,
		Allowed: rules.GrowthAllowed(opt), First: t.growth.First, Last: t.growth.Last, Margin: f.task.Margin, Setting: f.setting,
	}
	t.plan, err = t.run.Plan()
	if err != nil {
		return planError(cmd, err)
	}
	return nil
}

// millimetres works out what the planned step is on the subject's side, as far as the
// magnification and the rest are known.
func (t *testRun) millimetres(cmd *cobra.Command, opt *audit.Options, f *planFlags) {
	q := t.sequence
	meta := q.Frames[0].Meta()
	t.magnification = opt.Magnification
	width := opt.FieldWidth
	if f.task.Magnification > 0 {
		t.magnification, width = f.task.Magnification, 0
	} else if f.task.FieldWidth > 0 {
		t.magnification, width = 0, f.task.FieldWidth.Millimetres()
	}
	if t.magnification == 0 && width == 0 {
		t.why = "give --magnification or --field-width to know it in millimetres"
		return
	}
	sensor := f.sensor
	if sensor.like == "" && !cmd.Flags().Changed("sensor-width") {
		sensor.like = q.Frames[0].Files[0].Abs
	}
	found, err := sensor.find(cmd)
	if err != nil {
		t.why = "in millimetres it is not known: " + err.Error()
		return
	}
	if t.magnification == 0 {
		t.magnification = optics.MagnificationFromField(found.Width, optics.Length(width)*optics.Millimetre)
	}
	n, focal := exifread.Positive(q.Settings.FNumber), optics.Length(exifread.Positive(meta.FocalLength))*optics.Millimetre
	if n == 0 || focal == 0 {
		t.why = "in millimetres it is not known: the frames record no f-number or no focal length"
		return
	}
	p := f.task.PupilMagnification
	blur := found.Width * optics.Length(t.growth.Blur*t.plan.Growth/t.run.Growth/t.long)
	step, k := optics.StepFromBlur(blur, optics.WorkingFNumber(n, t.magnification, p), t.magnification, p, focal)
	const useless = 0.2
	if !(k < useless) {
		t.why = "in millimetres it is not known: at this distance the depth of field is too uneven"
		return
	}
	const quantile = 1.645 // of a normal distribution: nine times in ten within
	off := (t.run.High - t.run.Low) / (2 * quantile * t.run.Growth)
	t.step, t.stepError = step, optics.StepError(off, t.magnification, p)+k
}

// open returns where the subject goes on beyond the test run.
func (t *testRun) open() []string {
	frames := t.sequence.Frames
	var ends []string
	if t.growth.FirstOpen {
		ends = append(ends, "before frame "+frames[0].Label())
	}
	if t.growth.LastOpen {
		ends = append(ends, "behind frame "+frames[len(frames)-1].Label())
	}
	return ends
}
