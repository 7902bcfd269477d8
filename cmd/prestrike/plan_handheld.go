package main

import (
	"bytes"
	"errors"
	"fmt"
	"math"

	"prestrike/audit/report"
	"prestrike/audit/values"
	"prestrike/rules/optics"

	"github.com/spf13/cobra"
)

const planHandheldLong = `Handheld computes the longest exposure time to hold by hand, for a picture that
is sharp in print and for one that is sharp at 100 %. At 100 % stabilisation counts
only in part, because its ratings do not hold there. It counters the turning of the
hand, and not its travel, which blurs most close up.`

const planHandheldExamples = `  prestrike plan handheld --focal-length 90mm --sensor-width 36mm --pixels 45MP
  prestrike plan handheld --focal-length 90mm --magnification 1:5 --stops 4 --like BX1_0001.JPG`

type planHandheldFlags struct {
	format string
	task   optics.HandheldTask // all but the sensor
	sensor sensorFlags
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
	addValue(flags, values.Length, &f.task.Focal, "focal-length", "focal `LENGTH` of the lens, such as 90mm")
	addValue(flags, values.Magnification, &f.task.Magnification, "magnification", "size on the sensor over size of the subject, `M` such as 1:5; without it the subject is far away")
	addValue(flags, values.Quantity("stops"), &f.task.Stops, "stops", "`STOPS` of stabilisation, as rated")
	addDefault(flags, values.Length, &f.task.Radius, "hand-radius", optics.HandRadius, "`LENGTH` from the lens back to the point about which the hand turns")
	f.sensor.addTo(cmd)
	addPlanFormat(cmd, &f.format)
	flags.SortFlags = false
	return cmd
}

// noArguments refuses arguments where flags are enough.
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
		HandRadiusMM  figure           `json:"hand_radius_mm"`
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
		return &usageError{errors.New("give the focal length with --focal-length, such as --focal-length 90mm"), cmd.CommandPath()}
	}
	if err := notZero(cmd, "hand-radius", f.task.Radius.Millimetres()); err != nil {
		return err
	}
	sensor, err := f.sensor.find(cmd)
	if err != nil {
		return err
	}
	task := f.task
	task.Sensor = sensor.Sensor
	p, err := task.Plan()
	if err != nil {
		return planError(cmd, err)
	}
	return writePlan(c, f.format, handheldJSON(&task, p, sensor), func(b *bytes.Buffer, width int) error {
		return handheldTable(b, &task, p, sensor, width)
	})
}

func handheldJSON(t *optics.HandheldTask, p *optics.HandheldPlan, sensor foundSensor) jsonHandheld {
	at := func(h optics.HandheldTime, blur optics.Length) jsonHandheldTime {
		return jsonHandheldTime{figureOrNull(h.Setting.Marked), figure(h.Limit), millimetres(blur), figure(h.Stops)}
	}
	return jsonHandheld{
		Format: "prestrike-plan", Version: 1, Plan: "handheld",
		Sensor:        sensor.json(),
		FocalMM:       millimetres(t.Focal),
		EquivalentMM:  millimetres(p.Equivalent),
		Magnification: figure(t.Magnification),
		RatedStops:    figure(t.Stops),
		HandRadiusMM:  millimetres(p.Radius),
		Print:         at(p.Print, p.PrintBlur),
		Pixels:        at(p.Pixels, p.PixelBlur),
		CloseUp:       p.CloseUp,
	}
}

// handheldTable writes a plan for people.
func handheldTable(b *bytes.Buffer, t *optics.HandheldTask, p *optics.HandheldPlan, sensor foundSensor, width int) error {
	at := ", far away"
	if t.Magnification > 0 {
		at = " at magnification " + decimals(t.Magnification, 3)
	}
	report.Paragraph(b, "", 2, fmt.Sprintf("Lens: %v (35 mm equivalent %s mm)%s", t.Focal, decimals(p.Equivalent.Millimetres(), 0), at), width)
	report.Paragraph(b, "", 2, "Sensor: "+sensor.String(), width)
	b.WriteByte('\n')
	row := func(what string, h optics.HandheldTime, blur optics.Length) []string {
		setting := "none"
		if !math.IsNaN(h.Setting.Marked) {
			setting = optics.Seconds(h.Setting.Marked).String()
		}
		return []string{what, setting, h.Limit.String(), blur.String(), fmt.Sprintf("%s of %s", decimals(h.Stops, 1), decimals(t.Stops, 1))}
	}
	if err := report.Grid(b, []report.Column{
		{Head: "for a picture that"},
		{Head: "longest time", Right: true},
		{Head: "limit", Right: true, Drop: 3},
		{Head: "blur", Right: true, Drop: 1},
		{Head: "stops counted", Right: true, Drop: 2},
	}, [][]string{
		row("is sharp in print", p.Print, p.PrintBlur),
		row("is sharp at 100 %", p.Pixels, p.PixelBlur),
	}, width, nil); err != nil {
		return err
	}
	b.WriteByte('\n')
	if p.CloseUp {
		report.Paragraph(b, "", 0, "So near, the hand's travel blurs more than its turning, and stabilisation hardly helps: flash or a tripod does.", width)
	}
	if t.Magnification > 0 {
		report.Paragraph(b, "", 0, fmt.Sprintf("Assumed: the camera turns about a point %v behind the lens (--hand-radius).", p.Radius), width)
	}
	report.Paragraph(b, "", 0, "Hands differ widely: make several frames and inspect them at 100 %.", width)
	return nil
}
