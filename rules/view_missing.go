package rules

import (
	"fmt"

	"prestrike/audit"
	"prestrike/audit/words"
	"prestrike/exifread"
)

var viewMissing = &audit.Rule{
	ID:       "view-missing",
	Title:    "Missing views",
	Severity: audit.Check,
	Doc: `Compares the shot list, the [[view]] entries of prestrike.toml, with what was shot. A view is
missing where no sequence shows it. With --since, sequences that began before do not count.
When the shoot is declared over, with --final, a missing view must be shot now.

Sequences are assigned to views in the order of the list, by their kind, frames and
settings. A sequence that was shot again does not count, and test frames do not count. Where
two sequences fit a view nearly alike, both are named. Then add sequence = "FILE" to the
view, with the name of any frame of the right sequence. Or photograph a slate before each
view.

Shoot the missing views while the subject is here. Views that may be left out have optional
= true.

The finding is wrong where views of the same kind and settings were shot in another order
than that of the list. They get each other's names.`,
	Source:     "common practice: a shot list is held against the frames before the subject goes back",
	CheckViews: checkViewMissing,
}

func checkViewMissing(v *audit.Review) error {
	var missing, unsure []string
	for _, view := range v.Views {
		switch {
		case view.Unknown:
			v.Found(audit.Finding{
				Title:   "Unknown frame in the shot list",
				Message: fmt.Sprintf("the shot list names %s for %q, which is the name of no frame, or of several", view.View.Sequence, view.Name) + notBefore(v),
				Action:  "write the name of one frame of the sequence, with as much of its path as needed", Look: shotList,
			})
		case view.Missing():
			missing = append(missing, view.Name)
		case view.Or != nil:
			unsure = append(unsure, fmt.Sprintf("%s or %s is %q", view.Sequence.ID, view.Or.ID, view.Name))
		}
	}
	if len(unsure) > 0 {
		v.Found(audit.Finding{
			Title:   "Not sure which view",
			Message: "more sequences than views fit the shot list, and it is not sure which of two is meant: " + words.List(unsure, 4),
			Action:  `inspect them, and add sequence = "FILE" to each of these views, with the name of a frame of the right sequence`, Look: shotList,
		})
	}
	if len(missing) == 0 {
		return nil
	}
	f := audit.Finding{
		Message: "no sequence shows " + words.List(words.Names(missing), 12) + notBefore(v),
		Action:  "shoot what is missing while the subject is here, or copy its frames", Look: shotList,
		Measured: exifread.Of(float64(len(v.Views) - len(missing))), Limit: exifread.Of(float64(len(v.Views))), Unit: "views",
	}
	if v.Options.Final {
		f.Severity = audit.Reshoot
	}
	v.Found(f)
	return nil
}

// shotList is what the last line asks to inspect.
const shotList = "the shot list"

// notBefore adds to a message that with --since only a part of the shoot is compared.
func notBefore(v *audit.Review) string {
	if v.Options.Since == nil {
		return ""
	}
	return "; what began before the time of --since does not count"
}
