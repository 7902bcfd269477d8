package main

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"strconv"

	"prestrike/audit/report"
	"prestrike/audit/values"
	"prestrike/rules/optics"

	"github.com/spf13/cobra"
)

const planIntervalLong = `Interval computes a time-lapse. Give two of these three, and the third follows: the
time that it spans, the interval between frames, and the length of the clip. With an
exposure time it reports whether the interval leaves room for it. With the size of a
frame it reports the space that the card needs.

A marked exposure time counts as what it is in truth: 30 s is 32 s.`

const planIntervalExamples = `  prestrike plan interval --span 3h --interval 10s
  prestrike plan interval --span 3h --clip 20s --rate 25
  prestrike plan interval --interval 10s --clip 10s --exposure 1/4 --frame-size 45MB --card 64GB`

type planIntervalFlags struct {
	format string
	task   optics.IntervalTask
}

func newPlanInterval(c *console) *cobra.Command {
	var f planIntervalFlags
	cmd := &cobra.Command{
		Use:     "interval",
		Short:   "Compute interval, frames, clip and card space of a time-lapse",
		Long:    planIntervalLong,
		Example: planIntervalExamples,
		Args:    noArguments,
		RunE:    func(cmd *cobra.Command, _ []string) error { return runPlanInterval(cmd, c, &f) },
	}
	flags := cmd.Flags()
	addValue(flags, values.Time, &f.task.Span, "span", "`TIME` from the first frame to the last, such as 3h")
	addValue(flags, values.Time, &f.task.Interval, "interval", "`TIME` from one frame's start to the next, such as 10s")
	addValue(flags, values.Time, &f.task.Clip, "clip", "`TIME` that the clip lasts, such as 20s")
	addDefault(flags, values.FrameRate, &f.task.Rate, "rate", 25, "`FRAMES` a second of the clip")
	addValue(flags, values.Time, &f.task.Exposure, "exposure", "exposure `TIME` of a frame, such as 1/4")
	addValue(flags, values.Megabytes, &f.task.FrameSize, "frame-size", "`SIZE` of one frame's files, such as 45MB")
	addValue(flags, values.Gigabytes, &f.task.Card, "card", "free `SPACE` on the card, such as 64GB; needs --frame-size")
	addPlanFormat(cmd, &f.format)
	flags.SortFlags = false
	return cmd
}

type jsonInterval struct {
	Format           string  `json:"format"`
	Version          int     `json:"version"`
	Plan             string  `json:"plan"`
	Frames           int     `json:"frames"`
	SpanS            figure  `json:"span_s"`
	IntervalS        figure  `json:"interval_s"`
	ClipS            figure  `json:"clip_s"`
	FrameRate        figure  `json:"frame_rate"`
	SpeedUp          figure  `json:"speed_up"`
	ExposureS        *figure `json:"exposure_time_s"`
	LongestExposureS figure  `json:"longest_exposure_s"`
	ShutterAngle     *figure `json:"shutter_angle_deg"`
	Overruns         *bool   `json:"overruns"`
	SpaceBytes       *figure `json:"space_bytes"`
	CardFrames       *int    `json:"card_frames"`
	CardFull         *bool   `json:"card_full"`
}

func runPlanInterval(cmd *cobra.Command, c *console, f *planIntervalFlags) error {
	given := 0
	for _, flag := range []string{"span", "interval", "clip"} {
		if cmd.Flags().Changed(flag) {
			given++
		}
	}
	if given != 2 {
		return &usageError{errors.New("give two of --span, --interval and --clip, such as --span 3h --interval 10s: the third follows"), cmd.CommandPath()}
	}
	if cmd.Flags().Changed("card") && !cmd.Flags().Changed("frame-size") {
		return &usageError{errors.New("--card needs --frame-size, the size of one frame's files, such as --frame-size 45MB"), cmd.CommandPath()}
	}
	if err := notZero(cmd, "frame-size", f.task.FrameSize, "card", f.task.Card); err != nil {
		return err
	}
	task := f.task
	task.Exposure = exactTime(task.Exposure)
	p, err := task.Plan()
	if err != nil {
		return planError(cmd, err)
	}
	return writePlan(c, f.format, intervalJSON(&task, p), func(b *bytes.Buffer, width int) error {
		return intervalTable(b, &task, p, width)
	})
}

