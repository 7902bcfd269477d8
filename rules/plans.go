package rules

import (
	"fmt"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

// planTitle leads findings on what was planned.
const planTitle = "Plan not met"

// checkPlans compares what was declared of the shoot with all sessions together, as a shoot
// may have a long pause. What is lacking is reported for the last session.
func checkPlans(v *audit.Review) error {
	if n := len(v.Sessions); n == 0 || v.Sessions[n-1] != v.Session {
		return nil
	}
	o := v.Options
	views, frames, timeLapse := 0, false, false
	for _, s := range v.Sessions {
		for _, q := range s.Sequences {
			have := evidence.Spanned(q)
			// What a sequence was made for may not be recorded: a count that was planned decides.
			steady := q.Kind.Steady() || q.Kind == shoot.Burst
			frames = frames || q.Kind == shoot.Focus || q.Kind == shoot.Series || steady && have == o.PlannedFrames
			timeLapse = timeLapse || q.Kind == shoot.TimeLapse || steady && have >= o.PlannedTimeLapse
			if steady && q.Kind != shoot.TimeLapse || q.Kind == shoot.TimeLapse && o.PlannedTimeLapse == 0 {
				views++
			}
		}
	}
	const action = "copy its frames if they were made; if not, shoot it while the subject is here"
	if views < o.PlannedViews {
		v.Found(audit.Finding{
			Title:   planTitle,
			Message: fmt.Sprintf("%d of %d planned views", views, o.PlannedViews), Action: "shoot the others while the subject is here, or copy their frames",
			Measured: exifread.Of(float64(views)), Limit: exifread.Of(float64(o.PlannedViews)), Unit: "views",
		})
	}
	if o.PlannedFrames > 0 && !frames && (o.PlannedViews == 0 || views > 0) {
		v.Found(audit.Finding{Title: planTitle, Message: fmt.Sprintf("no sequence of the planned %d frames", o.PlannedFrames), Action: action})
	}
	if o.PlannedTimeLapse > 0 && !timeLapse {
		v.Found(audit.Finding{Title: planTitle, Message: fmt.Sprintf("no time-lapse of the planned %d frames", o.PlannedTimeLapse), Action: action})
	}
	return nil
}
