package optics_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	. "prestrike/rules/optics"
)

// inputs are one row's inputs by name; fractions such as 1/125 are allowed.
type inputs map[string]string

func (in inputs) num(t *testing.T, name string) float64 {
	t.Helper()
	s, ok := in[name]
	if !ok {
		t.Fatalf("no input %q in %v", name, in)
	}
	above, below, fraction := strings.Cut(s, "/")
	x, err := strconv.ParseFloat(above, 64)
	if err != nil {
		t.Fatalf("input %s=%s: %v", name, s, err)
	}
	if fraction {
		d, err := strconv.ParseFloat(below, 64)
		if err != nil {
			t.Fatalf("input %s=%s: %v", name, s, err)
		}
		x /= d
	}
	return x
}

// A check computes one row's quantity, in the row's unit, with our functions.
type check func(get func(string) float64, in inputs) float64

// constants are the rows without inputs, held against named constants.
var constants = map[string]float64{
	"recommended_overlap_step_ratio": StepRatio,
	"drift_tolerance_default":        DriftTolerance,
}

func mm(x float64) Length { return Length(x) * Millimetre }
func um(x float64) Length { return Length(x) * Micrometre }

func sensorSide(get func(string) float64, in inputs) float64 {
	unit := map[string]int{"inch": 2, "cm": 3, "mm": 4}[in["unit"]]
	return (PitchFromFocalPlane(get("fpx"), FocalPlaneUnit(unit)) * Length(get("px"))).Millimetres()
}

func limitAt(q float64) check {
	return func(get func(string) float64, _ inputs) float64 {
		return FNumberAtQ(q, um(get("lambda_um")), um(get("pitch_um")))
	}
}

// blurAtOptimum is the least that one frame blurs the ends of a focus spread.
func blurAtOptimum(spread, lambda Length) Length {
	return CombinedBlur(spread, lambda, OptimumWorkingFNumber(spread, lambda))
}

// pitchOf is the pixel pitch of a sensor with the given number of square pixels.
func pitchOf(width, height Length, pixels float64) Length {
	return Length(math.Sqrt(float64(width*height) / pixels))
}

// markedFNumber finds a marked f-number on the scale.
func markedFNumber(n float64, steps Steps) (Setting, bool) {
	for _, s := range FNumbers(steps) {
		if s.Marked == n {
			return s, true
		}
	}
	return Setting{}, false
}

// airyPixels is the Q at which the Airy disc is the given number of pixels wide.
func airyPixels(pixels float64) float64 { return pixels / float64(AiryDiameter(1, 1)) }

func workingFNumber(get func(string) float64, in inputs) float64 {
	return WorkingFNumber(get("N"), get("m"), pupil(get, in))
}

func pupil(get func(string) float64, in inputs) float64 {
	if _, ok := in["P"]; !ok {
		return SymmetricPupil
	}
	return get("P")
}

