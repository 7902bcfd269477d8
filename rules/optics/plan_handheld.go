package optics

// A HandheldTask is a frame to be made by hand.
type HandheldTask struct {
	Focal         Length  // focal length at the current focus, 1 to 2000 mm
	Magnification float64 // 0 (far away) to 20
	Sensor        Sensor
	Stops         float64 // rated stops of stabilisation, 0 to 10
	Radius        Length  // 1 to 1000 mm; 0 for [HandRadius]
}

// A HandheldPlan is how long a frame can be exposed by hand.
type HandheldPlan struct {
	Equivalent Length       // 35 mm equivalent focal length
	Radius     Length       // reckoned with
	Print      HandheldTime // for a picture that appears sharp in print
	Pixels     HandheldTime // for one that is sharp at 100 %
	PrintBlur  Length       // the blur allowed in a print
	PixelBlur  Length       // the blur allowed at 100 %
	// CloseUp reports whether the hand's travel, which no stabilisation
	// counters, is more than half of the blur in print.
	CloseUp bool
}

// A HandheldTime is the longest time for one standard of sharpness.
type HandheldTime struct {
	Stops   float64 // stops of stabilisation credited
	Limit   Seconds
	Setting Setting // the longest shutter setting within it, third stops; NaN where the shutter has none
}

// Plan computes the longest times for a picture that appears sharp in print and
// for one that is sharp at 100 %. The error is a [*RangeError].
// Source: [Handheld], [CreditedStops] and [Sharpness].
func (t HandheldTask) Plan() (*HandheldPlan, error) {
	if t.Radius == 0 {
		t.Radius = HandRadius
	}
	if err := firstError(
		within("focal length", t.Focal, Millimetre, 2*Metre, "mm"),
		within("magnification", t.Magnification, 0, 20, ""),
		t.Sensor.validate(),
		within("stops of stabilisation", t.Stops, 0, 10, ""),
		within("hand radius", t.Radius, Millimetre, Metre, "mm"),
	); err != nil {
		return nil, err
	}
	width, height := t.Sensor.Width, t.Sensor.Height()
	crop := CropFactor(width, height)
	p := &HandheldPlan{
		Equivalent: t.Focal * Length(crop),
		Radius:     t.Radius,
		PrintBlur:  PrintCoC(Diagonal(width, height)),
		PixelBlur:  min(PixelCoC(t.Sensor.Pitch()), PrintCoC(Diagonal(width, height))), // large pixels hide what a print shows
	}
	hand := Handheld{Focal: t.Focal, Crop: crop, Magnification: t.Magnification, Radius: t.Radius}
	at := func(sharpness float64, pixels bool) HandheldTime {
		hand.Stops, hand.Sharpness = CreditedStops(t.Stops, pixels), sharpness
		limit := hand.Limit()
		return HandheldTime{Stops: hand.Stops, Limit: limit, Setting: LongestShutter(limit)}
	}
	p.Pixels = at(Sharpness(p.PixelBlur, Diagonal(width, height)), true)
	p.Print = at(LooksSharp, false)
	p.CloseUp = hand.TravelShare() > 0.5
	return p, nil
}

// LongestShutter returns the longest shutter setting, in third stops, that is
// exactly no longer than limit; NaN where the shutter has none so short.
func LongestShutter(limit Seconds) Setting {
	for _, s := range ShutterTimes(ThirdStops) { // the longest first
		if Seconds(s.Exact) <= limit {
			return s
		}
	}
	return Setting{Marked: nan, Exact: nan}
}
