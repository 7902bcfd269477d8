package main

import (
	"bytes"
	"encoding/json"
	"math"
	"strconv"

	"prestrike/audit/report"
	"prestrike/rules/optics"
)

// The JSON forms of prestrike plan. Keys are always present, null means
// what is not known or was not asked for.
type (
	jsonFocus struct {
		Format           string         `json:"format"`
		Version          int            `json:"version"`
		Plan             string         `json:"plan"`
		Sensor           jsonSensor     `json:"sensor"`
		DepthMM          figure         `json:"depth_mm"`
		FocalMM          *figure        `json:"focal_length_mm"`
		Magnification    figure         `json:"magnification"`
		FarMagnification *figure        `json:"far_magnification"`
		FieldWidthMM     figure         `json:"field_width_mm"`
		Pupil            figure         `json:"pupil_magnification"`
		FNumbersAre      string         `json:"f_numbers_are"` // marked, working or numerical-aperture
		Overlap          figure         `json:"overlap"`
		MarginFrames     int            `json:"margin_frames"` // at each end
		BlurMM           figure         `json:"blur_mm"`
		GeometryOnly     bool           `json:"geometry_only"`
		RecyclingS       figure         `json:"recycling_s"`
		Rows             []jsonFocusRow `json:"rows"`
		Recommended      int            `json:"recommended"` // index in rows
		Why              string         `json:"why"`
		InOneFrame       jsonSingle     `json:"in_one_frame"`
		CameraStep       *int           `json:"camera_focus_step"` // at the recommended f-number, by a test run
	}
	jsonFocusRow struct {
		Aperture       string  `json:"aperture"`
		FNumber        figure  `json:"f_number"`
		Working        figure  `json:"working_f_number"`
		GeometricMM    *figure `json:"depth_of_field_geometric_mm"`
		WaveMM         figure  `json:"depth_of_field_wave_mm"`
		UsedMM         *figure `json:"depth_of_field_used_mm"`
		StepMM         *figure `json:"focus_step_mm"`
		FarStepMM      *figure `json:"far_focus_step_mm"`
		Frames         int     `json:"frames"`
		FramesNeeded   int     `json:"frames_needed"` // without the margin
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

// figureOrNull returns nothing, null in JSON, where f is not a finite number.
func figureOrNull[T ~float64](f T) *figure {
	if math.IsNaN(float64(f)) || math.IsInf(float64(f), 0) {
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
		Sensor:           sensor.json(),
		DepthMM:          millimetres(t.Depth),
		Magnification:    figure(p.Magnification),
		FarMagnification: figureOrNull(p.FarMagnification),
		FNumbersAre:      "marked",
		MarginFrames:     t.Margin,
		FieldWidthMM:     millimetres(sensor.Width / optics.Length(p.Magnification)),
		Pupil:            figure(t.PupilMagnification),
		Overlap:          figure(t.Overlap),
		BlurMM:           millimetres(p.Blur),
		GeometryOnly:     t.GeometryOnly,
		RecyclingS:       figure(t.Recycling),
		Recommended:      p.Recommended,
		Why:              p.Why,
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
	if set := sensor.camera.settingFor(&p.Rows[p.Recommended], t.WorkingFNumbers); set > 0 {
		out.CameraStep = &set
	}
	switch {
	case t.NumericalAperture > 0:
		out.FNumbersAre = "numerical-aperture"
	case t.WorkingFNumbers:
		out.FNumbersAre = "working"
	}
	if t.Focal > 0 {
		out.FocalMM = figureOrNull(t.Focal.Millimetres())
	}
	for _, r := range p.Rows {
		out.Rows = append(out.Rows, jsonFocusRow{
			Aperture:       r.Aperture,
			FNumber:        figure(r.FNumber),
			Working:        figure(r.Working),
			GeometricMM:    figureOrNull(r.Depth.Geometric.Millimetres()),
			WaveMM:         millimetres(r.Depth.Wave),
			UsedMM:         figureOrNull(r.Used.Millimetres()),
			StepMM:         figureOrNull(r.Step.Millimetres()),
			FarStepMM:      figureOrNull(r.FarStep.Millimetres()),
			Frames:         r.Frames,
			FramesNeeded:   r.Needed,
			Q:              figure(r.Q),
			MegapixelsLeft: figure(r.MegapixelsLeft),
			ExposureS:      figureOrNull(r.Exposure),
			TotalS:         figureOrNull(r.Total),
		})
	}
	return out
}

// writePlan writes a plan in the form asked for.
func writePlan(c *console, format string, json any, table func(b *bytes.Buffer, width int) error) error {
	var b bytes.Buffer
	write := func() error { return table(&b, c.textWidth(false)) }
	if format == "json" {
		write = func() error { return report.EncodeJSON(&b, json) }
	}
	if err := write(); err != nil {
		return err
	}
	_, err := c.out.Write(b.Bytes())
	return err
}