func intervalJSON(t *optics.IntervalTask, p *optics.IntervalPlan) jsonInterval {
	out := jsonInterval{
		Format: "prestrike-plan", Version: 1, Plan: "interval",
		Frames:           p.Frames,
		SpanS:            figure(p.Span),
		IntervalS:        figure(p.Interval),
		ClipS:            figure(p.Clip),
		FrameRate:        figure(t.Rate),
		SpeedUp:          figure(p.SpeedUp),
		LongestExposureS: figure(p.LongestExposure),
		ShutterAngle:     figureOrNull(p.Angle),
		SpaceBytes:       figureOrNull(p.Space),
	}
	if t.Exposure > 0 {
		out.ExposureS, out.Overruns = new(figure(t.Exposure)), &p.Overruns
	}
	if p.CardFrames >= 0 {
		out.CardFrames, out.CardFull = &p.CardFrames, &p.CardFull
	}
	return out
}

const fullTurn = 360 // degrees

// intervalTable writes a plan for people.
func intervalTable(b *bytes.Buffer, t *optics.IntervalTask, p *optics.IntervalPlan, width int) error {
	rows := [][]string{
		{"frames", strconv.Itoa(p.Frames)},
		{"first frame to last", duration(p.Span)},
		{"interval", duration(p.Interval)},
		{"clip", fmt.Sprintf("%s at %s frames a second", duration(p.Clip), decimals(t.Rate, 3))},
		{"faster than life", decimals(p.SpeedUp, 1) + " times"},
		{"longest exposure", duration(p.LongestExposure)},
	}
	switch {
	case p.Angle > fullTurn:
		rows = append(rows, []string{"exposure", fmt.Sprintf("%s, longer than the interval", duration(t.Exposure))})
	case t.Exposure > 0:
		rows = append(rows, []string{"exposure", fmt.Sprintf("%s, shutter angle %s°", duration(t.Exposure), decimals(p.Angle, 1))})
	}
	if t.FrameSize > 0 {
		rows = append(rows, []string{"space on the card", decimals(roundUp(p.Space/1e9), 1) + " GB"})
	}
	if p.CardFrames >= 0 {
		rows = append(rows, []string{"the card holds", strconv.Itoa(p.CardFrames) + " frames"})
	}
	if err := gridOrLines(b, []report.Column{{Head: "time-lapse"}, {}}, rows, width, func(row []string) string {
		return row[0] + ": " + row[1]
	}); err != nil {
		return err
	}
	for i, r := range intervalRemarks(t, p) {
		if i == 0 {
			b.WriteByte('\n')
		}
		report.Paragraph(b, "", 0, r, width)
	}
	return nil
}

// roundUp returns the next tenth: space that is too little is no help.
func roundUp(x float64) float64 { return math.Ceil(x*10*(1-1e-9)) / 10 }

// intervalRemarks returns what is wrong with a time-lapse, with what to do.
func intervalRemarks(t *optics.IntervalTask, p *optics.IntervalPlan) []string {
	var remarks []string
	if p.Staccato {
		remarks = append(remarks, fmt.Sprintf("Motion is jerky at so small a shutter angle: with %s or longer it is smooth.",
			duration(optics.TimeForAngle(180, p.Interval))))
	}
	if p.Overruns {
		wrong := "The exposure leaves too little of the interval, and frames will be left out"
		if p.Angle > fullTurn {
			wrong = "The exposure is longer than the interval, which no camera can do (a shutter angle over 360°)"
		}
		remarks = append(remarks, fmt.Sprintf("%s: expose for %s at most, or take an interval of %s or more.",
			wrong, duration(p.LongestExposure), duration(t.Exposure/optics.FullestInterval)))
	}
	if p.CardFull {
		remarks = append(remarks, fmt.Sprintf("The card is full before the end: %d of %d frames fit.", p.CardFrames, p.Frames))
	}
	return remarks
}
