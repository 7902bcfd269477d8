package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"prestrike/audit"
	"prestrike/audit/config"
	"prestrike/audit/report"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules"
	"prestrike/rules/optics"

	"github.com/spf13/cobra"
)

const planLong = `Plan works out, before the shoot, what each f-number makes of a subject that
shall be sharp from front to back: the f-number the sensor sees, the depth of
field, the focus step, the number of frames, and the megapixels of real detail
that diffraction leaves. It recommends the f-number that needs the fewest frames
and loses no detail, and says whether one stopped-down frame would do.

The sensor comes from --sensor-width and --pixels, or from a frame of the body
with --like. The magnification is that of the lens (0.5 for 1:2), or follows
from the width of what the frame shows.

Values outside their range end with exit status 3 and a message that names the
range.`

const planExamples = `  prestrike plan --depth 12 --magnification 0.5 --sensor-width 36 --pixels 45MP
  prestrike plan --depth 12 --field-width 80 --like BX1_0001.JPG
  prestrike plan --depth 12 --magnification 1 --like BX1_0001.JPG --f-number 5.6-16 \
      --exposure 1/4 --exposure-at 8 --recycling 2
  prestrike plan handheld --focal-length 90 --magnification 0.2 --sensor-width 36 --pixels 45MP
  prestrike plan interval --span 3h --interval 10`

// planFlags is the command line of prestrike plan.
type planFlags struct {
	format        string
	depth         float64
	magnification float64
	fieldWidth    float64
	sensor        sensorFlags
	fNumbers      fNumbersFlag
	pupil         float64
	overlap       float64
	blur          float64
	geometryOnly  bool
	exposure      secondsFlag
	exposureAt    float64
	recycling     secondsFlag
}

func newPlan(c *console) *cobra.Command {
	f := planFlags{fNumbers: optics.StopsBetween(4, 22)}
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
	flags := cmd.Flags()
	flags.Float64Var(&f.depth, "depth", 0, "depth that shall be sharp, nearest to farthest point, in `MM`")
	flags.Float64Var(&f.magnification, "magnification", 0, "size on the sensor over size of the subject, `M`: 1 for 1:1, 0.5 for 1:2")
	flags.Float64Var(&f.fieldWidth, "field-width", 0, "width of what the frame shows, in `MM`, in place of the magnification")
	f.sensor.addTo(cmd)
	flags.Var(&f.fNumbers, "f-number", "f-numbers to compare: `LIST` such as 4-22, 8 or 5.6,8,11")
	flags.Float64Var(&f.pupil, "pupil", optics.SymmetricPupil, "pupil magnification of the lens, `P`: exit over entrance pupil")
	flags.Float64Var(&f.overlap, "overlap", 1-optics.StepRatio, "`PART` of the depth of field by which neighbouring frames overlap")
	flags.Float64Var(&f.blur, "blur", 0, "largest blur called sharp, in `MM` on the sensor (default 2.5 pixels)")
	flags.BoolVar(&f.geometryOnly, "geometry-only", false, "leave diffraction out of the depth of field, as printed step tables do")
	flags.Var(&f.exposure, "exposure", "exposure `TIME` of a frame, such as 1/4: adds the total time")
	flags.Float64Var(&f.exposureAt, "exposure-at", 0, "f-number `N` that the exposure time is for; without it the time holds for all, as with flash")
	flags.Var(&f.recycling, "recycling", "`TIME` from one exposure to the next: flash, settling, focus drive")
	addPlanFormat(cmd, &f.format)
	flags.SortFlags = false
	cmd.AddCommand(newPlanHandheld(c), newPlanInterval(c))
	return cmd
}

func addPlanFormat(cmd *cobra.Command, value *string) {
	addChoice(cmd, value, "format", "form of the result", "table\ta table for people", "json\tJSON for programs")
}

