package main

import (
	"bytes"
	"fmt"
	"math"
	"strconv"

	"prestrike/audit"
	"prestrike/audit/report"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
)

// write writes the plan for people.
func (t *testRun) write(b *bytes.Buffer, width int) error {
	frames := t.sequence.Frames
	made := fmt.Sprintf("Test run: %s, %s", t.sequence.ID, shoot.FrameRange(frames))
	if t.fNumber > 0 {
		made += ", f/" + decimals(t.fNumber, 1)
	}
	if t.fNumbers == audit.FNumbersEffective {
		made += " (working)"
	}
	if t.run.Setting > 0 {
		made += fmt.Sprintf(", focus step set to %d", t.run.Setting)
	}
	report.Paragraph(b, "", 2, made, width)
	report.Paragraph(b, "", 2, fmt.Sprintf("Blur grows by %s pixels a frame (%s to %s nine times in ten). %s pixels are allowed. These are pixels of a picture 1,600 wide.",
		twoDigits(t.run.Growth), twoDigits(t.run.Low), twoDigits(t.run.High), twoDigits(t.run.Allowed)), width)
	b.WriteByte('\n')
	report.Paragraph(b, "", 2, "< "+t.stepSentence(), width)
	report.Paragraph(b, "", 2, "< "+t.framesSentence(), width)
	report.Paragraph(b, "", 2, t.millimetreSentence(), width)
	return nil
}

// stepSentence is what to set.
func (t *testRun) stepSentence() string {
	p := t.plan
	wide := fmt.Sprintf("%s times as wide as in the test run (%s to %s)", twoDigits(p.Factor), twoDigits(p.FactorLow), twoDigits(p.FactorHigh))
	switch {
	case p.TooWide:
		return fmt.Sprintf("No setting is narrow enough: even 1 makes blur grow by %s pixels a frame. Set an f-number %s times as large, and 1.",
			twoDigits(t.run.Growth/float64(t.run.Setting)), twoDigits(p.StopDown))
	case p.Setting > 0:
		return fmt.Sprintf("Set the focus step to %d. It may be %s.", p.Setting, wide)
	}
	return fmt.Sprintf("Set a focus step %s.", wide)
}

// framesSentence is how many frames to make.
func (t *testRun) framesSentence() string {
	p := t.plan
	margin := ""
	if t.run.Margin > 0 {
		margin = fmt.Sprintf(", and %d to spare at each end", t.run.Margin)
	}
	if open := t.open(); len(open) > 0 {
		return fmt.Sprintf("Make at least %d frames: %d for what the test run shows%s. The subject goes on %s: make another test run that goes on there.",
			p.Frames, p.Needed, margin, words.List(open, len(open)))
	}
	return fmt.Sprintf("Make %s: %d from the nearest to the farthest texture%s.", words.Count(p.Frames, "frame", "frames"), p.Needed, margin)
}

// millimetreSentence is what the step is on the subject's side.
func (t *testRun) millimetreSentence() string {
	if t.step == 0 {
		return sentence(t.why)
	}
	text := fmt.Sprintf("At magnification %s that is a step of about %s mm, give or take %.0f %%", decimals(t.magnification, 3), twoDigits(t.step.Millimetres()), 100*t.stepError)
	if t.ifWorking > 0 {
		text += fmt.Sprintf(", or about %s mm where the camera records the working f-number: then add --working", twoDigits(t.ifWorking.Millimetres()))
	}
	return text + "."
}

// twoDigits writes a number to two digits.
func twoDigits(v float64) string {
	places := max(0, 1-int(math.Floor(math.Log10(v))))
	return strconv.FormatFloat(v, 'f', places, 64)
}

// jsonTestRun is the JSON form of a plan from a test run. Growth is in pixels of a
// picture with a long side of 1,600.
type jsonTestRun struct {
	Format        string     `json:"format"`
	Version       int        `json:"version"`
	Plan          string     `json:"plan"`
	Sequence      string     `json:"sequence"`
	FrameCount    int        `json:"frame_count"`
	Setting       *int       `json:"setting"`
	Growth        jsonBounds `json:"blur_growth_px"`
	GrowthAllowed figure     `json:"blur_growth_allowed_px"`
	Factor        jsonBounds `json:"step_factor"`
	PlanSetting   *int       `json:"planned_setting"`
	StopDown      figure     `json:"stop_down_factor"` // 1 where a setting is narrow enough
	Frames        int        `json:"frames"`
	FramesNeeded  int        `json:"frames_needed"` // without the margin
	MarginFrames  int        `json:"margin_frames"` // at each end
	AtLeast       bool       `json:"frames_are_least"`
	FirstOpen     bool       `json:"subject_before_first"`
	LastOpen      bool       `json:"subject_behind_last"`
	Magnification *figure    `json:"magnification"`
	StepMM        *figure    `json:"focus_step_mm"`
	StepError     *figure    `json:"focus_step_relative_error"`
	FNumbers      string     `json:"f_numbers"`               // nominal, effective or unknown
	StepIfWorking *figure    `json:"focus_step_mm_effective"` // where they are unknown, and may be effective
	NoStep        *string    `json:"focus_step_unknown"`
}

type jsonBounds struct {
	Value figure `json:"value"`
	Low   figure `json:"low"`
	High  figure `json:"high"`
}

func (t *testRun) json() jsonTestRun {
	p, r := t.plan, t.run
	out := jsonTestRun{
		Format: "prestrike-plan", Version: 1, Plan: "test-run",
		Sequence: t.sequence.ID, FrameCount: len(t.sequence.Frames),
		Growth:        jsonBounds{figure(r.Growth), figure(r.Low), figure(r.High)},
		GrowthAllowed: figure(r.Allowed),
		Factor:        jsonBounds{figure(p.Factor), figure(p.FactorLow), figure(p.FactorHigh)},
		StopDown:      figure(p.StopDown),
		Frames:        p.Frames, FramesNeeded: p.Needed, MarginFrames: r.Margin,
		FNumbers: t.fNumbers.String(),
		AtLeast:  t.growth.FirstOpen || t.growth.LastOpen, FirstOpen: t.growth.FirstOpen, LastOpen: t.growth.LastOpen,
	}
	if r.Setting > 0 {
		out.Setting = &r.Setting
	}
	if p.Setting > 0 {
		out.PlanSetting = &p.Setting
	}
	if t.magnification > 0 {
		out.Magnification = figureOrNull(t.magnification)
	}
	if t.step > 0 {
		out.StepMM, out.StepError = figureOrNull(t.step.Millimetres()), figureOrNull(t.stepError)
		if t.ifWorking > 0 {
			out.StepIfWorking = figureOrNull(t.ifWorking.Millimetres())
		}
	} else {
		why := report.JSONText(t.why)
		out.NoStep = &why
	}
	return out
}
