package rules

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var viewDiffersTolerance = audit.Param{
	Name: "tolerance", Unit: "EV", Doc: "difference from the declared setting that is a finding",
	Default: shoot.SameSetting, Min: 0.05, Max: 3,
}

var viewDiffers = &audit.Rule{
	ID:       "view-differs",
	Title:    "Different from the shot list",
	Severity: audit.Check,
	Doc: `Holds each sequence against its view of the shot list: the number of frames, the f-number, the
exposure time and the ISO, as far as the list declares them. Fewer frames than declared must be
shot again; more are a note, and so are fewer that are no fewer than fewest-frames. A setting counts as another from 1/6 EV on.

What to do: set what the list says and shoot the view again, or correct the list.

When it is wrong: where a sequence was assigned to the wrong view, which view-missing then asks
about.`,
	Source: "common practice; a setting is another from half a third of a stop on, the smallest step that cameras offer",
	Params: []audit.Param{viewDiffersTolerance},
	CheckViews: func(v *audit.Review) error {
		for _, view := range v.Views {
			if view.Sequence != nil {
				viewFrames(v, view)
				viewSettings(v, view)
			}
		}
		return nil
	},
}

// listed reports whether a view of the shot list declares something. Sequences are then
// held against the list, and no more against their sisters.
func listed(o *audit.Options, declares func(*audit.View) bool) bool {
	for i := range o.Views {
		if declares(&o.Views[i]) {
			return true
		}
	}
	return false
}

// viewFrames compares the number of frames.
func viewFrames(v *audit.Review, view *audit.ShotView) {
	have := evidence.Spanned(view.Sequence.Sequence)
	if view.Frames == 0 || have == view.Frames {
		return
	}
	f := audit.Finding{
		Message: fmt.Sprintf("%q has %d frames, where the shot list says %d", view.Name, have, view.Frames), Frames: view.Sequence.Frames,
		Measured: exifread.Of(float64(have)), Limit: exifread.Of(float64(view.Frames)), Unit: "frames",
	}
	switch {
	case view.Enough(have):
		f.Severity, f.Message = audit.Note, fmt.Sprintf("%s; it leaves no gap from %d on", f.Message, view.FewestFrames)
	case have < view.Frames:
		f.Severity, f.Action = audit.Reshoot, "shoot this view again, or correct the list"
	default:
		f.Severity = audit.Note
	}
	v.Found(f)
}

// viewSettings compares the settings that most frames agree on.
func viewSettings(v *audit.Review, view *audit.ShotView) {
	off := view.Off(view.Sequence)
	var wrong []string
	most := 0.0
	for _, name := range []string{"f-number", "exposure time", "ISO"} {
		if ev, ok := off[name]; ok && math.Abs(ev) >= v.Param(viewDiffersTolerance.Name) {
			wrong = append(wrong, settingWords(name, view))
			most = max(most, math.Abs(ev))
		}
	}
	if len(wrong) > 0 {
		v.Found(audit.Finding{
			Message: fmt.Sprintf("%q has %s", view.Name, strings.Join(wrong, "; ")), Action: "set what the shot list says and shoot this view again, or correct the list",
			Frames: view.Sequence.Frames, Measured: exifread.Of(most), Limit: exifread.Of(v.Param(viewDiffersTolerance.Name)), Unit: "EV",
		})
	}
	var unknown []string
	for name, declared := range map[string]float64{"f-number": view.FNumber, "ISO": view.ISO} {
		if _, ok := off[name]; declared > 0 && !ok {
			unknown = append(unknown, name)
		}
	}
	if _, ok := off["exposure time"]; view.ExposureTime > 0 && !ok && view.Sequence.Kind != shoot.Bracket {
		unknown = append(unknown, "exposure time")
	}
	slices.Sort(unknown)
	for _, name := range unknown {
		v.Unjudged(fmt.Sprintf("view %s: no %s recorded, or it varies", view.Name, name))
	}
}

// settingWords writes a setting as recorded and as declared: "ISO 400, where the shot
// list says 100".
func settingWords(name string, view *audit.ShotView) string {
	s := view.Sequence.Settings
	switch name {
	case "f-number":
		n, _ := s.FNumber.Get()
		return fmt.Sprintf("%s, where the shot list says f/%.3g", shoot.FormatFNumber(n), view.FNumber)
	case "exposure time":
		t, _ := s.ExposureTime.Get()
		return fmt.Sprintf("%s, where the shot list says %s", shoot.FormatExposureTime(t), shoot.FormatSeconds(view.ExposureTime))
	}
	iso, _ := s.ISO.Get()
	return fmt.Sprintf("ISO %d, where the shot list says %.0f", iso, view.ISO)
}