func runPlan(cmd *cobra.Command, c *console, f *planFlags) error {
	if !cmd.Flags().Changed("depth") {
		return &usageError{errors.New("say how deep the subject is with --depth, in mm"), cmd.CommandPath()}
	}
	sensor, err := f.sensor.find(cmd)
	if err != nil {
		return err
	}
	task := optics.FocusTask{
		Depth:              optics.Length(f.depth) * optics.Millimetre,
		Magnification:      f.magnification,
		FieldWidth:         optics.Length(f.fieldWidth) * optics.Millimetre,
		Sensor:             sensor.Sensor,
		FNumbers:           f.fNumbers,
		PupilMagnification: f.pupil,
		Overlap:            f.overlap,
		Blur:               optics.Length(f.blur) * optics.Millimetre,
		GeometryOnly:       f.geometryOnly,
		Exposure:           exactTime(optics.Seconds(f.exposure)),
		ExposureAt:         f.exposureAt,
		Recycling:          optics.Seconds(f.recycling),
	}
	if err := notZero(cmd, "pupil", f.pupil); err != nil {
		return err
	}
	plan, err := task.Plan()
	if err != nil {
		return &usageError{err, cmd.CommandPath()}
	}
	if f.format == "json" {
		return writePlanJSON(c, focusJSON(&task, plan, sensor))
	}
	var b bytes.Buffer
	assumed := !cmd.Flags().Changed("pupil")
	if err := focusTable(&b, &task, plan, sensor, assumed, c.textWidth(false)); err != nil {
		return err
	}
	_, err = c.out.Write(b.Bytes())
	return err
}

// notZero refuses 0 where a task takes 0 for "not given" but the user gave it.
func notZero(cmd *cobra.Command, flag string, v float64) error {
	if v == 0 && cmd.Flags().Changed(flag) {
		return &usageError{fmt.Errorf("--%s 0: must be above 0", flag), cmd.CommandPath()}
	}
	return nil
}

func focusTable(b *bytes.Buffer, t *optics.FocusTask, p *optics.FocusPlan, sensor foundSensor, pupilAssumed bool, width int) error {
	report.Paragraph(b, "", 2, fmt.Sprintf("Subject: %v deep at magnification %s, %v wide in the frame", t.Depth, decimals(p.Magnification, 3),
		sensor.Width/optics.Length(p.Magnification)), width)
	report.Paragraph(b, "", 2, "Sensor: "+sensor.String(), width)
	b.WriteByte('\n')

	columns := []report.Column{
		{Head: "f-number", Short: "f", Right: true},
		{Head: "works as", Short: "works", Right: true},
		{Head: "geometric mm", Short: "geo mm", Right: true},
		{Head: "wave mm", Short: "wave", Right: true},
		{Head: "used mm", Short: "used", Right: true},
		{Head: "step mm", Short: "step", Right: true},
		{Head: "frames", Right: true},
		{Head: "Q", Right: true},
		{Head: "MP left", Short: "MP", Right: true},
	}
	if t.Exposure > 0 {
		columns = append(columns, report.Column{Head: "time", Right: true})
	}
	columns = append(columns, report.Column{})
	places := 3
	for _, r := range p.Rows {
		if min(r.Step, r.Depth.Geometric, r.Depth.Wave) < 0.02*optics.Millimetre {
			places = 5
		}
	}
	mm := func(l optics.Length) string { return strconv.FormatFloat(l.Millimetres(), 'f', places, 64) }
	var rows [][]string
	for i, r := range p.Rows {
		row := []string{
			"f/" + decimals(r.FNumber, 2), "f/" + decimals(r.Working, 1), mm(r.Depth.Geometric), mm(r.Depth.Wave), mm(r.Used), mm(r.Step),
			strconv.Itoa(r.Frames), strconv.FormatFloat(r.Q, 'f', 2, 64), megapixels(r.MegapixelsLeft),
		}
		if t.Exposure > 0 {
			row = append(row, duration(r.Total))
		}
		mark := ""
		if i == p.Recommended {
			mark = "<"
		}
		rows = append(rows, append(row, mark))
	}
	if err := report.Grid(b, columns, rows, width, nil); err != nil {
		return err
	}

	b.WriteByte('\n')
	report.Paragraph(b, "", 2, "< recommended: "+p.Why, width)
	one := p.InOneFrame()
	report.Paragraph(b, "", 2, strings.ToUpper(one[:1])+one[1:], width)
	b.WriteByte('\n')
	used := "the larger is used"
	if t.GeometryOnly {
		used = "only the geometric one is used"
	}
	report.Paragraph(b, "", 0, fmt.Sprintf(
		"Depth of field, both sides together: geometric for a blur of %v (%s pixels), wave by diffraction; %s. "+
			"Neighbouring frames overlap by %s %%. Above Q 1.64 diffraction takes detail, above 1.02 it shows at 100 %%.",
		p.Blur, decimals(float64(p.Blur/p.Pitch), 1), used, decimals(100*t.Overlap, 1)), width)
	if pupilAssumed {
		report.Paragraph(b, "", 0, "Assumed: pupil magnification 1, a symmetric lens (--pupil).", width)
	}
	return nil
}

