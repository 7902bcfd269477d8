package rules

import (
	"slices"

	"prestrike/audit"
	"prestrike/audit/shoot"
)

var slateUnread = &audit.Rule{
	ID:       "slate-unread",
	Title:    "Slate not read",
	Severity: audit.Note,
	Doc: `Names single frames in which the code of a slate is likely there and cannot be read, and slates
of another shot list. What was shot after such a slate is assigned to a view by its order, kind
and settings.

Photograph the slate again: sharp, flat to the camera, without glare, and its code a fifth
of the frame wide. Or add sequence = "FILE" to the view.

The finding is wrong where another code is in the picture, as on a parcel or a label.`,
	Source: "ISO/IEC 18004: the patterns by which a code is found; that so wide a code is read was measured on rendered pictures (DEVELOPERS.md)",
	CheckViews: func(v *audit.Review) error {
		for _, of := range []struct {
			what, action string
			is           func(audit.Slate) bool
		}{
			{"the slate cannot be read", "photograph the slate again, or name a file of the sequence in the shot list", func(s audit.Slate) bool { return s.Unread }},
			{"the slate is of another shot list", "photograph a slate of this list", func(s audit.Slate) bool { return s.Foreign }},
		} {
			var frames []*shoot.Frame
			for f, s := range v.Slates {
				if of.is(s) {
					frames = append(frames, f)
				}
			}
			slices.SortFunc(frames, func(a, b *shoot.Frame) int { return a.Time.Compare(b.Time) })
			for _, f := range frames {
				v.Found(audit.Finding{Message: of.what + ": " + f.Label(), Action: of.action, Frames: []*shoot.Frame{f}})
			}
		}
		return nil
	},
}
