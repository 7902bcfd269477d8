package main

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"unicode"

	"prestrike/audit"
	"prestrike/audit/config"
	"prestrike/audit/report"
	"prestrike/audit/shoot"
	"prestrike/audit/values"
	"prestrike/rules"
	"prestrike/rules/optics"

	"github.com/spf13/cobra"
)

const planLong = `Plan computes, before the shoot, how to make a subject sharp from front to back. For
each f-number it lists the working f-number, the sharp depth, the focus step, the number
of frames, and the detail that diffraction leaves. It recommends the f-number, in third
stops, that needs the fewest frames and loses no detail, and reports whether one
stopped-down frame is enough.

The sensor comes from --sensor-width and --pixels, or from a frame of the body
with --like. The magnification is that of the nearest point, such as 1:2, or follows
from the width of what the frame shows.

F-numbers are those marked on the lens. Where the body shows the working f-number,
which rises as focus comes near, add --working. An objective of a microscope has a
numerical aperture: give --na.

Is the depth not known, or has the lens focus steps of its own? Make a test run through
the subject, 8 frames or more at any step. With --from, plan measures in the pictures of
the test run by how much blur grows from frame to frame. It reports how wide the step
may be, and how many frames are needed.

Write values as 10mm, 1cm or 0.4in, 1:2 or 0.5, 30%, 1/30 or 2m30s. Values outside
their range end with exit status 3 and a message that names the range.`

const planExamples = `  prestrike plan --depth 12mm --magnification 1:2 --sensor-width 36mm --pixels 45MP
  prestrike plan --depth 1.2cm --field-width 8cm --like BX1_0001.JPG
  prestrike plan --depth 12mm --magnification 1:1 --like BX1_0001.JPG --f-number 5.6-16 \
      --exposure 1/4 --exposure-at 8 --recycling 2s
  prestrike plan --from test-run --setting 3
  prestrike plan handheld --focal-length 90mm --magnification 1:5 --sensor-width 36mm --pixels 45MP
  prestrike plan interval --span 3h --interval 10s`

// planFlags is the command line of prestrike plan.
type planFlags struct {
	format    string
	task      optics.FocusTask // all but the sensor
	sensor    sensorFlags
	apertures values.Apertures
	add       string // name of a view for the shot list
	config    string
	from      string // folder of a test run, and the sequence
	setting   int    // focus step of the test run
	remember  bool
}

func newPlan(c *console) *cobra.Command {
	var f planFlags
	cmd := &cobra.Command{
		Use:     "plan",
		Short:   "Choose f-number, focus step and number of frames before the shoot",
		Long:    planLong,
		Example: planExamples,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				return &usageError{fmt.Errorf("there is no plan %q: write plan, plan handheld or plan interval", args[0]), cmd.CommandPath()}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return runPlan(cmd, c, &f) },
	}
	flags, t := cmd.Flags(), &f.task
	addValue(flags, values.Length, &t.Depth, "depth", "`DEPTH` that should be sharp, from the nearest to the farthest point, such as 12mm")
	addValue(flags, values.Magnification, &t.Magnification, "magnification", "size on the sensor over size of the subject, `M` such as 1:2, at the nearest point")
	addValue(flags, values.Length, &t.FieldWidth, "field-width", "`WIDTH` of what the frame shows, such as 8cm, instead of the magnification")
	f.sensor.addTo(cmd)
	addDefault(flags, values.FNumbers, &f.apertures, "f-number", values.Between(4, 22), "f-numbers to compare: `LIST` such as 4-22, 8 or 5.6,8,11")
	flags.BoolVar(&t.WorkingFNumbers, "working", false, "the f-numbers are working ones, as some bodies show them close up")
	addValue(flags, values.Number, &t.NumericalAperture, "na", "numerical aperture `NA` of an objective, instead of f-numbers")
	addValue(flags, values.Length, &t.Focal, "focal-length", "focal `LENGTH` of the lens: shows how the step changes towards the far end; needed below 0.03:1")
	addDefault(flags, values.Number, &t.PupilMagnification, "pupil", optics.SymmetricPupil, "pupil magnification of the lens, `P`: exit over entrance pupil")
	addDefault(flags, values.Share, &t.Overlap, "overlap", 1-optics.StepRatio, "`PART` of the sharp depth by which neighbouring frames overlap, such as 30%")
	addDefault(flags, values.Count, &t.Margin, "margin", 2, "`FRAMES` to add at each end, since focus never starts just at the nearest point")
	addValue(flags, values.Length, &t.Blur, "blur", "largest blur that counts as sharp, a `LENGTH` on the sensor such as 0.03mm (default 2.5 pixels)")
	flags.BoolVar(&t.GeometryOnly, "geometry-only", false, "leave diffraction out of the sharp depth, as printed step tables do")
	addValue(flags, values.Time, &t.Exposure, "exposure", "exposure `TIME` of a frame, such as 1/4: adds the total time")
	addValue(flags, values.FNumber, &t.ExposureAt, "exposure-at", "f-number `N` that the exposure time is for; without it the time is that of all, as with flash")
	addValue(flags, values.Time, &t.Recycling, "recycling", "`TIME` from one exposure to the next: flash, settling, focus drive")
	flags.StringVar(&f.add, "add", "", "add a view of this `NAME` with the recommended values to the shot list in prestrike.toml")
	flags.StringVar(&f.config, "config", "", "with --add or --remember, the configuration `FILE` to write to")
	flags.StringVar(&f.from, "from", "", "take the focus step from a test run: `FOLDER`, or FOLDER#1.2 for one of its sequences")
	addValue(flags, values.Count, &f.setting, "setting", "focus step that the test run was made with, a whole `NUMBER` of the camera")
	flags.BoolVar(&f.remember, "remember", false, "with --from, add what the test run measured to prestrike.toml, for later plans with --like")
	addPlanFormat(cmd, &f.format)
	flags.SortFlags = false
	cmd.AddCommand(newPlanHandheld(c), newPlanInterval(c))
	return cmd
}

