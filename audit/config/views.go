package config

import (
	"fmt"
	"strconv"
	"strings"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/audit/values"
)

// viewKeys are what users may declare of a view of the shot list.
var viewKeys = []key[audit.View]{
	nameKey("name", func(v *audit.View) *string { return &v.Name }).comments(`"front, raking light"`, ""),
	kindKey.comments(`"focus"`, "focus, bracket, time-lapse, burst or single"),
	countKey("frames", func(v *audit.View) *int { return &v.Frames }, Range{1, 100_000, ""}).comments("40", ""),
	countKey("fewest-frames", func(v *audit.View) *int { return &v.FewestFrames }, Range{2, 100_000, ""}).comments("34", "of a focus sequence: fewer would leave gaps; prestrike plan --add writes it"),
	numberKey("overlap", func(v *audit.View) *float64 { return &v.Overlap }, values.Share, Range{0.01, 0.95, ""}).comments(`"40%"`, "of the sharp depth, between neighbours in a focus sequence of that number"),
	numberKey("f-number", func(v *audit.View) *float64 { return &v.FNumber }, values.FNumber, Range{0.5, 256, ""}).comments("8", ""),
	numberKey("iso", func(v *audit.View) *float64 { return &v.ISO }, values.Quantity(""), Range{1, 10_000_000, ""}).comments("100", ""),
	numberKey("exposure-time", func(v *audit.View) *float64 { return &v.ExposureTime }, values.Seconds, Range{1e-6, 36_000, "s"}).comments(`"1/4"`, "seconds, in quotes where it is a fraction"),
	numberKey("magnification", func(v *audit.View) *float64 { return &v.Magnification }, values.Magnification, magnificationRange).comments(`"1:2"`, ""),
	nameKey("body", func(v *audit.View) *string { return &v.Body }).comments(`"BX-1"`, "its model, as prestrike frames shows it"),
	flagKey("optional", func(v *audit.View) *bool { return &v.Optional }).comments("true", "it may be left out"),
	nameKey("sequence", func(v *audit.View) *string { return &v.Sequence }).comments(`"BX1_0043.JPG"`, "any frame of the sequence that shows it"),
}

var kindKey = key[audit.View]{name: "kind", set: func(v *audit.View, value any) (string, error) {
	word, err := asText("kind", value)
	if err != nil {
		return "", err
	}
	for _, k := range []shoot.Kind{shoot.Focus, shoot.Bracket, shoot.TimeLapse, shoot.Burst, shoot.Single} {
		if k.String() == word {
			v.Kind, v.HasKind = k, true
			return strconv.Quote(word), nil
		}
	}
	return "", fmt.Errorf(`kind is %q: write "focus", "bracket", "time-lapse", "burst" or "single"`, word)
}}

// flagKey is a key for true or false.
func flagKey(name string, field func(*audit.View) *bool) key[audit.View] {
	return key[audit.View]{name: name, set: func(to *audit.View, value any) (string, error) {
		v, ok := value.(bool)
		if !ok {
			return "", fmt.Errorf("%s is %v: write true or false", name, written(value))
		}
		*field(to) = v
		return strconv.FormatBool(v), nil
	}}
}

func (r *reader) views(c *document) {
	if len(c.View) > 0 {
		r.o.Views = nil // the shot list of the nearest file holds
	}
	at := map[string]bool{}
	for i, values := range c.View {
		place := fmt.Sprintf("view[%d]", i)
		var v audit.View
		named := len(r.settings)
		table(r, "view", place, values, viewKeys, &v)
		v.Name = strings.TrimSpace(v.Name)
		r.fewest(place, &v)
		switch same := viewKey(v.Name); {
		case lacks(values, "name"):
			r.fail(place, `a view needs its name: name = "front, raking light"`)
		case at[same] && v.Name != "":
			r.fail(place, "two views have the name %q: give each its own", v.Name)
		default:
			at[same] = true
		}
		r.name(named, place, v.Name)
		r.o.Views = append(r.o.Views, v)
	}
}

// fewest checks the fewest frames of a view against what else is declared of it.
func (r *reader) fewest(place string, v *audit.View) {
	switch {
	case v.Overlap > 0 && v.HasKind && v.Kind != shoot.Focus:
		r.fail(place, `overlap is for a focus sequence: leave it out, or write kind = "focus"`)
	case v.Overlap > 0 && v.Frames == 0:
		r.fail(place, "overlap is that of the planned number of frames: add frames = 40 or another number")
	case v.FewestFrames == 0:
	case v.HasKind && v.Kind != shoot.Focus:
		r.fail(place, `fewest-frames is for a focus sequence: leave it out, or write kind = "focus"`)
	case v.Frames == 0:
		r.fail(place, "fewest-frames needs the number that is planned: add frames = %d or more", v.FewestFrames)
	case v.FewestFrames > v.Frames:
		r.fail(place, "fewest-frames is %d, more than the %d of frames: exchange the two", v.FewestFrames, v.Frames)
	case v.Overlap > 0 && v.FewestFrames < v.Frames && v.FewestAtOverlap() == 0:
		r.fail(place, "fewest-frames is %d and leaves gaps, as %d frames overlap by only %s: leave it out",
			v.FewestFrames, v.Frames, values.Share.Write(v.Overlap))
	case v.Overlap > 0 && v.FewestFrames < v.FewestAtOverlap():
		r.fail(place, "fewest-frames is %d and leaves gaps, as %d frames overlap by %s: write %d or more",
			v.FewestFrames, v.Frames, values.Share.Write(v.Overlap), v.FewestAtOverlap())
	}
}
