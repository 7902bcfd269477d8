package rules

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var clockStep = &audit.Rule{
	ID:       "clock-step",
	Title:    "Camera clock is wrong",
	Severity: audit.Check,
	Doc: `Finds frames whose clock ran back although their numbers run on, and frames from before
2001. The clock was set in between, or lost its time with the battery. Frames that are dated
later than now are a note, as by a clock that is years ahead.

Frames are put in order by their clock. Around the step sequences may be cut or mixed
wrongly, and frames of two cameras do not line up. Frames of a clock that is ahead
keep their order, but the time left until a courier comes cannot be estimated.

Set the camera's clock. Check the sequences around the step yourself. If frames are dated
later than now and the camera is right, set the computer's clock.

The clocks of two bodies may differ by a steady amount, as by a zone or summer time. A note
names it once, and all times of the report are given by one of the clocks. That takes
evidence: modification times given to both by one computer, recorded zones, or sequences
that take turns only then, and by no chance. Otherwise all times are as recorded.

The finding is wrong for frames really made before 2001, and where files were numbered anew
in another order than that of time. Numbers that count down throughout a sequence are only a
note. Where numbers hardly follow time at all, nothing is judged.`,
	Source: "CIPA DC-008 (Exif), DateTimeOriginal; CIPA DC-009 (DCF) file numbers; IANA time zone database (UTC-12 to UTC+14); common practice",
	Params: []audit.Param{
		{
			Name: "back", Unit: "s",
			Doc:     "a smaller step back is a clock that was corrected",
			Default: 2, Min: 0, Max: 86400,
		},
		{
			Name: "apart", Unit: "numbers",
			Doc:     "the numbers around the step lie at most this far apart",
			Default: 3, Min: 1, Max: 100,
		},
		{
			Name: "year", Unit: "",
			Doc:     "an earlier year is a clock that was never set",
			Default: 2001, Min: 1970, Max: 2100,
		},
		{
			Name: "ahead", Unit: "h",
			Doc:     "a clock that is less ahead of now may be right in another time zone",
			Default: 26, Min: 0, Max: 8760,
		},
	},
	CheckSession: checkClockStep,
}

func checkClockStep(v *audit.Review) error {
	for _, body := range v.Session.Bodies {
		frames := evidence.FramesOf(v.Session, body)
		if !checkYear(v, body, frames) {
			checkBackwards(v, body, frames)
		}
		checkAhead(v, body, frames)
		checkReversed(v, body, frames)
		checkApart(v, body, frames)
	}
	return nil
}

// checkApart reports a clock that was put back or forward to agree with another body's.
func checkApart(v *audit.Review, body *shoot.Body, frames []*shoot.Frame) {
	const long = 2 * time.Hour
	home := slices.Index(v.Session.Bodies, body.Clock.Of)
	if home < 0 {
		return
	}
	apart, order := body.Clock.Ahead, "ahead of"
	if apart < 0 {
		apart, order = -apart, "behind"
	}
	by := map[shoot.ClockEvidence]string{
		shoot.ClockZones:   "by the zones that the frames record",
		shoot.ClockWritten: "by the times when the files were written",
		shoot.ClockTurns:   "only then do their sequences never overlap",
	}[body.Clock.By]
	step := time.Second
	if apart >= long || body.Clock.By == shoot.ClockTurns { // no sequence shows it to the second
		step = time.Minute
	}
	letter := shoot.BodyLetter(home)
	v.Found(audit.Finding{
		Severity: audit.Note,
		Message: fmt.Sprintf("the clock of body %s is %s %s that of body %s (%s): all times here are by the clock of body %s",
			shoot.BodyLetter(slices.Index(v.Session.Bodies, body)), shoot.FormatDuration(apart.Round(step)), order, letter, by, letter),
		Action:   "set both clocks alike",
		Frames:   frames,
		Measured: exifread.Of(body.Clock.Ahead.Seconds()), Unit: "s",
	})
}

// checkYear reports frames made before any of today's cameras, and whether there are any.
func checkYear(v *audit.Review, body *shoot.Body, frames []*shoot.Frame) bool {
	var old []*shoot.Frame
	for _, f := range frames {
		if f.Timed() && float64(f.Time.Year()) < v.Param("year") {
			old = append(old, f)
		}
	}
	if len(old) == 0 {
		return false
	}
	v.Found(audit.Finding{
		Message: fmt.Sprintf("the clock%s showed %s at %s",
			ofBody(v.Session, body), old[0].Time.Format("2 January 2006"), shoot.FrameRanges(frames, old)),
		Action:   "set the camera's clock",
		Frames:   old,
		Measured: exifread.Of(float64(old[0].Time.Year())), Limit: exifread.Of(v.Param("year")), Unit: "year",
	})
	return true
}

