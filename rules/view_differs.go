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

// A step of 0.7 of the depth of field is as wide as all of it where the magnification is
// 1/√0.7 = 1.2 times as large: at the same f-number the depth of field goes with 1/m² far
// away, and with (1+m)/m², less, close up.
var viewDiffersMagnification = audit.Param{
	Name: "magnification", Doc: "a magnification this many times the declared one, or its inverse, is another",
	Default: 1.2, Min: 1.01, Max: 10,
}

var viewDiffers = &audit.Rule{
	ID:       "view-differs",
	Title:    "Different from the shot list",
	Severity: audit.Check,
	Doc: `Compares each sequence with its view of the shot list. What the list declares is compared:
number of frames, f-number, exposure time and ISO. A view with fewer frames than declared
must be shot again. More frames are a note. Fewer frames are a note, too, where there are at
least fewest-frames of them. A setting counts as another from 1/6 EV on.

The magnification is compared where it is declared for the shoot too, or follows from
recorded focus distances. Their uncertainty counts: 5 % of the distance, and 6 % with a
declared lens. Without a declared lens, they show only the least magnification possible, to
15 %, and only up to 1:4. A magnification counts as another from 1.2 times on: there,
planned focus steps become as wide as the depth of field. Where nothing shows the
magnification, it is not judged. In a focus sequence another magnification is only a note,
as focus-gap judges the steps.

Set the values of the list and shoot the view again, or correct the list.

The finding is wrong where a sequence was assigned to the wrong view. Then view-missing asks
which view is meant.`,
	Source: "common practice; a setting is another from half a third of a stop on, the smallest step that cameras offer; magnification: the depth of field and its share that a step takes, as in focus-gap",
	Params: []audit.Param{viewDiffersTolerance, viewDiffersMagnification},
	Check: func(v *audit.Review) error {
		if listed(v.Options, func(w *audit.View) bool { return w.Magnification > 0 }) {
			v.Magnified = evidence.MagnificationRange(v)
		}
		return nil
	},
	CheckViews: func(v *audit.Review) error {
		for _, view := range v.Views {
			if view.Sequence != nil {
				viewFrames(v, view)
				viewSettings(v, view)
				viewMagnification(v, view)
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
		Message: fmt.Sprintf("%q has %d frames, where the shot list has %d", view.Name, have, view.Frames), Frames: view.Sequence.Frames,
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
			Message: fmt.Sprintf("%q has %s", view.Name, strings.Join(wrong, "; ")), Action: "set what is in the shot list and shoot this view again, or correct the list",
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
		return fmt.Sprintf("%s, where the shot list has f/%.3g", shoot.FormatFNumber(n), view.FNumber)
	case "exposure time":
		t, _ := s.ExposureTime.Get()
		return fmt.Sprintf("%s, where the shot list has %s", shoot.FormatExposureTime(t), shoot.FormatSeconds(view.ExposureTime))
	}
	iso, _ := s.ISO.Get()
	return fmt.Sprintf("ISO %d, where the shot list has %.0f", iso, view.ISO)
}

// viewMagnification compares the magnification, where both sides are known.
func viewMagnification(v *audit.Review, view *audit.ShotView) {
	if view.Magnification == 0 {
		return
	}
	times, known := view.MagnificationOff(view.Sequence)
	if !known {
		reason := fmt.Sprintf("view %s: no magnification recorded or declared to compare with", view.Name)
		switch view.Sequence.Kind {
		case shoot.Focus, shoot.Series:
			// What another magnification spoils is the focus step, which focus-gap judges, or
			// reports that it cannot. Most bodies record no distance, and that is no fault.
			v.UnjudgedNote(reason)
		default:
			v.Unjudged(reason) // nothing else would show it
		}
		return
	}
	limit := v.Param(viewDiffersMagnification.Name)
	if off := max(times, 1/times); off < limit {
		return
	}
	m, _ := view.Sequence.Magnified.Get()
	found := audit.Finding{
		Frames: view.Sequence.Frames, Measured: exifread.Of(times * view.Magnification), Limit: exifread.Of(view.Magnification), Unit: "times the size of the subject",
	}
	if m.Declared {
		found.Message = fmt.Sprintf("%q is at %s in the shot list, where %s is declared for the shoot", view.Name, ratio(view.Magnification), ratio(m.Most))
		found.Action = "correct the magnification of this view, or that of the shoot"
	} else {
		side := "at least"
		if times < 1 {
			side = "at most"
		}
		found.Message = fmt.Sprintf("%q is at %s %s by its focus distance, where the shot list has %s", view.Name, side, ratio(times*view.Magnification), ratio(view.Magnification))
		found.Action = "set the magnification of the shot list and shoot this view again, or correct the list"
	}
	v.Found(found)
}
