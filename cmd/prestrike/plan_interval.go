package main

import (
	"bytes"
	"errors"
	"fmt"
	"strconv"

	"prestrike/audit/report"
	"prestrike/rules/optics"

	"github.com/spf13/cobra"
)

const planIntervalLong = `Interval works out a time-lapse. Give two of the three: the time it spans, the
interval between frames, and the length of the clip; the third follows. With an
exposure time it says whether the interval leaves room for it, with the size of a
frame how much space the card needs.

A marked exposure time is taken for what it is in truth: 30 s runs 32 s.`

const planIntervalExamples = `  prestrike plan interval --span 3h --interval 10
  prestrike plan interval --span 3h --clip 20s --rate 25
  prestrike plan interval --interval 10 --clip 10s --exposure 1/4 --frame-size 45 --card 64`

type planIntervalFlags struct {
	format               string
	span, interval, clip secondsFlag
	rate                 float64
	exposure             secondsFlag
	frameSize, card      float64
}

func newPlanInterval(c *console) *cobra.Command {
	var f planIntervalFlags
	cmd := &cobra.Command{
		Use:     "interval",
		Short:   "Work out interval, frames, clip and card space of a time-lapse",
		Long:    planIntervalLong,
		Example: planIntervalExamples,
		Args:    noArguments,
		RunE:    func(cmd *cobra.Command, _ []string) error { return runPlanInterval(cmd, c, &f) },
	}
	flags := cmd.Flags()
	flags.Var(&f.span, "span", "`TIME` from the first frame to the last, such as 3h")
	flags.Var(&f.interval, "interval", "`TIME` from one frame's start to the next")
	flags.Var(&f.clip, "clip", "`TIME` that the clip lasts")
	flags.Float64Var(&f.rate, "rate", 25, "`FRAMES` a second of the clip")
	flags.Var(&f.exposure, "exposure", "exposure `TIME` of a frame")
	flags.Float64Var(&f.frameSize, "frame-size", 0, "size of one frame's files, in `MB`")
	flags.Float64Var(&f.card, "card", 0, "free space on the card, in `GB`; needs --frame-size")
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
	if cmd.Flags().Changed("card") && !cmd.Flags().Changed("frame-size") {
		return &usageError{errors.New("--card needs --frame-size, the size of one frame's files in MB"), cmd.CommandPath()}
	}
	if err := errors.Join(notZero(cmd, "frame-size", f.frameSize), notZero(cmd, "card", f.card)); err != nil {
		return err
	}
	task := optics.IntervalTask{
		Span: optics.Seconds(f.span), Interval: optics.Seconds(f.interval), Clip: optics.Seconds(f.clip), Rate: f.rate,
		Exposure:  exactTime(optics.Seconds(f.exposure)),
		FrameSize: f.frameSize * 1e6, Card: f.card * 1e9,
	}
	p, err := task.Plan()
	if err != nil {
		return &usageError{err, cmd.CommandPath()}
	}
	if f.format == "json" {
		out := jsonInterval{
			Format: "prestrike-plan", Version: 1, Plan: "interval",
			Frames:           p.Frames,
			SpanS:            figure(p.Span),
			IntervalS:        figure(p.Interval),
			ClipS:            figure(p.Clip),
			FrameRate:        figure(task.Rate),
			SpeedUp:          figure(p.SpeedUp),
			LongestExposureS: figure(p.LongestExposure),
			ShutterAngle:     figureOrNull(p.Angle),
			SpaceBytes:       figureOrNull(p.Space),
		}
		if task.Exposure > 0 {
			out.ExposureS, out.Overruns = new(figure(task.Exposure)), &p.Overruns
		}
		if p.CardFrames >= 0 {
			out.CardFrames, out.CardFull = &p.CardFrames, &p.CardFull
		}
		return writePlanJSON(c, out)
	}

	rows := [][]string{
		{"frames", strconv.Itoa(p.Frames)},
		{"first frame to last", duration(p.Span)},
		{"interval", duration(p.Interval)},
		{"clip", fmt.Sprintf("%s at %s frames a second", duration(p.Clip), decimals(task.Rate, 3))},
		{"faster than life", decimals(p.SpeedUp, 1) + " times"},
		{"longest exposure", duration(p.LongestExposure)},
	}
	if task.Exposure > 0 {
		rows = append(rows, []string{"exposure", fmt.Sprintf("%v, shutter angle %s°", task.Exposure, decimals(p.Angle, 1))})
	}
	if task.FrameSize > 0 {
		rows = append(rows, []string{"space on the card", decimals(p.Space/1e9, 1) + " GB"})
	}
	if p.CardFrames >= 0 {
		rows = append(rows, []string{"the card holds", strconv.Itoa(p.CardFrames) + " frames"})
	}
	width := c.textWidth(false)
	var b bytes.Buffer
	if err := report.Grid(&b, []report.Column{{Head: "time-lapse"}, {}}, rows, width, nil); err != nil {
		return err
	}
	var remarks []string
	if p.Staccato {
		remarks = append(remarks, fmt.Sprintf("Motion will look jerky at so small a shutter angle: %s or longer looks smooth.",
			duration(optics.TimeForAngle(180, p.Interval))))
	}
	if p.Overruns {
		remarks = append(remarks, fmt.Sprintf("The exposure leaves too little of the interval, and frames will be left out: expose for %s at most, or take an interval of %s or more.",
			duration(p.LongestExposure), duration(task.Exposure/optics.FullestInterval)))
	}
	if p.CardFull {
		remarks = append(remarks, fmt.Sprintf("The card is full before the end: %d of %d frames fit.", p.CardFrames, p.Frames))
	}
	for i, r := range remarks {
		if i == 0 {
			b.WriteByte('\n')
		}
		report.Paragraph(&b, "", 0, r, width)
	}
	_, err = c.out.Write(b.Bytes())
	return err
}
