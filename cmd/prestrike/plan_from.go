package main

import (
	"errors"
	"fmt"
	"math"
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
var testRunFlags = []string{"from", "setting", "remember", "margin", "magnification", "field-width", "working", "sensor-width", "pixels", "like", "pupil", "config", "format"}

// A testRun is a test run with what its pictures and the command line say of it.
type testRun struct {
	sequence *audit.Reviewed
	growth   pixels.Growth
	long     float64 // analysed px of the pictures' long side
	run      optics.TestRun
	plan     *optics.TestRunPlan

	fNumber  float64 // that the middle frame records; 0 where it records none
	fNumbers audit.FNumbers

	magnification float64       // 0 where not known
	step          optics.Length // of the step planned; 0 where it is not known
	ifWorking     optics.Length // the same where the f-number is the working one; 0 where it is known what it is
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
	if f.config != "" && !f.remember {
		return &usageError{errors.New("--config names the file that --remember writes to: give both"), cmd.CommandPath()}
	}
	folder, id := splitFrom(f.from)
	opt, _, err := (&shootFlags{}).options(cmd, []string{folder})
	if err != nil {
		return err
	}
	opt.Pixels = audit.PixelsOn // nothing is told without
	if m, width := f.task.Magnification, f.task.FieldWidth.Millimetres(); m > 0 || width > 0 {
		opt.Magnification, opt.FieldWidth = m, width
	}
	result, err := judgeFolder(cmd, c, folder, opt)
	if err != nil {
		return err
	}
	t := &testRun{}
	session, q, err := testSequence(result, id)
	if err != nil {
		return err
	}
	t.sequence = q
	if err := t.measure(cmd, opt, f); err != nil {
		return err
	}
	t.fNumber, t.fNumbers = rules.FocusFNumber(&audit.Review{Session: session.Session, Sequence: q.Sequence, Pictures: q.Pictures, Options: opt})
	if f.task.WorkingFNumbers {
		t.fNumbers = audit.FNumbersEffective
	}
	t.millimetres(cmd, opt, f)
	if err := writePlan(c, f.format, t.json(), t.write); err != nil || !f.remember {
		return err
	}
	return t.remember(c, folder, f.config)
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

// testSequence returns the sequence of an ID, or the only one that can be a test run, and its
// session.
func testSequence(r *audit.Result, id string) (of *audit.Session, q *audit.Reviewed, err error) {
	var names []string
	for _, session := range r.Sessions {
		for _, run := range session.Sequences {
			if run.ID == id {
				return session, run, nil
			}
			if (run.Kind == shoot.Focus || run.Kind == shoot.Series) && len(run.Frames) >= fewestTestFrames {
				of, q, names = session, run, append(names, run.ID)
			}
		}
	}
	switch {
	case id != "":
		return nil, nil, fmt.Errorf("there is no sequence %q: prestrike report lists them", id)
	case len(names) == 0:
		return nil, nil, fmt.Errorf("no focus sequence has %d frames or more: make a test run through the subject, of %d frames at any focus step", fewestTestFrames, fewestTestFrames)
	case len(names) > 1:
		return nil, nil, fmt.Errorf("there are several focus sequences, %s: name one, as in FOLDER#%s", words.List(names, 6), names[len(names)-1])
	}
	return of, q, nil
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
	n, focal := t.fNumber, optics.Length(exifread.Positive(meta.FocalLength))*optics.Millimetre
	if n == 0 || focal == 0 {
		t.why = "in millimetres it is not known: the frames record no f-number or no focal length"
		return
	}
	p := f.task.PupilMagnification
	blur := found.Width * optics.Length(t.growth.Blur*t.plan.Growth/t.run.Growth/t.long)
	ne, pupil := n, math.Inf(1) // of which it takes no account
	if t.fNumbers != audit.FNumbersEffective {
		ne, pupil = optics.WorkingFNumber(n, t.magnification, p), p
	}
	step, k := optics.StepFromBlur(blur, ne, t.magnification, p, focal)
	const useless = 0.2
	if !(k < useless) {
		t.why = "in millimetres it is not known: at this distance the depth of field is too uneven"
		return
	}
	const quantile = 1.645 // of a normal distribution: nine times in ten within
	off := (t.run.High - t.run.Low) / (2 * quantile * t.run.Growth)
	if t.fNumbers == audit.FNumbersUnknown && optics.FNumberStops(n, ne) >= optics.DriftTolerance {
		t.ifWorking = step * optics.Length(n/ne) // the step goes with the working f-number
	}
	t.step, t.stepError = step, optics.StepError(off, t.magnification, pupil)+k
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
