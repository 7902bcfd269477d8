package audit

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/exifread"
)

// A TimeNeeded is how long the views still take that are missing or to be shot again.
type TimeNeeded struct {
	Views int // how many those are
	// Median is as likely too long as too short; Careful is enough in four of five cases.
	// Both are 0 where the session does not tell yet.
	Median, Careful time.Duration
	// Frames is the number of frames that each open view is listed with, 0 where it is
	// not one number; making them takes Making of both times.
	Frames int
	Making time.Duration
}

const (
	// fewestSetUps is how many set-up times it takes to tell how they scatter.
	fewestSetUps = 3
	careful      = 0.8
	timeDraws    = 4000
)

// TimeFor estimates from the session's own pace how long the open views take: for each
// the time to set it up and to make its frames. Zero Views are none open.
//
// Times to set up scatter as a log-normal distribution does: common practice. Its two
// parameters are known only as well as the views shot so far tell, which the
// estimate heeds: sums of draws from the posterior predictive distribution for a
// normal sample with the noninformative prior (A. Gelman and others, Bayesian Data
// Analysis, 3rd edition, section 3.2), on the logarithms.
func TimeFor(views []*ShotView) TimeNeeded {
	var open []*ShotView
	for _, v := range views {
		if v.Missing() || v.Sequence != nil && !v.Shot() {
			open = append(open, v)
		}
	}
	needed := TimeNeeded{Views: len(open)}
	setUps, runs := paceOf(views)
	if len(open) == 0 || len(setUps) < fewestSetUps || len(runs) == 0 {
		return needed
	}
	frames := 0.0 // seconds of making frames
	for _, v := range open {
		frames += runTime(v, runs)
	}
	needed.Median, needed.Careful = setUpQuantiles(setUps, len(open))
	made := time.Duration(frames * float64(time.Second))
	needed.Median, needed.Careful, needed.Making = needed.Median+made, needed.Careful+made, made
	needed.Frames = open[0].Frames
	if slices.ContainsFunc(open, func(v *ShotView) bool { return v.Frames != open[0].Frames }) {
		needed.Frames = 0
	}
	return needed
}

// fewestOfFrames is the share of the listed frames below which a view is another picture.
const fewestOfFrames = 0.5

// Fitting returns with how many frames for each open view, fewer than listed, the careful
// estimate fits into the time left; 0 where it fits as listed, or with no sensible number.
func (n TimeNeeded) Fitting(left time.Duration) int {
	if n.Frames < 2 || n.Making <= 0 || n.Careful <= left {
		return 0
	}
	share := float64(left-(n.Careful-n.Making)) / float64(n.Making)
	if share < fewestOfFrames {
		return 0
	}
	return int(share * float64(n.Frames))
}

// timeLeft returns the time until the courier comes. The day is that of the last frame,
// which must be today by the computer's clock.
func timeLeft(sessions []*Session, opt *Options) exifread.Value[time.Duration] {
	if opt.Courier == 0 || opt.Now == nil {
		return exifread.Value[time.Duration]{}
	}
	var last time.Time
	for _, s := range sessions {
		if end := s.End(); end.After(last) {
			last = end
		}
	}
	now := opt.Now()
	if last.Format(time.DateOnly) != now.Format(time.DateOnly) {
		return exifread.Value[time.Duration]{}
	}
	hour, minute := int(opt.Courier.Hours()), int(opt.Courier.Minutes())%60
	comes := time.Date(now.Year(), now.Month(), now.Day(), hour, minute, 0, 0, now.Location())
	return exifread.Of(comes.Sub(now))
}

// TimeSentence says how long the open views take and how much time is left: "about 38 min
// needed for 2 views (in 4 of 5 cases at most 52 min), 31 min left"; empty where no courier
// comes, or nothing is open.
func TimeSentence(r *Result) string {
	left, known := r.Left.Get()
	if !known || r.Needed.Views == 0 {
		return ""
	}
	until := minutes(left) + " left"
	if left < 0 {
		until = "the courier was to come " + minutes(-left) + " ago"
	}
	if r.Needed.Careful == 0 {
		return until + "; too few views are shot to estimate the time needed"
	}
	text := fmt.Sprintf("about %s needed for %s (in 4 of 5 cases at most %s), %s", minutes(r.Needed.Median),
		words.Count(r.Needed.Views, "view", "views"), minutes(r.Needed.Careful), until)
	if n := r.Needed.Fitting(left); n > 0 {
		text += fmt.Sprintf("; it fits with %d frames for each", n)
	}
	return text
}

