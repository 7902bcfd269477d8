package main

import (
	"bytes"
	"errors"
	"fmt"
	"math"

	"prestrike/audit/report"
	"prestrike/rules/optics"

	"github.com/spf13/cobra"
)

const planHandheldLong = `Handheld gives the longest exposure time to hold by hand, for a picture that
looks sharp in print and for one that is sharp at 100 %. Stabilisation is counted
in part only at 100 % and close up, where ratings do not hold.`

const planHandheldExamples = `  prestrike plan handheld --focal-length 90 --sensor-width 36 --pixels 45MP
  prestrike plan handheld --focal-length 90 --magnification 0.2 --stops 4 --like BX1_0001.JPG`

type planHandheldFlags struct {
	format        string
	focal         float64
	magnification float64
	stops         float64
	sensor        sensorFlags
}

func newPlanHandheld(c *console) *cobra.Command {
	var f planHandheldFlags
	cmd := &cobra.Command{
		Use:     "handheld",
		Short:   "Find the longest exposure time to hold by hand",
		Long:    planHandheldLong,
		Example: planHandheldExamples,
		Args:    noArguments,
		RunE:    func(cmd *cobra.Command, _ []string) error { return runPlanHandheld(cmd, c, &f) },
	}
	flags := cmd.Flags()
	flags.Float64Var(&f.focal, "focal-length", 0, "focal length of the lens, in `MM`")
	flags.Float64Var(&f.magnification, "magnification", 0, "size on the sensor over size of the subject, `M`; 0 for far away")
	flags.Float64Var(&f.stops, "stops", 0, "`STOPS` of stabilisation, as rated")
	f.sensor.addTo(cmd)
	addPlanFormat(cmd, &f.format)
	flags.SortFlags = false
	return cmd
}

// noArguments refuses arguments where all is said with flags.
func noArguments(cmd *cobra.Command, args []string) error {
	if len(args) > 0 {
		return &usageError{fmt.Errorf("%q is not understood: there are only flags here", args[0]), cmd.CommandPath()}
	}
	return nil
}

type (
	jsonHandheld struct {
		Format        string           `json:"format"`
		Version       int              `json:"version"`
		Plan          string           `json:"plan"`
		Sensor        jsonSensor       `json:"sensor"`
		FocalMM       figure           `json:"focal_length_mm"`
		EquivalentMM  figure           `json:"focal_length_35mm_mm"`
		Magnification figure           `json:"magnification"`
		RatedStops    figure           `json:"rated_stops"`
		Print         jsonHandheldTime `json:"print"`
		Pixels        jsonHandheldTime `json:"pixels"`
		CloseUp       bool             `json:"close_up"`
	}
	jsonHandheldTime struct {
		SettingS      *figure `json:"shutter_setting_s"`
		LimitS        figure  `json:"limit_s"`
		BlurMM        figure  `json:"blur_mm"`
		CreditedStops figure  `json:"credited_stops"`
	}
)

func runPlanHandheld(cmd *cobra.Command, c *console, f *planHandheldFlags) error {
	if !cmd.Flags().Changed("focal-length") {
		return &usageError{errors.New("say which focal length with --focal-length, in mm"), cmd.CommandPath()}
	}
	sensor, err := f.sensor.find(cmd)
	if err != nil {
		return err
	}
	task := optics.HandheldTask{
		Focal:         optics.Length(f.focal) * optics.Millimetre,
		Magnification: f.magnification,
		Sensor:        sensor.Sensor,
		Stops:         f.stops,
	}
	p, err := task.Plan()
	if err != nil {
		return &usageError{err, cmd.CommandPath()}
	}
	if f.format == "json" {
		at := func(h optics.HandheldTime, blur optics.Length) jsonHandheldTime {
			return jsonHandheldTime{figureOrNull(h.Setting.Marked), figure(h.Limit), millimetres(blur), figure(h.Stops)}
		}
		return writePlanJSON(c, jsonHandheld{
			"prestrike-plan", 1, "handheld", sensor.json(),
			millimetres(task.Focal), millimetres(p.Equivalent), figure(task.Magnification), figure(task.Stops),
			at(p.Print, p.PrintBlur), at(p.Pixels, p.PixelBlur), p.CloseUp,
		})
	}

	width := c.textWidth(false)
	var b bytes.Buffer
	report.Paragraph(&b, "", 2, fmt.Sprintf("Lens: %v (35 mm equivalent %s mm) at magnification %s", task.Focal,
		decimals(p.Equivalent.Millimetres(), 0), decimals(task.Magnification, 3)), width)
	report.Paragraph(&b, "", 2, "Sensor: "+sensor.String(), width)
	b.WriteByte('\n')
	row := func(what string, h optics.HandheldTime, blur optics.Length) []string {
		setting := "none"
		if !math.IsNaN(h.Setting.Marked) {
			setting = optics.Seconds(h.Setting.Marked).String()
		}
		return []string{what, setting, h.Limit.String(), blur.String(), fmt.Sprintf("%s of %s", decimals(h.Stops, 1), decimals(task.Stops, 1))}
	}
	if err := report.Grid(&b, []report.Column{
		{Head: "for a picture that"},
		{Head: "longest time", Right: true},
		{Head: "limit", Right: true},
		{Head: "blur", Right: true},
		{Head: "stops counted", Right: true},
	}, [][]string{
		row("looks sharp in print", p.Print, p.PrintBlur),
		row("is sharp at 100 %", p.Pixels, p.PixelBlur),
	}, width, nil); err != nil {
		return err
	}
	b.WriteByte('\n')
	if p.CloseUp {
		report.Paragraph(&b, "", 0, "So near, the hand's travel counts more than its turning, and no formula here has it: use flash or a tripod.", width)
	}
	report.Paragraph(&b, "", 0, "Hands differ widely: make several frames and look at 100 %.", width)
	_, err = c.out.Write(b.Bytes())
	return err
}