// The JSON forms of prestrike plan. Keys are always present, null stands for
// what is not known or was not asked for.
type (
	jsonFocus struct {
		Format        string         `json:"format"`
		Version       int            `json:"version"`
		Plan          string         `json:"plan"`
		Sensor        jsonSensor     `json:"sensor"`
		DepthMM       figure         `json:"depth_mm"`
		Magnification figure         `json:"magnification"`
		FieldWidthMM  figure         `json:"field_width_mm"`
		Pupil         figure         `json:"pupil_magnification"`
		Overlap       figure         `json:"overlap"`
		BlurMM        figure         `json:"blur_mm"`
		GeometryOnly  bool           `json:"geometry_only"`
		RecyclingS    figure         `json:"recycling_s"`
		Rows          []jsonFocusRow `json:"rows"`
		Recommended   int            `json:"recommended"` // index in rows
		Why           string         `json:"why"`
		InOneFrame    jsonSingle     `json:"in_one_frame"`
	}
	jsonFocusRow struct {
		FNumber        figure  `json:"f_number"`
		Working        figure  `json:"working_f_number"`
		GeometricMM    figure  `json:"depth_of_field_geometric_mm"`
		WaveMM         figure  `json:"depth_of_field_wave_mm"`
		UsedMM         figure  `json:"depth_of_field_used_mm"`
		StepMM         figure  `json:"focus_step_mm"`
		Frames         int     `json:"frames"`
		Q              figure  `json:"q"`
		MegapixelsLeft figure  `json:"megapixels_left"`
		ExposureS      *figure `json:"exposure_time_s"`
		TotalS         *figure `json:"total_time_s"`
	}
	jsonSingle struct {
		Holds          bool   `json:"holds"`
		FNumber        figure `json:"f_number"`
		Working        figure `json:"working_f_number"`
		BlurMM         figure `json:"blur_mm"`
		BlurPixels     figure `json:"blur_pixels"`
		MegapixelsLeft figure `json:"megapixels_left"`
		Sentence       string `json:"sentence"`
	}
	jsonSensor struct {
		WidthMM     figure `json:"width_mm"`
		PixelWidth  int    `json:"pixel_width"`
		PixelHeight int    `json:"pixel_height"`
		PitchUM     figure `json:"pitch_um"`
		Source      string `json:"source"`
	}
)

// A figure is a number of a plan in JSON, to six digits: the formulas are not
// good for more, and later digits differ from one processor to another.
type figure float64

// MarshalJSON writes the six digits.
func (f figure) MarshalJSON() ([]byte, error) {
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(float64(f), 'g', 6, 64), 64)
	if err != nil {
		return nil, err
	}
	return json.Marshal(rounded)
}

// figureOrNull returns what null stands for where f is NaN.
func figureOrNull[T ~float64](f T) *figure {
	if math.IsNaN(float64(f)) {
		return nil
	}
	return new(figure(f))
}

func millimetres(l optics.Length) figure { return figure(l.Millimetres()) }

func (s foundSensor) json() jsonSensor {
	return jsonSensor{millimetres(s.Width), s.PixelWidth, s.PixelHeight, figure(s.Pitch().Micrometres()), report.JSONText(s.source)}
}

