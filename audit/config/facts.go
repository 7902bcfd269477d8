package config

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/audit/values"
)

// A Fact is one thing that users may declare of a shoot, in a file and, where it has a
// flag, on the command line. To add one: its field in [audit.Options], and its entry in
// facts.
type Fact struct {
	key[audit.Options]
	// Flag is its name on the command line, empty where it has none; Usage the help.
	Flag, Usage string
	Form        Form
	// Words are those of a Word, the default first, each with what it means behind a
	// tab.
	Words []string

	limit  Range  // of a number
	unless string // what is shown where it is not declared
	start  string // the value that declares nothing, for the starting file
	// replaces is the field of another way to declare the same, nil where there is none.
	replaces func(*audit.Options) *float64
}

// A Form is how a fact is written on the command line.
type Form uint8

// The forms.
const (
	Word          Form = iota // one of a few
	Count                     // a whole number
	Magnification             // a ratio: 1:2 or 0.5
	Length                    // a length with its unit; in mm without one
)

// facts are all that users may declare of a shoot, in the order of the command line's
// help and of the settings shown.
var facts = []*Fact{
	{
		key: wordKey("support", func(o *audit.Options) *shoot.Support { return &o.Support }, shoot.ParseSupport).
			comments(`"tripod"`, "auto, tripod or handheld"),
		Flag: "support", Usage: "how the camera was held",
		Words:  []string{"auto\tdecided for each sequence", "tripod\tall frames were made on a tripod", "handheld\tall frames were made by hand"},
		unless: `"auto"`, start: `"auto"`,
	},
	{
		key: countKey("planned-frames", func(o *audit.Options) *int { return &o.PlannedFrames }, plannedRange).
			comments("50", "frames of each focus sequence, such as 50; 0 is not planned"),
		Flag: "planned-frames", Usage: "the number of frames, `N`, that each focus sequence should have", Form: Count,
		limit: plannedRange, unless: "not planned", start: "0",
	},
	{
		key: countKey("planned-time-lapse", func(o *audit.Options) *int { return &o.PlannedTimeLapse }, plannedRange).
			comments("240", "frames of each time-lapse, such as 240"),
		Flag: "planned-time-lapse", Usage: "the number of frames, `N`, that each time-lapse should have", Form: Count,
		limit: plannedRange, unless: "not planned", start: "0",
	},
	{
		key: countKey("planned-views", func(o *audit.Options) *int { return &o.PlannedViews }, plannedRange).
			comments("12", "views, such as 12, one focus sequence each; faulty sequences beyond that number count as shot again"),
		Flag: "planned-views", Usage: "the number of views, `N`, to be shot, one focus sequence each", Form: Count,
		limit: plannedRange, unless: "not planned", start: "0",
	},
	{
		key: orNone(wordKey("courier", func(o *audit.Options) *time.Duration { return &o.Courier }, parseClock),
			func(o *audit.Options) *time.Duration { return &o.Courier }).
			comments(`"16:00"`, "when the subject leaves, such as \"16:00\": whether what is open of the shot list still fits"),
		unless: "not declared", start: none,
	},
	{
		key: wordKey("retake-within", func(o *audit.Options) *time.Duration { return &o.RetakeWithin }, parseGap("retake-within")).
			comments(`"15m"`, "time within which a sequence shot again counts as a retake"),
		unless: `"15m"`, start: `"15m"`,
	},
	{
		key: wordKey("session-gap", func(o *audit.Options) *time.Duration { return &o.SessionGap }, parseGap("session-gap")).
			comments(`"3h"`, "time without a frame that ends a session"),
		unless: `"3h"`, start: `"3h"`,
	},
	{
		key: orNone(numberKey("magnification", func(o *audit.Options) *float64 { return &o.Magnification }, values.Magnification, magnificationRange),
			func(o *audit.Options) *float64 { return &o.Magnification }).
			comments(`"1:1"`, "size on the sensor over size of the subject, such as \"1:2\" or 0.5"),
		Flag: "magnification", Usage: "size on the sensor over size of the subject, `M` such as 1:2 or 0.5", Form: Magnification,
		limit: magnificationRange, unless: "not declared", start: none,
	},
	{
		key: orNone(numberKey("field-width-mm", func(o *audit.Options) *float64 { return &o.FieldWidth }, millimetres, fieldWidthRange),
			func(o *audit.Options) *float64 { return &o.FieldWidth }).
			comments("36", "or the width of what the frame shows, such as \"8cm\""),
		Flag: "field-width", Usage: "`WIDTH` of what the frame shows, such as 8cm: gives the magnification", Form: Length,
		limit: fieldWidthRange, unless: "not declared", start: none,
		replaces: func(o *audit.Options) *float64 { return &o.Magnification },
	},
	{
		key: wordKey("light", func(o *audit.Options) *audit.Light { return &o.Light }, audit.ParseLight).
			comments(`"mains50"`, "unknown, mains50, mains60, flash or daylight"),
		Flag: "light", Usage: "what lit the subject",
		Words:  []string{"unknown\tnot declared", "mains50\tlamps on 50 Hz mains", "mains60\tlamps on 60 Hz mains", "flash\tflash", "daylight\tdaylight"},
		unless: `"unknown"`, start: `"unknown"`,
	},
	{
		key: wordKey("pixels", func(o *audit.Options) *audit.Pixels { return &o.Pixels }, audit.ParsePixels).
			comments(`"auto"`, "auto, on or off: whether to inspect the pictures themselves"),
		Flag: "pixels", Usage: "whether to inspect the pictures themselves",
		Words:  []string{"auto\tthose of focus sequences, time-lapses and series", "on\tthose of all sequences", "off\tnone: only what the frames record"},
		unless: `"auto"`, start: `"auto"`,
	},
}

