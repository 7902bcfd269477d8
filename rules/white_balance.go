package rules

import (
	"fmt"

	"prestrike/audit"
	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var whiteBalance = &audit.Rule{
	ID:       "white-balance",
	Title:    "Automatic white balance",
	Severity: audit.Check,
	Doc: `Finds automatic white balance in a focus sequence or time-lapse.

The camera may choose another colour for every frame: merged pictures get coloured
patches, and clips change colour.

With raw files for every frame, one white balance can be given to all of them afterwards. So
the finding is only a note. Without raw files, set the white balance by hand, and shoot the
sequence again if the colours differ.

Phones and small cameras, known by their sensors, always choose the white balance. There the
finding is a note, except in focus sequences.

What the camera chose is not recorded in a standard way. Where the pictures show that
their mean colour stays within half a just noticeable difference (1.15 in a* and b*),
nothing is reported. Where the subject or the light itself changes colour, the pictures
cannot show that, and the rule may be wrong.`,
	Source: "CIPA DC-008 (Exif), WhiteBalance; ISO/CIE 11664-4 (L*a*b*); just noticeable difference of 2.3: Mahy, Van Eycken and Oosterlinck, Color Research and Application 19(2), 1994; common practice",
	Params: []audit.Param{smallestSensor},
	Check:  checkWhiteBalance,
}

func checkWhiteBalance(v *audit.Review) error {
	q := v.Sequence
	if !q.Kind.Steady() {
		return nil
	}
	var automatic, known, unknown []*shoot.Frame
	raw := true
	for _, f := range q.Frames {
		if !f.Meta().HasExif {
			continue
		}
		raw = raw && f.HasRaw()
		wb, ok := f.Meta().WhiteBalance.Get()
		if !ok {
			unknown = append(unknown, f)
			continue
		}
		known = append(known, f)
		if wb == exifread.WhiteBalanceAuto {
			automatic = append(automatic, f)
		}
	}
	if len(unknown) > 0 {
		v.Unjudged("no white balance recorded", unknown...)
	}
	if len(automatic) == 0 {
		return nil
	}
	if j, _ := evidence.Seen(v); j != nil && j.Colour.Answer == pixels.Fine {
		return nil
	}
	found := audit.Finding{
		Message: "the camera chose the white balance of every frame",
		Action:  "compare the colours of the first and last frames; set white balance by hand before you shoot again",
		Frames:  automatic,
	}
	if len(automatic) < len(known) {
		found.Message = fmt.Sprintf("the camera chose the white balance of %s; it is fixed in the rest", shoot.FrameRanges(q.Frames, automatic))
	}
	if raw {
		found.Severity = audit.Note
		found.Action = "give all frames one white balance when you develop the raw files"
	}
	if noCurtains(v, q.Body) && q.Kind != shoot.Focus && len(automatic) == len(known) {
		found.Severity = audit.Note
		found.Action = "compare the colours of the first and last frames before you put the pictures side by side"
	}
	v.Found(found)
	return nil
}