func focusJSON(t *optics.FocusTask, p *optics.FocusPlan, sensor foundSensor) jsonFocus {
	out := jsonFocus{
		Format: "prestrike-plan", Version: 1, Plan: "focus",
		Sensor:        sensor.json(),
		DepthMM:       millimetres(t.Depth),
		Magnification: figure(p.Magnification),
		FieldWidthMM:  millimetres(sensor.Width / optics.Length(p.Magnification)),
		Pupil:         figure(t.PupilMagnification),
		Overlap:       figure(t.Overlap),
		BlurMM:        millimetres(p.Blur),
		GeometryOnly:  t.GeometryOnly,
		RecyclingS:    figure(t.Recycling),
		Recommended:   p.Recommended,
		Why:           p.Why,
		InOneFrame: jsonSingle{
			Holds:          p.Single.Holds,
			FNumber:        figure(p.Single.FNumber),
			Working:        figure(p.Single.Working),
			BlurMM:         millimetres(p.Single.Blur),
			BlurPixels:     figure(p.Single.BlurPixels),
			MegapixelsLeft: figure(p.Single.MegapixelsLeft),
			Sentence:       p.InOneFrame(),
		},
	}
	for _, r := range p.Rows {
		out.Rows = append(out.Rows, jsonFocusRow{
			FNumber:        figure(r.FNumber),
			Working:        figure(r.Working),
			GeometricMM:    millimetres(r.Depth.Geometric),
			WaveMM:         millimetres(r.Depth.Wave),
			UsedMM:         millimetres(r.Used),
			StepMM:         millimetres(r.Step),
			Frames:         r.Frames,
			Q:              figure(r.Q),
			MegapixelsLeft: figure(r.MegapixelsLeft),
			ExposureS:      figureOrNull(r.Exposure),
			TotalS:         figureOrNull(r.Total),
		})
	}
	return out
}

func writePlanJSON(c *console, v any) error {
	var b bytes.Buffer
	if err := report.EncodeJSON(&b, v); err != nil {
		return err
	}
	_, err := c.out.Write(b.Bytes())
	return err
}

// sensorFlags declare a sensor, or a frame of its body to take it from.
type sensorFlags struct {
	width  float64
	pixels pixelsFlag
	like   string
}

func (s *sensorFlags) addTo(cmd *cobra.Command) {
	cmd.Flags().Float64Var(&s.width, "sensor-width", 0, "width of the sensor's long side, in `MM`")
	cmd.Flags().Var(&s.pixels, "pixels", "pixels of the sensor, `WxH` such as 8256x5504, or megapixels of a 3:2 sensor such as 45MP")
	cmd.Flags().StringVar(&s.like, "like", "", "take the sensor, where not given, from this frame's `FILE`")
}

// A foundSensor is a sensor with where its width is known from.
type foundSensor struct {
	optics.Sensor
	source string // hostile text: may hold a file's name
}

// String describes the sensor in words.
func (s foundSensor) String() string {
	return fmt.Sprintf("%v wide, %s MP, pixel pitch %v (%s)", s.Width, megapixels(s.Megapixels()), s.Pitch(), s.source)
}

