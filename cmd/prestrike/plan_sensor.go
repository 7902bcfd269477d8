package main

import (
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"prestrike/audit"
	"prestrike/audit/config"
	"prestrike/audit/values"
	"prestrike/exifread"
	"prestrike/rules"
	"prestrike/rules/optics"

	"github.com/spf13/cobra"
)

// sensorFlags declare a sensor, or a frame of its body to take it from.
type sensorFlags struct {
	width  optics.Length
	pixels values.Size
	like   string
}

func (s *sensorFlags) addTo(cmd *cobra.Command) {
	addValue(cmd.Flags(), values.Length, &s.width, "sensor-width", "`WIDTH` of the sensor's long side, such as 36mm")
	addValue(cmd.Flags(), values.Pixels, &s.pixels, "pixels", "pixels of the sensor, `WxH` such as 8256x5504, or megapixels of a 3:2 sensor such as 45MP")
	cmd.Flags().StringVar(&s.like, "like", "", "take the sensor, where not given, from this frame's `FILE`")
}

// A foundSensor is a sensor with where its width is known from.
type foundSensor struct {
	optics.Sensor
	source string        // hostile text: may hold a file's name
	focal  optics.Length // that the frame records, 0 where there is none
	camera cameraStep    // what a test run of its body with its lens measured
}

// String describes the sensor in words.
func (s foundSensor) String() string {
	return fmt.Sprintf("%v wide, %s MP, pixel pitch %v (%s)", s.Width, megapixels(s.Megapixels()), s.Pitch(), s.source)
}

// find returns the sensor that the flags declare.
func (s *sensorFlags) find(cmd *cobra.Command) (foundSensor, error) {
	found := foundSensor{
		Sensor: optics.Sensor{Width: s.width, PixelWidth: s.pixels.Long, PixelHeight: s.pixels.Short},
		source: "as given",
	}
	widthGiven, pixelsGiven := cmd.Flags().Changed("sensor-width"), cmd.Flags().Changed("pixels")
	if s.like == "" {
		if widthGiven && pixelsGiven {
			return found, nil
		}
		return foundSensor{}, &usageError{errors.New("give the sensor: --sensor-width 36mm with --pixels 45MP, or --like FILE, a frame of the body"), cmd.CommandPath()}
	}
	meta, err := exifread.ReadFile(cmd.Context(), s.like)
	if err != nil {
		return foundSensor{}, fmt.Errorf("--like %s: %s: name a frame of the body, such as --like BX1_0001.JPG", s.like, plainError(err))
	}
	facts, opt, err := sensorFacts(meta, s.like)
	if err != nil {
		return foundSensor{}, err
	}
	found.camera = cameraStepOf(opt, meta)
	if facts.Focal >= optics.Millimetre && facts.Focal <= 2*optics.Metre { // what a plan takes
		found.focal = facts.Focal
	}
	if widthGiven && pixelsGiven {
		return found, nil
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
		return foundSensor{}, fmt.Errorf("--like %s: the sensor's width is not known (%s): give --sensor-width", s.like, strings.Join(reasons, "; "))
	}
	found.Width = estimate.Pitch * optics.Length(long)
	found.source = fmt.Sprintf("by the %v, from %s", estimate.Source, s.like)
	return found, nil
}

// sensorFacts returns what a frame records of its sensor, with what the
// configuration of its folder declares for the body; and that configuration.
func sensorFacts(m *exifread.Metadata, file string) (optics.SensorFacts, *audit.Options, error) {
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
		return facts, nil, err
	}
	for _, f := range files {
		if _, err := config.Read(opt, f); err != nil {
			return facts, nil, err
		}
	}
	same := func(a, b string) bool { return strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b)) }
	for _, body := range opt.Bodies {
		if same(body.Model, m.Model.Or("")) && (body.Make == "" || same(body.Make, m.Make.Or(""))) {
			facts.BodyWidth, facts.BodyPixels = optics.Length(body.SensorWidth)*optics.Millimetre, body.PixelWidth
		}
	}
	return facts, opt, nil
}