var checks = map[string]check{
	"conjugate_distance": func(get func(string) float64, _ inputs) float64 {
		return FocusDistance(mm(get("f")), get("m")).Millimetres()
	},
	"m_from_distance": func(get func(string) float64, _ inputs) float64 {
		return MagnificationFromDistance(mm(get("f")), mm(get("D")))
	},
	"m_from_field": func(get func(string) float64, _ inputs) float64 {
		return MagnificationFromField(mm(get("sensor_w")), mm(get("field_w")))
	},
	"focal_from_closest_focus": func(get func(string) float64, _ inputs) float64 {
		return FocalLengthAt(mm(get("D")), get("m")).Millimetres()
	},
	"m_calibrated": func(get func(string) float64, _ inputs) float64 {
		return CloseFocus{Focal: mm(get("f0")), Closest: mm(get("D1")), Largest: get("m1")}.Magnification(mm(get("D")))
	},
	"N_e": workingFNumber,
	"exposure_loss_stops": func(get func(string) float64, _ inputs) float64 {
		return ExposureLoss(get("m"), get("P"))
	},
	"implied_loss_stops": func(get func(string) float64, _ inputs) float64 {
		return FNumberStops(get("N_infinity"), get("N_shown"))
	},
	"object_NA": func(get func(string) float64, _ inputs) float64 { return ObjectNA(get("N_e"), get("m")) },
	"hyperfocal_def1": func(get func(string) float64, _ inputs) float64 {
		return Hyperfocal(mm(get("f")), get("N"), mm(get("c"))).Millimetres()
	},
	"hyperfocal_def2": func(get func(string) float64, _ inputs) float64 {
		return HyperfocalAtInfinity(mm(get("f")), get("N"), mm(get("c"))).Millimetres()
	},
	"near_limit": func(get func(string) float64, _ inputs) float64 {
		return NearLimit(mm(get("f")), get("N"), mm(get("c")), mm(get("s"))).Millimetres()
	},
	"far_limit": func(get func(string) float64, _ inputs) float64 {
		return FarLimit(mm(get("f")), get("N"), mm(get("c")), mm(get("s"))).Millimetres()
	},
	"dof_macro_total": func(get func(string) float64, in inputs) float64 {
		return GeometricDepth(mm(get("c")), workingFNumber(get, in), get("m")).Millimetres()
	},
	"dof_wave_total": func(get func(string) float64, _ inputs) float64 {
		if get("n") != 1 { // air alone
			return math.NaN()
		}
		return WaveDepth(um(get("lambda_um")), WorkingFNumberFromNA(get("NA"), 1), 1).Micrometres()
	},
	"dof_wave_total_from_Ne": func(get func(string) float64, _ inputs) float64 {
		return WaveDepth(um(get("lambda_um")), get("N_e"), get("m")).Millimetres()
	},
	"airy_diameter": func(get func(string) float64, _ inputs) float64 {
		return AiryDiameter(um(get("lambda_um")), get("N")).Micrometres()
	},
	"Q": func(get func(string) float64, _ inputs) float64 {
		return Q(um(get("lambda_um")), um(get("pitch_um")), get("N"))
	},
	"mtf_diffraction": func(get func(string) float64, _ inputs) float64 { return MTF(get("s")) },
	"rayleigh_distance": func(get func(string) float64, _ inputs) float64 {
		return AiryDiameter(um(get("lambda_um")), get("N")).Micrometres() / 2
	},
	"N_rayleigh_equals_pitch": limitAt(airyPixels(2)),
	"N_limit_airy_2px":        limitAt(airyPixels(2)),
	"N_limit_airy_2.5px":      limitAt(QNotice),
	"N_limit_rayleigh_2px":    limitAt(QWarning),
	"N_limit_cutoff_nyquist":  limitAt(QCutoff),
	"coc_d1500": func(get func(string) float64, in inputs) float64 {
		if _, ok := in["diagonal_mm"]; ok {
			return PrintCoC(mm(get("diagonal_mm"))).Millimetres()
		}
		return PrintCoC(Diagonal(mm(get("w_mm")), mm(get("h_mm")))).Millimetres()
	},
	"equiv_megapixels_rayleigh": func(get func(string) float64, _ inputs) float64 {
		return MegapixelsLeft(get("mp"), Q(um(get("lambda_um")), um(get("pitch_um")), get("N_e")))
	},
	"N_e_opt": func(get func(string) float64, _ inputs) float64 {
		return OptimumWorkingFNumber(mm(get("focus_spread_mm")), mm(get("lambda_mm")))
	},
	"hansma_constant": func(get func(string) float64, _ inputs) float64 { // Ne² per mm of focus spread
		return math.Pow(OptimumWorkingFNumber(mm(1), mm(get("lambda_mm"))), 2)
	},
	"N_opt_macro": func(get func(string) float64, _ inputs) float64 {
		return OptimumFNumber(mm(get("depth_mm")), mm(get("lambda_mm")), get("m"), get("P"))
	},
	"blur_at_optimum": func(get func(string) float64, _ inputs) float64 {
		return blurAtOptimum(ImageSpread(mm(get("depth_mm")), get("m")), mm(get("lambda_mm"))).Millimetres()
	},
	"airy_blur_coefficient": func(get func(string) float64, _ inputs) float64 {
		return AiryDiameter(um(get("lambda_um")), 1).Micrometres()
	},
	"step_object_max": func(get func(string) float64, in inputs) float64 {
		return FocusStep(GeometricDepth(mm(get("c")), workingFNumber(get, in), get("m")), get("overlap")).Millimetres()
	},
	"frames_to_cover": func(get func(string) float64, _ inputs) float64 {
		n, err := FramesToCover(mm(get("depth_mm")), mm(get("step_mm")))
		if err != nil {
			return math.NaN()
		}
		return float64(n)
	},
	"step_image_from_object": func(get func(string) float64, _ inputs) float64 {
		return ImageSpread(mm(get("step_mm")), get("m")).Millimetres()
	},
	"sensor_width_from_exif":           sensorSide,
	"sensor_height_from_exif":          sensorSide,
	"sensor_width_from_exif_wrong_tag": sensorSide,
	"sensor_width_from_exif_stale_tag": sensorSide,
	"pitch_from_exif": func(get func(string) float64, in inputs) float64 {
		return PitchFromFocalPlane(get("fpx"), FocalPlaneUnit(map[string]int{"inch": 2, "cm": 3}[in["unit"]])).Micrometres()
	},
	"crop_factor_diagonal": func(get func(string) float64, _ inputs) float64 {
		return CropFactor(mm(get("w_mm")), mm(get("h_mm")))
	},
	"pitch_from_width": func(get func(string) float64, _ inputs) float64 {
		return PitchFromWidth(mm(get("w_mm")), int(get("px"))).Micrometres()
	},
	"sensor_diagonal_from_f35": func(get func(string) float64, _ inputs) float64 {
		return DiagonalFromEquivalent(mm(get("f")), mm(get("f35"))).Millimetres()
	},
	"EV": func(get func(string) float64, _ inputs) float64 { return Av(get("N")) + Tv(Seconds(get("t"))) },
	"EV100": func(get func(string) float64, _ inputs) float64 {
		return Av(get("N")) + Tv(Seconds(get("t"))) - (Sv(get("ISO")) - Sv(100))
	},
	"t_reciprocal": func(get func(string) float64, _ inputs) float64 {
		return float64(Handheld{Focal: mm(get("f35")), Crop: 1, Sharpness: LooksSharp}.Limit())
	},
	"t_with_stabilization": func(get func(string) float64, _ inputs) float64 {
		return float64(Handheld{Focal: mm(get("f35")), Crop: 1, Stops: get("stops"), Sharpness: LooksSharp}.Limit())
	},
	"blur_threshold_as_fraction_of_diagonal": func(get func(string) float64, _ inputs) float64 {
		return float64(Diagonal(FullFrameWidth, FullFrameHeight) / um(get("threshold_um")))
	},
	"t_macro": func(get func(string) float64, _ inputs) float64 {
		return float64(Handheld{Focal: mm(get("f")), Crop: get("k"), Magnification: get("m"), Stops: get("stops"), Sharpness: LooksSharp}.Limit())
	},
	"t_pixel_level": func(get func(string) float64, _ inputs) float64 {
		sharpness := Sharpness(um(get("c_um")), um(get("c_ref_um"))*PrintDivisor)
		return float64(Handheld{Focal: mm(get("f")), Crop: get("k"), Magnification: get("m"), Sharpness: sharpness}.Limit())
	},
	"frames_for_clip": func(get func(string) float64, _ inputs) float64 {
		return ClipFrames(Seconds(get("clip_s")), get("fps"))
	},
	"real_time_covered": func(get func(string) float64, _ inputs) float64 {
		return float64(TimeCovered(int(get("frames")), Seconds(get("interval_s"))))
	},
	"frames_in_span": func(get func(string) float64, _ inputs) float64 {
		n, err := IntervalFrames(Seconds(get("span_s")), Seconds(get("interval_s")))
		if err != nil {
			return math.NaN()
		}
		return float64(n - 1) // the row counts without the frame at the end
	},
	"speedup": func(get func(string) float64, _ inputs) float64 {
		return SpeedUp(Seconds(get("interval_s")), get("fps"))
	},
	"exposure_for_angle": func(get func(string) float64, _ inputs) float64 {
		return float64(TimeForAngle(get("angle"), Seconds(1/get("fps"))))
	},
	"shutter_angle": func(get func(string) float64, _ inputs) float64 {
		return ShutterAngle(Seconds(get("t")), Seconds(1/get("fps")))
	},
	"mains_safe": func(get func(string) float64, _ inputs) float64 {
		if get("max_ripple") != RippleNotice {
			return math.NaN()
		}
		if Ripple(get("flicker_hz"), Seconds(get("t"))) <= RippleNotice {
			return 1
		}
		return 0
	},
	"flicker_frequency": func(get func(string) float64, _ inputs) float64 { return FlickerFrequency(get("mains_hz")) },
	"ripple_fraction": func(get func(string) float64, _ inputs) float64 {
		return Ripple(get("flicker_hz"), Seconds(get("t")))
	},
	"Av":        func(get func(string) float64, _ inputs) float64 { return Av(get("N")) },
	"Tv":        func(get func(string) float64, _ inputs) float64 { return Tv(Seconds(get("t"))) },
	"N_from_Av": func(get func(string) float64, _ inputs) float64 { return FNumberFromAv(get("Av")) },
	"Sv":        func(get func(string) float64, _ inputs) float64 { return Sv(get("S")) },
	"Ev":        func(get func(string) float64, _ inputs) float64 { return Av(get("N")) + Tv(Seconds(get("t"))) },
	"nominal_error": func(get func(string) float64, in inputs) float64 {
		// The row's exact value must be the one our scale has for its nominal one.
		if _, ok := in["t_nominal"]; ok {
			s, ok := SnapShutter(Seconds(get("t_nominal")), ThirdStops)
			if !ok || math.Abs(s.Exact-get("t_exact")) > 1e-9 {
				return math.NaN()
			}
			return math.Abs(Tv(Seconds(s.Exact)) - Tv(Seconds(get("t_nominal"))))
		}
		s, ok := markedFNumber(get("N_nominal"), ThirdStops)
		if !ok || math.Abs(s.Exact-get("N_exact")) > 1e-6 {
			return math.NaN()
		}
		return math.Abs(FNumberStops(get("N_nominal"), s.Exact))
	},
	"nominal_vs_measured_shutter_error": func(get func(string) float64, _ inputs) float64 {
		return Tv(Seconds(get("t_nominal"))) - Tv(Seconds(get("t_measured")))
	},
	"N_after_stops": func(get func(string) float64, _ inputs) float64 {
		return FNumberAfterStops(get("N"), get("stops"))
	},
}