// find returns the sensor that the flags declare.
func (s *sensorFlags) find(cmd *cobra.Command) (foundSensor, error) {
	found := foundSensor{
		optics.Sensor{Width: optics.Length(s.width) * optics.Millimetre, PixelWidth: s.pixels.width, PixelHeight: s.pixels.height},
		"as given",
	}
	widthGiven, pixelsGiven := cmd.Flags().Changed("sensor-width"), cmd.Flags().Changed("pixels")
	if widthGiven && pixelsGiven {
		return found, nil
	}
	if s.like == "" {
		return foundSensor{}, &usageError{errors.New("say which sensor: --sensor-width MM with --pixels WxH, or --like FILE, a frame of the body"), cmd.CommandPath()}
	}
	meta, err := exifread.ReadFile(cmd.Context(), s.like)
	if err != nil {
		return foundSensor{}, fmt.Errorf("--like %s: %s", s.like, plainError(err))
	}
	facts, err := sensorFacts(meta, s.like)
	if err != nil {
		return foundSensor{}, err
	}
	if pixelsGiven {
		// Of another size than the frame's, so only the width can be the frame's.
		facts.BodyPixels = 0
	}
	w, h := facts.PixelWidth, facts.PixelHeight
	if w == 0 || h == 0 {
		return foundSensor{}, fmt.Errorf("--like %s: the size in pixels is not recorded: give --pixels and --sensor-width", s.like)
	}
	long, short := max(w, h), min(w, h)
	if facts.BodyWidth > 0 && facts.BodyPixels > 0 { // of the whole sensor, where the frame may be reduced
		short = int(math.Round(float64(short) * float64(facts.BodyPixels) / float64(long)))
		long = facts.BodyPixels
	}
	if !pixelsGiven {
		found.PixelWidth, found.PixelHeight = long, short
	}
	if widthGiven {
		found.source = "pixels of " + s.like
		return found, nil
	}
	estimate := facts.Pitch()
	if estimate.Source == optics.NoPitch {
		var reasons []string
		for _, r := range estimate.Rejected {
			reasons = append(reasons, fmt.Sprintf("%v: %s", r.Source, r.Reason))
		}
		return foundSensor{}, fmt.Errorf("--like %s: nothing tells the sensor's width (%s): give --sensor-width", s.like, strings.Join(reasons, "; "))
	}
	found.Width = estimate.Pitch * optics.Length(long)
	found.source = fmt.Sprintf("by the %v, from %s", estimate.Source, s.like)
	return found, nil
}

// sensorFacts returns what a frame records of its sensor, with what the
// configuration of its folder declares for the body.
func sensorFacts(m *exifread.Metadata, file string) (optics.SensorFacts, error) {
	float := func(v exifread.Value[exifread.Rational]) float64 {
		if r, ok := v.Get(); ok {
			return r.Float()
		}
		return 0
	}
	facts := optics.SensorFacts{
		FocalPlaneX:     float(m.FocalPlaneXResolution),
		FocalPlaneY:     float(m.FocalPlaneYResolution),
		FocalPlaneUnit:  int(m.FocalPlaneResolutionUnit.Or(0)),
		Focal:           optics.Length(float(m.FocalLength)) * optics.Millimetre,
		FocalEquivalent: optics.Length(m.FocalLength35.Or(0)) * optics.Millimetre,
		PixelWidth:      int(m.Width.Or(0)),
		PixelHeight:     int(m.Height.Or(0)),
	}
	opt := &audit.Options{Rules: rules.All()}
	files, err := (&shootFlags{}).configFiles([]string{filepath.Dir(file)})
	if err != nil {
		return facts, err
	}
	for _, f := range files {
		if _, err := config.Read(opt, f); err != nil {
			return facts, fmt.Errorf("configuration: %w", err)
		}
	}
	same := func(a, b string) bool { return strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b)) }
	for _, body := range opt.Bodies {
		if same(body.Model, m.Model.Or("")) && (body.Make == "" || same(body.Make, m.Make.Or(""))) {
			facts.BodyWidth, facts.BodyPixels = optics.Length(body.SensorWidth)*optics.Millimetre, body.PixelWidth
		}
	}
	return facts, nil
}

// pixelsFlag is a flag for a size in pixels.
type pixelsFlag struct{ width, height int }

func (p *pixelsFlag) Type() string { return "WxH" }

func (p *pixelsFlag) String() string {
	if p.width == 0 {
		return ""
	}
	return fmt.Sprintf("%dx%d", p.width, p.height)
}