// checkAhead reports frames dated later than now. It is a note: their order and cadence stand.
// The clocks of two places are 26 hours apart at most, from UTC-12 to UTC+14 (IANA time zone
// database, Etc/GMT+12 and Pacific/Kiritimati), so that one less ahead may be right elsewhere.
func checkAhead(v *audit.Review, body *shoot.Body, frames []*shoot.Frame) {
	if v.Options.Now == nil {
		return
	}
	// Both as clocks show them: which zone a camera is set to is mostly not recorded.
	now := wall(v.Options.Now(v.Session.End()))
	var list []*shoot.Frame
	var ahead time.Duration
	for _, f := range frames {
		at, ok := f.Meta().Captured.Get()
		if by := wall(at.Wall).Sub(now); ok && f.Timed() && by.Hours() > v.Param("ahead") {
			list, ahead = append(list, f), max(ahead, by)
		}
	}
	if len(list) == 0 {
		return
	}
	at, _ := list[0].Meta().Captured.Get()
	v.Found(audit.Finding{
		Severity: audit.Note, Title: "Camera clock is ahead",
		Message: fmt.Sprintf("the clock%s showed %s at %s, and today is %s",
			ofBody(v.Session, body), at.Wall.Format("2 January 2006"), shoot.FrameRanges(frames, list), now.Format("2 January 2006")),
		Action:   "set the camera's clock, or that of this computer if the camera is right",
		Frames:   list,
		Measured: exifread.Of(ahead.Hours()), Limit: exifread.Of(v.Param("ahead")), Unit: "h",
	})
}

// wall returns what a clock shows at a time, as that time in UTC.
func wall(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), t.Nanosecond(), time.UTC)
}

// checkReversed reports frames whose names count down while time goes on. A clock
// does not run back between all of them.
func checkReversed(v *audit.Review, body *shoot.Body, frames []*shoot.Frame) {
	var list []*shoot.Frame
	for _, f := range frames {
		if f.Number.Reversed {
			list = append(list, f)
		}
	}
	if len(list) == 0 {
		return
	}
	v.Found(audit.Finding{
		Severity: audit.Note, Title: "Numbers count down",
		Message: fmt.Sprintf("the numbers of %s%s count down while time goes on: they are listed here in the order of their times",
			words.Count(len(list), "frame", "frames"), ofBody(v.Session, body)),
		Action: "nothing is lost; give the next program the order of the times",
		Frames: list,
	})
}

// checkBackwards compares neighbours by number.
func checkBackwards(v *audit.Review, body *shoot.Body, frames []*shoot.Frame) {
	var numbered []*shoot.Frame
	for _, f := range frames {
		if f.Timed() && f.Number.Known && !f.Number.Reversed {
			numbered = append(numbered, f)
		}
	}
	slices.SortStableFunc(numbered, func(a, b *shoot.Frame) int {
		return cmp.Or(strings.Compare(series(a), series(b)), cmp.Compare(a.Number.N, b.Number.N), a.Time.Compare(b.Time))
	})
	// Numbers that were used twice show nothing of the order.
	same := func(i, j int) bool {
		return i >= 0 && j < len(numbered) && series(numbered[i]) == series(numbered[j]) && numbered[i].Number.N == numbered[j].Number.N
	}
	var once []*shoot.Frame
	for i, f := range numbered {
		if !same(i-1, i) && !same(i, i+1) {
			once = append(once, f)
		}
	}
	var steps [][2]*shoot.Frame
	neighbours := 0
	var furthest time.Duration
	for i := 1; i < len(once); i++ {
		a, b := once[i-1], once[i]
		if series(a) != series(b) || float64(b.Number.N-a.Number.N) > v.Param("apart") {
			continue
		}
		neighbours++
		if back := a.Time.Sub(b.Time); back.Seconds() > v.Param("back") {
			steps = append(steps, [2]*shoot.Frame{a, b})
			furthest = max(furthest, back)
		}
	}
	if len(steps) == 0 {
		return
	}
	// A clock is set once or twice. Files renamed in another order jump all the time.
	const most, share = 3, 50
	if n := len(steps); n > most && n*share > neighbours {
		v.Unjudged("file numbers do not follow time")
		return
	}
	a, b := steps[0][0], steps[0][1]
	message := fmt.Sprintf("the clock%s went back by %s between frames %s and %s",
		ofBody(v.Session, body), shoot.FormatDuration(a.Time.Sub(b.Time)), a.Label(), b.Label())
	if n := len(steps); n > 1 {
		message = fmt.Sprintf("the clock%s went back %d times, first by %s between frames %s and %s",
			ofBody(v.Session, body), n, shoot.FormatDuration(a.Time.Sub(b.Time)), a.Label(), b.Label())
	}
	var around []*shoot.Frame
	for _, s := range steps {
		around = append(around, s[0], s[1])
	}
	v.Found(audit.Finding{
		Message:  message,
		Action:   "set the camera's clock; check the sequences around these frames yourself",
		Frames:   around,
		Measured: exifread.Of(furthest.Seconds()), Limit: exifread.Of(v.Param("back")), Unit: "s",
	})
}

// series names the run of names a frame belongs to, whether or not its
// counter was set back.
func series(f *shoot.Frame) string {
	name, _, _ := strings.Cut(f.Number.Series, "\x00")
	return name
}