// none is how a file takes back what another declares.
const none = `"none"`

// orNone is a key that also reads "none": nothing is declared.
func orNone[T, V any](k key[T], field func(*T) *V) key[T] {
	set := k.set
	k.set = func(to *T, value any) (string, error) {
		if text, ok := value.(string); ok && strings.EqualFold(strconv.Quote(text), none) {
			var nothing V
			*field(to) = nothing
			return none, nil
		}
		return set(to, value)
	}
	return k
}

// bodyKeys are what users may declare of a body, and lensKeys of a lens.
var (
	bodyKeys = []key[audit.BodyFacts]{
		nameKey("make", func(b *audit.BodyFacts) *string { return &b.Make }).comments(`"Borealis"`, ""),
		nameKey("model", func(b *audit.BodyFacts) *string { return &b.Model }).comments(`"BX-1"`, ""),
		numberKey("sensor-width-mm", func(b *audit.BodyFacts) *float64 { return &b.SensorWidth }, millimetres, Range{3, 100, "mm"}).comments("36", ""),
		countKey("pixel-width", func(b *audit.BodyFacts) *int { return &b.PixelWidth }, Range{100, 100_000, "pixels"}).comments("8256", "of a full-size frame"),
		wordKey("f-numbers", func(b *audit.BodyFacts) *audit.FNumbers { return &b.FNumbers }, parseFNumbers).
			comments(`"nominal"`, `or "effective": what it records close up`),
	}
	lensKeys = []key[audit.LensFacts]{
		nameKey("model", func(l *audit.LensFacts) *string { return &l.Model }).comments(`"Borealis 90 mm macro"`, ""),
		numberKey("closest-focus-mm", func(l *audit.LensFacts) *float64 { return &l.ClosestFocus }, millimetres, Range{10, 100_000, "mm"}).
			comments("290", "from the subject to the sensor, such as \"0.29m\""),
		numberKey("largest-magnification", func(l *audit.LensFacts) *float64 { return &l.LargestMagnification }, values.Magnification, magnificationRange).comments(`"1:1"`, ""),
		numberKey("pupil-magnification", func(l *audit.LensFacts) *float64 { return &l.PupilMagnification }, values.Quantity(""), Range{0.1, 10, ""}).comments("1", "exit over entrance pupil"),
		numberKey("stabilisation-stops", func(l *audit.LensFacts) *float64 { return &l.Stabilisation }, values.Quantity("stops"), Range{0, 10, "stops"}).comments("4", "as rated; 0 for none"),
		wordKey("f-numbers", func(l *audit.LensFacts) *audit.FNumbers { return &l.FNumbers }, parseFNumbers).comments(`"nominal"`, ""),
	}
)

// millimetres is the kind of a length that is kept in mm.
var millimetres = values.Quantity("mm")

var (
	plannedRange       = Range{0, 100_000, ""}
	magnificationRange = Range{0.001, 100, ""}
	fieldWidthRange    = Range{0.1, 100_000, "mm"}
)

// Facts returns what users may declare of a shoot.
func Facts() []*Fact { return facts }

// Replace takes back what declares the same in another way: what is declared on the
// command line holds before that in a file.
func (f *Fact) Replace(o *audit.Options) {
	if f.replaces != nil {
		*f.replaces(o) = 0
	}
}

// Declare sets the fact to a value of the command line: a string for a word, an int
// for a count, a float64 else, lengths in mm. It returns the setting made.
func (f *Fact) Declare(o *audit.Options, value any, origin string) (Setting, error) {
	switch v := value.(type) {
	case int:
		if err := f.limit.Check(float64(v)); err != nil {
			return Setting{}, err
		}
		value = int64(v)
	case float64:
		if err := f.limit.Check(v); err != nil {
			return Setting{}, err
		}
	}
	shown, err := f.set(o, value)
	return Setting{"shoot." + f.name, shown, origin}, err
}

func parseGap(key string) func(string) (time.Duration, error) {
	return func(word string) (time.Duration, error) {
		t, err := values.Time.Read(word)
		if gap := values.Duration(t); err == nil && gap >= time.Minute {
			return gap, nil
		}
		return 0, fmt.Errorf(`%s is %q: write a time of a minute or more, such as "90m", "2h30m" or "3h"`, key, word)
	}
}

// parseClock reads a time of the day, as time since midnight.
func parseClock(word string) (time.Duration, error) {
	since, err := values.Clock.Read(word)
	if err != nil || since == 0 {
		return 0, fmt.Errorf(`courier is %q: write a time of the day from "00:01" to "23:59", such as "16:00"`, word)
	}
	return since, nil
}

func parseFNumbers(word string) (audit.FNumbers, error) {
	switch word {
	case "nominal":
		return audit.FNumbersNominal, nil
	case "effective":
		return audit.FNumbersEffective, nil
	}
	return audit.FNumbersUnknown, fmt.Errorf(`f-numbers is %q: write "nominal" or "effective"`, word)
}
