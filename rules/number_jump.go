package rules

import (
	"fmt"
	"math"

	"prestrike/audit"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var numberJump = &audit.Rule{
	ID:       "number-jump",
	Title:    "File numbers jump",
	Severity: audit.Note,
	Shows:    audit.ShowNothing,
	Doc: `Finds file numbers that jump inside a sequence while its cadence runs on: by the clock
there was no time for the missing numbers.

Such a jump matters little on the set. A card from another camera, a second body that shares
the numbers, or frames that were deleted in even steps make such jumps.

Nothing needs to be shot again, unless you know of frames in between.

The finding is wrong where frames were lost while the camera's clock was set back by just
their time. The tolerance is the agreement of missing-frame.`,
	Source: "CIPA DC-009 (DCF) file numbers; common practice",
	Check:  checkNumberJump,
}

func checkNumberJump(v *audit.Review) error {
	list := evidence.ReadAs(evidence.Gaps.Of(v), evidence.Jumped)
	if len(list) == 0 {
		return nil
	}
	first := list[0]
	found := audit.Finding{
		Message: fmt.Sprintf("%s is followed by %s, although no time is missing", first.From.Label(), first.To.Label()),
		Action:  "nothing to do, unless you know of frames in between",
		Frames:  evidence.Ends(list),
	}
	if n := len(list); n > 1 {
		found.Message = fmt.Sprintf("numbers jump in %d places, first from %s to %s, although no time is missing", n, first.From.Label(), first.To.Label())
	}
	if worst := evidence.Longest(list); !math.IsNaN(worst.Ticks) {
		found.Measured, found.Limit, found.Unit = exifread.Of(worst.Ticks), exifread.Of(1+v.ParamOf("missing-frame", evidence.Agreement)), "cadences"
	}
	v.Found(found)
	return nil
}