func addPlanFormat(cmd *cobra.Command, value *string) {
	addChoice(cmd, value, "format", "form of the result", "table\ta table for people", "json\tJSON for programs")
}

func runPlan(cmd *cobra.Command, c *console, f *planFlags) error {
	given := cmd.Flags().Changed
	switch {
	case given("from"):
		return runFrom(cmd, c, f)
	case given("setting"), given("remember"):
		return &usageError{errors.New("--setting and --remember belong to a test run: give its folder with --from"), cmd.CommandPath()}
	case !given("depth"):
		return &usageError{errors.New("give the depth of the subject with --depth, such as --depth 12mm, or a test run with --from FOLDER"), cmd.CommandPath()}
	}
	if given("add") {
		if err := f.viewNamed(cmd); err != nil {
			return err
		}
	} else if given("config") {
		return &usageError{errors.New("--config names the file that --add writes to: give --add NAME, or leave --config out"), cmd.CommandPath()}
	}
	if given("na") && given("f-number") {
		return oneOf(cmd, "na", "f-number")
	}
	if err := cmp.Or(oneOf(cmd, "magnification", "field-width"), notZero(cmd, "pupil", f.task.PupilMagnification, "blur", f.task.Blur.Millimetres(),
		"na", f.task.NumericalAperture, "exposure-at", f.task.ExposureAt, "focal-length", f.task.Focal.Millimetres(),
		"magnification", f.task.Magnification, "field-width", f.task.FieldWidth.Millimetres())); err != nil {
		return err
	}
	sensor, err := f.sensor.find(cmd)
	if err != nil {
		return err
	}
	task := f.task
	task.Sensor = sensor.Sensor
	if !given("focal-length") {
		task.Focal = sensor.focal
	}
	task.Exposure = exactTime(task.Exposure)
	if !given("na") {
		task.FNumbers, task.ThirdStops = f.apertures.List, f.apertures.Range
	}
	plan, err := task.Plan()
	if err != nil {
		return planError(cmd, err)
	}
	err = writePlan(c, f.format, focusJSON(&task, plan, sensor), func(b *bytes.Buffer, width int) error {
		return focusTable(b, &task, plan, sensor, !given("pupil") && !given("na"), width)
	})
	if err != nil || !given("add") {
		return err
	}
	return addPlanned(c, f, &task, plan)
}

// viewNamed refuses a name that no view can have.
func (f *planFlags) viewNamed(cmd *cobra.Command) error {
	if strings.ContainsFunc(f.add, unicode.IsControl) {
		return &usageError{fmt.Errorf("--add: cannot read %q: write a name in one line, such as --add keel", f.add), cmd.CommandPath()}
	}
	return nil
}

// addPlanned adds a view with the recommended values to the shot list that holds for
// the folder one is in.
func addPlanned(c *console, f *planFlags, task *optics.FocusTask, plan *optics.FocusPlan) error {
	r := plan.Rows[plan.Recommended]
	v := audit.View{Name: strings.TrimSpace(f.add), Kind: shoot.Focus, HasKind: true, Frames: r.Frames, Magnification: rounded(plan.Magnification)}
	fewest, err := task.FewestFrames(r)
	switch {
	case err != nil:
		return err
	case r.Frames == 1:
		v.Kind = shoot.Single
	case fewest < r.Frames:
		v.FewestFrames, v.Overlap = fewest, task.Overlap
	}
	if f.task.NumericalAperture == 0 {
		v.FNumber = r.FNumber
		if f.task.WorkingFNumbers {
			v.FNumber = r.Working
		}
		v.FNumber = rounded(v.FNumber)
	}
	if t := float64(r.Exposure); t > 0 {
		v.ExposureTime = rounded(t)
	}
	file := f.config
	var kept []audit.View
	own := ""
	if file == "" {
		if file, err = config.Find("."); err != nil {
			return err
		}
		if file == "" {
			file = config.Name
		}
		if kept, own, err = viewsElsewhere(file); err != nil {
			return err
		}
	}
	if err := config.AddView(file, rules.All(), v, kept...); err != nil {
		if mistake, ok := errors.AsType[*config.Error](err); ok {
			return mistake
		}
		return notWritten(file, err, "name another file with --config", "allow writing to it, or name another file with --config")
	}
	behind := ""
	if len(kept) > 0 {
		behind = fmt.Sprintf(", behind the shot list of %s, which was copied there", report.Visible(own))
	}
	c.say(fmt.Appendf(nil, "Added to %s: the view %q%s.\n", report.Visible(file), report.Visible(v.Name), behind))
	return nil
}

