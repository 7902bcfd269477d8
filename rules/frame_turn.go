package rules

import (
	"fmt"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var frameTurn = &audit.Rule{
	ID:       "frame-turn",
	Title:    "Frames turned",
	Severity: audit.Check,
	AtOnce:   true,
	Doc: `Finds frames of a focus sequence, time-lapse or exposure bracket whose recorded
orientation differs from that of the other frames.

Either the camera was moved, and the frames do not fit each other. Or it points straight
down, and its sensor cannot decide which side is up: then programs turn some frames and
not the others.

Inspect a turned frame. If the camera did not move, turn the frames back before merging
and switch automatic rotation off. If it moved, shoot the sequence again.

The finding is wrong where the camera was turned on purpose.`,
	Source: "CIPA DC-008 (Exif), Orientation; common practice",
	Params: []audit.Param{evidence.SetUpPause},
	Check:  checkFrameTurn,
}

// A stand is how a picture is held: its Orientation, and whether its pixels are
// stored upright or lying.
type stand struct {
	orientation uint16
	upright     bool
}

func checkFrameTurn(v *audit.Review) error {
	q := v.Sequence
	if !q.Kind.Steady() && q.Kind != shoot.Bracket {
		return nil
	}
	s := evidence.Setting[stand]{
		Read: func(m *exifread.Metadata) exifread.Value[stand] {
			o, ok := m.Orientation.Get()
			if !ok {
				return exifread.Value[stand]{}
			}
			w, okW := m.Width.Get()
			h, okH := m.Height.Get()
			return exifread.Of(stand{o, okW && okH && h > w})
		},
	}
	d := s.Of(q.Frames)
	d.Unjudged(v, "no orientation recorded")
	if len(d.Odd) == 0 {
		return nil
	}
	if evidence.AtPause(v, d.Odd) {
		v.Unjudged(evidence.NewSetUp, d.Odd...)
		return nil
	}
	v.Found(audit.Finding{
		Message: fmt.Sprintf("%s %s another orientation than the rest", shoot.FrameRanges(q.Frames, d.Odd), words.Plural(len(d.Odd), "has", "have")),
		Action:  "if the camera did not move, turn these frames back before merging; if it moved, shoot the sequence again",
		Frames:  d.Odd,
	})
	return nil
}