// minutes writes a time in whole minutes, and in hours where it is long.
func minutes(d time.Duration) string {
	m := int(math.Round(d.Minutes()))
	if m < 120 {
		return fmt.Sprintf("%d min", m)
	}
	return fmt.Sprintf("%d h %d min", m/60, m%60)
}

// setUpQuantiles returns the median and the careful quantile of the sum of so many
// further set-up times, after those observed, s.
func setUpQuantiles(observed []float64, further int) (median, high time.Duration) {
	n := float64(len(observed))
	mean, squares := 0.0, 0.0
	for _, s := range observed {
		mean += math.Log(s) / n
	}
	for _, s := range observed {
		squares += (math.Log(s) - mean) * (math.Log(s) - mean)
	}
	r := rand.New(rand.NewPCG(uint64(len(observed)), uint64(further))) // one folder, one report
	sums := make([]float64, timeDraws)
	for i := range sums {
		chi := 0.0 // chi-squared with n-1 degrees of freedom
		for range len(observed) - 1 {
			x := r.NormFloat64()
			chi += x * x
		}
		sigma := math.Sqrt(squares / chi)
		mu := mean + sigma/math.Sqrt(n)*r.NormFloat64()
		for range further {
			sums[i] += math.Exp(mu + sigma*r.NormFloat64())
		}
	}
	slices.Sort(sums)
	at := func(share float64) time.Duration {
		const longest = 1000 * 3600.0 // s: few views, widely scattered, tell nothing of the upper end
		return time.Duration(min(sums[int(share*timeDraws)], longest) * float64(time.Second))
	}
	return at(0.5), at(careful)
}

// A madeRun is what a sequence of a view tells of the time to make one.
type madeRun struct {
	kind    shoot.Kind
	frames  int
	seconds float64
}

// paceOf returns the times to set up a view, s, from the end of the view before on each
// body's session, and the runs made. What was shot in between, as tests and takes that
// failed, is part of the set-up, as it will be again.
func paceOf(views []*ShotView) (setUps []float64, runs []madeRun) {
	var shown []*Reviewed
	for _, v := range views {
		if v.Sequence != nil && !v.Sequence.Start().IsZero() {
			shown = append(shown, v.Sequence)
		}
	}
	slices.SortStableFunc(shown, func(a, b *Reviewed) int { return a.Start().Compare(b.Start()) })
	for i, q := range shown {
		runs = append(runs, madeRun{q.Kind, len(q.Frames), q.End().Sub(q.Start()).Seconds()})
		if i == 0 {
			continue
		}
		pause := q.Start().Sub(shown[i-1].End())
		if pause > 0 && pause < shoot.DefaultSessionGap { // else a break, or two bodies at once
			setUps = append(setUps, pause.Seconds())
		}
	}
	return setUps, runs
}

// runTime returns how long the frames of a view take, s: at the pace of the runs of its
// kind or, where there are none, of all, as many as listed or else as most have.
func runTime(v *ShotView, runs []madeRun) float64 {
	like := slices.DeleteFunc(slices.Clone(runs), func(r madeRun) bool { return v.HasKind && r.kind != v.Kind })
	if len(like) == 0 {
		like = runs
	}
	var pace, whole []float64
	for _, r := range like {
		whole = append(whole, r.seconds)
		if r.frames > 1 {
			pace = append(pace, r.seconds/float64(r.frames-1))
		}
	}
	if v.Frames > 1 && len(pace) > 0 {
		return middle(pace) * float64(v.Frames-1)
	}
	return middle(whole)
}

func middle(list []float64) float64 {
	slices.Sort(list)
	n := len(list)
	return (list[(n-1)/2] + list[n/2]) / 2
}
