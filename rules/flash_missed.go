package rules

import (
	"fmt"
	"slices"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var flashMissed = &audit.Rule{
	ID:       "flash-missed",
	Title:    "Flash did not fire",
	Severity: audit.Check,
	AtOnce:   true,
	Doc: `Finds frames in which the flash did not fire, by what the camera recorded, in a sequence
where it fired in most.

Such a frame is dark, or lit by the lamps of the room. It happens when the flash is not
charged yet, and when its batteries get low.

Inspect the frames. If they are darker than the rest, shoot the sequence again and
leave more time between frames. Where the picture was inspected and is dark, the finding
asks to shoot again at once.

The finding is wrong where flash and available light were mixed on purpose. A camera that
fires its flashes by radio or by a cable may not record whether they fired: dark-frame finds
such frames by their pictures.`,
	Source: "CIPA DC-008 (Exif), Flash, bit 0; the shares: common practice",
	Params: []audit.Param{
		{
			Name:    "share",
			Doc:     "the flash is meant to fire where it fired in at least this share of the frames",
			Default: 0.5, Min: 0.1, Max: 1,
		},
		{
			Name: "fired", Unit: "frames",
			Doc:     "and in at least this many frames",
			Default: 3, Min: 1, Max: 1000,
		},
		evidence.SetUpPause,
	},
	Check: checkFlashMissed,
}

func checkFlashMissed(v *audit.Review) error {
	q := v.Sequence
	if q.Kind == shoot.Single {
		return nil
	}
	var fired, missed, unknown []*shoot.Frame
	for _, f := range q.Frames {
		flash, ok := f.Meta().Flash.Get()
		switch {
		case !f.Meta().HasExif:
		case !ok:
			unknown = append(unknown, f)
		case flash.Fired():
			fired = append(fired, f)
		default:
			missed = append(missed, f)
		}
	}
	meant := float64(len(fired)) >= v.Param("fired") && float64(len(fired)) >= v.Param("share")*float64(len(fired)+len(missed))
	if !meant {
		return nil
	}
	if len(unknown) > 0 {
		v.Unjudged("not recorded whether the flash fired", unknown...)
	}
	if len(missed) == 0 {
		return nil
	}
	if evidence.AtPause(v, missed) {
		v.Unjudged(evidence.NewSetUp, missed...)
		return nil
	}
	where := shoot.FrameRanges(q.Frames, missed)
	found := audit.Finding{
		Message:  "no flash in " + where,
		Action:   "inspect the picture; if it is darker than the rest, shoot the sequence again and leave more time between frames",
		Frames:   missed,
		Measured: exifread.Of(float64(len(missed))), Limit: exifread.Of(0.0), Unit: "frames",
	}
	if dark := darkOf(v, missed); len(dark) > 0 {
		found.Severity = audit.Reshoot
		found.Message = fmt.Sprintf("no flash in %s, and %d of %d pictures are dark", where, len(dark), len(missed))
		if len(dark) == 1 && len(missed) == 1 {
			found.Message = "no flash in " + where + ", and its picture is dark"
		}
		found.Action = "shoot the sequence again and leave more time between frames"
	}
	v.Found(found)
	return nil
}

// darkOf returns those of the frames whose pictures are dark, by the limit of
// dark-frame; none where the pictures were not inspected.
func darkOf(v *audit.Review, frames []*shoot.Frame) []*shoot.Frame {
	j, _ := evidence.Seen(v)
	if j == nil {
		return nil
	}
	limit := v.ParamOf(darkFrame.ID, darkest)
	var dark []*shoot.Frame
	for _, e := range j.Dark.Events {
		if f := v.Sequence.Frames[e.Frame]; e.EV >= limit && slices.Contains(frames, f) {
			dark = append(dark, f)
		}
	}
	return dark
}