// rounded keeps three significant digits, as people write values.
func rounded(v float64) float64 {
	r, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 3, 64), 64)
	return r
}

// planParameters are the flags that set the parameters of plans.
var planParameters = map[string]string{
	"depth": "depth", "magnification": "magnification", "field width": "field-width", "focal length": "focal-length",
	"sensor width": "sensor-width", "pixels across": "pixels", "pixels down": "pixels", "f-number": "f-number",
	"numerical aperture": "na", "pupil magnification": "pupil", "circle of confusion": "blur", "f-number of the exposure": "exposure-at",
	"overlap": "overlap", "margin": "margin", "setting": "setting", "exposure time": "exposure", "recycling time": "recycling",
	"stops of stabilisation": "stops", "hand radius": "hand-radius",
	"time span": "span", "interval": "interval", "clip length": "clip", "frame rate": "rate", "size of a frame": "frame-size", "card": "card",
}

// flagExamples are values that flags may have.
var flagExamples = map[string]string{
	"depth": "12mm", "magnification": "1:2", "field-width": "8cm", "focal-length": "90mm", "sensor-width": "36mm", "pixels": "8256x5504",
	"f-number": "4-22", "na": "0.1", "pupil": "1", "blur": "0.03mm", "exposure-at": "8", "overlap": "30%", "margin": "2", "setting": "3",
	"exposure": "1/4", "recycling": "2s", "stops": "4", "hand-radius": "200mm",
	"planned-frames": "50", "planned-time-lapse": "240", "planned-views": "12",
	"span": "3h", "interval": "10s", "clip": "20s", "rate": "25", "frame-size": "45MB", "card": "64GB",
}

// planError names the flag that a plan refuses, with what was read and an example.
func planError(cmd *cobra.Command, err error) error {
	r, ok := errors.AsType[*optics.RangeError](err)
	flag := ""
	if ok {
		flag = planParameters[r.Parameter]
	}
	valid, isRange := "", false
	if flag != "" {
		valid, isRange = strings.CutPrefix(r.Range, "from ")
	}
	switch {
	case isRange:
		err = outOfRange(cmd, flag, valid)
	case flag != "":
		err = fmt.Errorf("--%s must be %s, such as --%s %s", flag, r.Range, flag, flagExamples[flag])
	}
	return &usageError{err, cmd.CommandPath()}
}

// outOfRange refuses the value of a flag, with the range that is valid. What comes from a
// file of --like is out of it where the flag was not given.
func outOfRange(cmd *cobra.Command, flag, valid string) error {
	f := cmd.Flags().Lookup(flag)
	read, ok := f.Value.(interface{ asGiven() string })
	if !ok || !f.Changed {
		return fmt.Errorf("--%s is needed: write %s, such as %s", flag, valid, flagExamples[flag])
	}
	return fmt.Errorf("--%s: %s is out of range: write %s, such as %s", flag, read.asGiven(), valid, flagExamples[flag])
}

// notZero refuses 0 where a task takes 0 for "not given" but the user gave it.
// The pairs are the names of flags and their values.
func notZero(cmd *cobra.Command, pairs ...any) error {
	for i := 0; i < len(pairs); i += 2 {
		flag, v := pairs[i].(string), pairs[i+1].(float64)
		if v == 0 && cmd.Flags().Changed(flag) {
			return &usageError{outOfRange(cmd, flag, "a value above 0"), cmd.CommandPath()}
		}
	}
	return nil
}

// oneOf requires one of two flags that do not go together.
func oneOf(cmd *cobra.Command, a, b string) error {
	switch given := cmd.Flags().Changed; {
	case given(a) && given(b):
		return &usageError{fmt.Errorf("--%s and --%s do not go together: leave one out", a, b), cmd.CommandPath()}
	case !given(a) && !given(b):
		return &usageError{fmt.Errorf("give --%s %s or --%s %s", a, flagExamples[a], b, flagExamples[b]), cmd.CommandPath()}
	}
	return nil
}