func (p *pixelsFlag) Set(s string) error {
	wrong := errors.New("write pixels as 8256x5504, or megapixels of a 3:2 sensor as 45MP")
	if n := len(s) - 2; n > 0 && strings.EqualFold(s[n:], "MP") {
		mp, err := strconv.ParseFloat(strings.TrimSpace(s[:n]), 64)
		if err != nil || !(mp >= 0.1 && mp <= 1000) {
			return wrong
		}
		p.width = int(math.Round(math.Sqrt(mp * 1e6 * 3 / 2)))
		p.height = int(math.Round(float64(p.width) * 2 / 3))
		return nil
	}
	w, h, ok := strings.Cut(strings.ReplaceAll(strings.ToLower(s), "×", "x"), "x")
	width, err1 := strconv.Atoi(w)
	height, err2 := strconv.Atoi(h)
	if !ok || err1 != nil || err2 != nil {
		return wrong
	}
	p.width, p.height = max(width, height), min(width, height)
	return nil
}

// fNumbersFlag is a flag for one f-number, a list, or a range of full stops.
type fNumbersFlag []float64

func (f *fNumbersFlag) Type() string { return "LIST" }

func (f *fNumbersFlag) String() string {
	if f == nil || len(*f) == 0 {
		return ""
	}
	return fmt.Sprintf("%v-%v", (*f)[0], (*f)[len(*f)-1])
}

func (f *fNumbersFlag) Set(s string) error {
	parse := func(s string) (float64, error) {
		n, err := strconv.ParseFloat(strings.TrimPrefix(strings.TrimSpace(s), "f/"), 64)
		if err != nil {
			return 0, errors.New("write f-numbers as 4-22, 8 or 5.6,8,11")
		}
		return n, nil
	}
	*f = nil
	if from, to, ok := strings.Cut(s, "-"); ok {
		lo, err := parse(from)
		if err != nil {
			return err
		}
		hi, err := parse(to)
		if err != nil {
			return err
		}
		if lo > hi {
			return fmt.Errorf("write the smaller f-number first: %v-%v", hi, lo)
		}
		*f = optics.StopsBetween(lo, hi)
		return nil
	}
	for part := range strings.SplitSeq(s, ",") {
		n, err := parse(part)
		if err != nil {
			return err
		}
		*f = append(*f, n)
	}
	return nil
}

// secondsFlag is a flag for a time: 1/4, 0.5 and 30 in seconds, or with units
// as 2h30m.
type secondsFlag optics.Seconds

func (t *secondsFlag) Type() string { return "TIME" }

func (t *secondsFlag) String() string {
	if *t == 0 {
		return ""
	}
	return optics.Seconds(*t).String()
}

func (t *secondsFlag) Set(s string) error {
	above, below, fraction := strings.Cut(s, "/")
	seconds, err := strconv.ParseFloat(above, 64)
	if fraction && err == nil {
		var d float64
		d, err = strconv.ParseFloat(below, 64)
		seconds /= d
	} else if err != nil {
		var d time.Duration
		d, err = time.ParseDuration(s)
		seconds = d.Seconds()
	}
	if err != nil || !(seconds > 0) || math.IsInf(seconds, 0) {
		return errors.New("write a time above 0: seconds such as 1/4, 0.5 or 30, or with units such as 90s, 20m or 2h30m")
	}
	*t = secondsFlag(seconds)
	return nil
}

// exactTime returns what a marked shutter time is in truth (30 s is 32 s), and
// any other time as it is.
func exactTime(t optics.Seconds) optics.Seconds {
	s, ok := optics.SnapShutter(t, optics.ThirdStops)
	if ok && math.Abs(s.Marked/float64(t)-1) < 1e-6 {
		return optics.Seconds(s.Exact)
	}
	return t
}

// duration writes a time in words, to three digits below two minutes.
func duration(t optics.Seconds) string {
	if t < 120 || t > 1e9 { // a time.Duration holds 292 years
		return t.String()
	}
	return shoot.FormatDuration(time.Duration(float64(t) * float64(time.Second)))
}

// megapixels writes a count to a tenth, below one to a hundredth.
func megapixels(mp float64) string {
	if mp < 1 {
		return decimals(mp, 2)
	}
	return decimals(mp, 1)
}

// decimals writes a number with at most so many decimals and no zeros at the end.
func decimals(v float64, most int) string {
	s := strconv.FormatFloat(v, 'f', most, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}
