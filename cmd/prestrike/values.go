package main

import (
	"fmt"
	"strconv"
	"time"

	"prestrike/audit/report"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// A value is one field of a file's metadata, in words and for JSON.
type value struct {
	key   string // in JSON, with its unit
	label string // in tables
	known bool
	text  string // as people write it; hostile text
	json  any
}

// valueOf returns a field with its two ways to be written.
func valueOf[T any](key, label string, v exifread.Value[T], text func(T) string, toJSON func(T) any) value {
	got, known := v.Get()
	if !known {
		return value{key: key, label: label}
	}
	return value{key, label, true, text(got), toJSON(got)}
}

// valuesOf returns every field of the metadata that may or may not be recorded.
func valuesOf(m *exifread.Metadata) []value {
	return []value{
		text("exif_version", "Exif version", m.ExifVersion),
		text("make", "make", m.Make),
		text("model", "model", m.Model),
		text("body_serial", "body serial", m.BodySerial),
		text("lens_make", "lens make", m.LensMake),
		text("lens_model", "lens model", m.LensModel),
		text("lens_serial", "lens serial", m.LensSerial),
		valueOf("lens_specification", "lens specification", m.LensSpecification, lensText, lensJSON),
		valueOf("captured", "captured", m.Captured, capturedText, capturedJSON),
		valueOf("exposure_time_s", "exposure time", m.ExposureTime, shoot.FormatExposureTime, quotient),
		valueOf("f_number", "f-number", m.FNumber, shoot.FormatFNumber, quotient),
		valueOf("max_aperture_apex", "largest aperture", m.MaxApertureValue, decimalText("APEX"), quotient),
		valueOf("iso", "sensitivity", m.Sensitivity, shoot.FormatISO, number),
		valueOf("sensitivity_type", "sensitivity type", m.SensitivityType, sensitivityTypeText, number),
		valueOf("focal_length_mm", "focal length", m.FocalLength, shoot.FormatFocalLength, quotient),
		valueOf("focal_length_35mm_mm", "35 mm equivalent", m.FocalLength35, unitText[uint32]("mm"), number),
		valueOf("exposure_program", "exposure program", m.ExposureProgram, programText, number),
		valueOf("exposure_mode", "exposure mode", m.ExposureMode, modeText, number),
		valueOf("exposure_bias_ev", "exposure bias", m.ExposureBias, decimalText("EV"), quotient),
		valueOf("metering_mode", "metering mode", m.MeteringMode, standardText, number),
		valueOf("flash", "flash", m.Flash, flashText, number),
		valueOf("light_source", "light source", m.LightSource, standardText, number),
		valueOf("digital_zoom_ratio", "digital zoom", m.DigitalZoomRatio, decimalText("times"), quotient),
		valueOf("scene_capture_type", "scene capture type", m.SceneCaptureType, standardText, number),
		valueOf("custom_rendered", "custom rendered", m.CustomRendered, standardText, number),
		valueOf("white_balance", "white balance", m.WhiteBalance, whiteBalanceText, number),
		valueOf("subject_distance_m", "subject distance", m.SubjectDistance, distanceText, distanceJSON),
		valueOf("subject_distance_range", "distance range", m.SubjectDistanceRange, standardText, number),
		valueOf("orientation", "orientation", m.Orientation, standardText, number),
		valueOf("width", "width", m.Width, unitText[uint32]("pixels"), number),
		valueOf("height", "height", m.Height, unitText[uint32]("pixels"), number),
		valueOf("pixel_x_dimension", "width in Exif", m.PixelXDimension, unitText[uint32]("pixels"), number),
		valueOf("pixel_y_dimension", "height in Exif", m.PixelYDimension, unitText[uint32]("pixels"), number),
		valueOf("focal_plane_x_resolution", "focal plane x", m.FocalPlaneXResolution, decimalText("pixels per unit"), quotient),
		valueOf("focal_plane_y_resolution", "focal plane y", m.FocalPlaneYResolution, decimalText("pixels per unit"), quotient),
		valueOf("focal_plane_resolution_unit", "focal plane unit", m.FocalPlaneResolutionUnit, planeUnitText, number),
		valueOf("image_number", "image number", m.ImageNumber, unitText[uint32](""), number),
		valueOf("composite_image", "composite image", m.CompositeImage, compositeText, number),
		valueOf("composite_sources", "composite sources", m.CompositeSources, sourcesText, sourcesJSON),
		text("software", "software", m.Software),
	}
}

func text(key, label string, v exifread.Value[string]) value {
	return valueOf(key, label, v, func(s string) string { return s }, func(s string) any { return report.JSONText(s) })
}

func number[T any](v T) any { return v }

func quotient(r exifread.Rational) any { return report.FiniteOrNull(r.Float()) }

func unitText[T any](unit string) func(T) string {
	return func(v T) string {
		if unit == "" {
			return fmt.Sprint(v)
		}
		return fmt.Sprintf("%v %s", v, unit)
	}
}

func decimalText(unit string) func(exifread.Rational) string {
	return func(r exifread.Rational) string { return decimal(r.Float()) + " " + unit }
}

func decimal(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

// standardText writes a number that CIPA DC-008 gives a meaning.
func standardText(v uint16) string { return fmt.Sprintf("%d, by the Exif standard", v) }

func numbered(v uint16, names map[uint16]string) string {
	if name, ok := names[v]; ok {
		return name
	}
	return standardText(v)
}

func programText(v exifread.ExposureProgram) string {
	return numbered(uint16(v), map[uint16]string{
		uint16(exifread.ProgramManual): "manual", uint16(exifread.ProgramNormal): "program",
		uint16(exifread.ProgramAperturePriority): "aperture priority", uint16(exifread.ProgramShutterPriority): "shutter priority",
	})
}

func modeText(v exifread.ExposureMode) string {
	return numbered(uint16(v), map[uint16]string{
		uint16(exifread.ExposureAuto): "automatic", uint16(exifread.ExposureManual): "manual", uint16(exifread.ExposureBracket): "bracket",
	})
}

func whiteBalanceText(v exifread.WhiteBalance) string {
	return numbered(uint16(v), map[uint16]string{
		uint16(exifread.WhiteBalanceAuto): "automatic", uint16(exifread.WhiteBalanceManual): "manual",
	})
}

func sensitivityTypeText(v exifread.SensitivityType) string {
	return numbered(uint16(v), map[uint16]string{
		1: "standard output sensitivity", 2: "recommended exposure index", 3: "ISO speed",
	})
}

func compositeText(v uint16) string {
	return numbered(v, map[uint16]string{1: "no", 2: "put together", 3: "put together while it was shot"})
}

func sourcesText(s exifread.CompositeSources) string {
	part := func(v exifread.Value[uint16]) string {
		if n, ok := v.Get(); ok {
			return fmt.Sprint(n)
		}
		return "?"
	}
	return fmt.Sprintf("%s taken, %s used", part(s.Taken), part(s.Used))
}

func sourcesJSON(s exifread.CompositeSources) any {
	part := func(v exifread.Value[uint16]) *uint16 {
		if n, ok := v.Get(); ok {
			return &n
		}
		return nil
	}
	return struct {
		Taken *uint16 `json:"taken"`
		Used  *uint16 `json:"used"`
	}{part(s.Taken), part(s.Used)}
}

func planeUnitText(v uint16) string {
	return numbered(v, map[uint16]string{2: "inch", 3: "cm", 4: "mm", 5: "µm"})
}

func flashText(v exifread.Flash) string {
	if v.Fired() {
		return fmt.Sprintf("fired (%#02x)", uint16(v))
	}
	return fmt.Sprintf("did not fire (%#02x)", uint16(v))
}

func distanceText(d exifread.Distance) string {
	switch d.State {
	case exifread.DistanceInfinity:
		return "infinity"
	case exifread.DistanceMetres:
		return decimal(d.Metres) + " m"
	default:
		return "recorded as unknown"
	}
}

// distanceJSON writes metres, or a word where the standard has one.
func distanceJSON(d exifread.Distance) any {
	switch d.State {
	case exifread.DistanceInfinity:
		return "infinity"
	case exifread.DistanceMetres:
		return report.FiniteOrNull(d.Metres)
	default:
		return "unknown"
	}
}

func capturedText(t exifread.Timestamp) string {
	offset := (*time.Duration)(nil)
	if o, ok := t.Offset.Get(); ok {
		offset = &o
	}
	return report.FormatTime(t.Wall, t.Resolution, offset)
}

func capturedJSON(t exifread.Timestamp) any { return capturedText(t) }

func lensText(l exifread.LensSpecification) string {
	part := func(v exifread.Value[float64]) string {
		if n, ok := v.Get(); ok {
			return decimal(n)
		}
		return "?"
	}
	return fmt.Sprintf("%s to %s mm, f/%s to f/%s", part(l.MinFocal), part(l.MaxFocal), part(l.MinFNumberMinFocal), part(l.MinFNumberMaxFocal))
}

func lensJSON(l exifread.LensSpecification) any {
	part := func(v exifread.Value[float64]) *float64 {
		if n, ok := v.Get(); ok {
			return report.FiniteOrNull(n)
		}
		return nil
	}
	return struct {
		MinFocal           *float64 `json:"min_focal_mm"`
		MaxFocal           *float64 `json:"max_focal_mm"`
		MinFNumberMinFocal *float64 `json:"min_f_number_at_min_focal"`
		MinFNumberMaxFocal *float64 `json:"min_f_number_at_max_focal"`
	}{part(l.MinFocal), part(l.MaxFocal), part(l.MinFNumberMinFocal), part(l.MinFNumberMaxFocal)}
}