// printed is half a unit of the last digit the table gives where its tolerance
// is 0, such as 0.16666667 for 1/6.
const printed = 1e-8

func TestPublishedAndDerivedFigures(t *testing.T) {
	f, err := os.Open("testdata/checks.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"topic", "quantity", "inputs", "expected", "tolerance", "unit", "source", "kind"}; strings.Join(rows[0], ",") != strings.Join(want, ",") {
		t.Fatalf("columns %v, want %v", rows[0], want)
	}
	rows = rows[1:]
	if len(rows) != 175 {
		t.Errorf("%d rows, want 175", len(rows))
	}
	seen := map[string]bool{}
	for _, row := range rows {
		topic, quantity, expected, tolerance, source := row[0], row[1], row[3], row[4], row[6]
		seen[quantity] = true
		t.Run(topic+"/"+quantity+"/"+row[2], func(t *testing.T) {
			want, err := strconv.ParseFloat(expected, 64)
			if err != nil {
				t.Fatal(err)
			}
			tol, err := strconv.ParseFloat(tolerance, 64)
			if err != nil {
				t.Fatal(err)
			}
			if source == "" {
				t.Error("the row names no source")
			}
			var got float64
			if constant, ok := constants[quantity]; ok {
				got = constant
			} else if compute, ok := checks[quantity]; ok {
				in := inputs{}
				for pair := range strings.SplitSeq(row[2], ";") {
					name, value, _ := strings.Cut(pair, "=")
					in[name] = value
				}
				got = compute(func(name string) float64 { return in.num(t, name) }, in)
			} else {
				t.Fatalf("nothing computes %s", quantity)
			}
			if !(math.Abs(got-want) <= tol+printed*max(1, math.Abs(want))) {
				t.Errorf("%s(%s) = %v, want %v ± %v (%s)", quantity, row[2], got, want, tol, source)
			}
		})
	}
	for quantity := range checks {
		if !seen[quantity] {
			t.Errorf("no row has %s", quantity)
		}
	}
	for quantity := range constants {
		if !seen[quantity] {
			t.Errorf("no row has %s", quantity)
		}
	}
}
