package audit

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"sort"
	"strconv"
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

	open   []*ShotView // in the order of the list
	setUps []float64   // s, of the views that are shot
	runs   []madeRun
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
	var n TimeNeeded
	for _, v := range views {
		if v.Missing() || v.Sequence != nil && !v.Shot() {
			n.open = append(n.open, v)
		}
	}
	n.Views = len(n.open)
	n.setUps, n.runs = paceOf(views)
	if len(n.open) > 0 && len(n.setUps) >= fewestSetUps && len(n.runs) > 0 {
		n.Median, n.Careful = n.timeOf(n.open)
	}
	return n
}

// timeOf returns both estimates for some of the open views, as listed.
func (n TimeNeeded) timeOf(views []*ShotView) (median, high time.Duration) {
	median, high = setUpQuantiles(n.setUps, len(views))
	making := n.making(views, nil)
	return median + making, high + making
}

// making returns how long it takes to make the frames of views, with fewer than listed
// where fewer has a number for a view.
func (n TimeNeeded) making(views []*ShotView, fewer map[*ShotView]int) time.Duration {
	seconds := 0.0
	for _, v := range views {
		count := v.Frames
		if f, ok := fewer[v]; ok {
			count = f
		}
		seconds += runTime(v, count, n.runs)
	}
	return time.Duration(seconds * float64(time.Second))
}

// A Fit is what of the open views fits into the time left, by the careful estimate.
type Fit struct {
	// AsListed reports that all fit with the frames that the list has.
	AsListed bool
	// Fewer are numbers of frames with which all fit where they do not as listed: in
	// the order of the list, of views with [View.FewestFrames], and none below that.
	// Empty where there are no such numbers.
	Fewer []FewerFrames
	// Views is how many fit as listed, in the order of the list.
	Views int
}

// FewerFrames are fewer frames for a view than listed.
type FewerFrames struct {
	View   *View
	Frames int
	// StepRatio is how many times as wide as planned the focus steps then are.
	StepRatio float64
	// Overlap is the share of the sharp depth by which neighbouring frames then overlap,
	// where the shot list has the one planned.
	Overlap exifread.Value[float64]
}

// Fitting returns what of the open views fits into a time. It is not known where the
// session does not tell yet how long they take.
func (n TimeNeeded) Fitting(left time.Duration) exifread.Value[Fit] {
	switch {
	case n.Views > 0 && n.Careful == 0:
		return exifread.Value[Fit]{}
	case n.Views == 0 || n.Careful <= left:
		return exifread.Of(Fit{AsListed: true, Views: n.Views})
	}
	f := Fit{Fewer: n.fewer(left)}
	// The first number of views that does not fit; each view takes its time.
	f.Views = sort.Search(n.Views, func(k int) bool {
		_, high := n.timeOf(n.open[:k+1])
		return high > left
	})
	return exifread.Of(f)
}

// fewer takes frames from all views that may have fewer, the same share of those that each
// may lack, and no more than it takes to fit.
func (n TimeNeeded) fewer(left time.Duration) []FewerFrames {
	most := 0 // frames that a view may lack
	for _, v := range n.open {
		most = max(most, v.mayLack())
	}
	at := func(step int) map[*ShotView]int {
		counts := map[*ShotView]int{}
		for _, v := range n.open {
			if lack := v.mayLack(); lack > 0 {
				counts[v] = v.Frames - lack*step/most
			}
		}
		return counts
	}
	setUp := n.Careful - n.making(n.open, nil)
	step := 1 + sort.Search(most, func(i int) bool { return setUp+n.making(n.open, at(i+1)) <= left })
	if step > most {
		return nil
	}
	counts := at(step)
	var out []FewerFrames
	for _, v := range n.open {
		if count, ok := counts[v]; ok && count < v.Frames {
			out = append(out, v.Spread(count))
		}
	}
	return out
}

// mayLack is how many frames fewer than listed leave no gap; 0 where that is not declared.
func (v *View) mayLack() int {
	if v.FewestFrames == 0 {
		return 0
	}
	return max(0, v.Frames-v.FewestFrames)
}

// timeLeft returns the time until the courier comes. The day is that of the last frame,
// which must be today.
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
	now := opt.Now(last)
	if last.Format(time.DateOnly) != now.Format(time.DateOnly) {
		return exifread.Value[time.Duration]{}
	}
	hour, minute := int(opt.Courier.Hours()), int(opt.Courier.Minutes())%60
	comes := time.Date(now.Year(), now.Month(), now.Day(), hour, minute, 0, 0, now.Location())
	return exifread.Of(comes.Sub(now))
}

// TimeSentence says how long the open views take and how much time is left: "about 38 min
// needed for 2 views (in 4 of 5 cases at most 52 min), 31 min left", and where that is
// more than is left, with how many frames it fits or how many views do; empty where no
// courier comes, or nothing is open.
func TimeSentence(r *Result) string {
	left, known := r.Left.Get()
	if !known || r.Needed.Views == 0 {
		return ""
	}
	until := minutes(left.Truncate(time.Minute)) + " left"
	if left < 0 {
		until = "the courier was to come " + minutes(-left) + " ago"
	}
	fit, known := r.Needed.Fitting(left).Get()
	if !known {
		return until + "; too few views are shot to estimate the time needed"
	}
	text := fmt.Sprintf("about %s needed for %s (in 4 of 5 cases at most %s), %s", minutes(r.Needed.Median),
		words.Count(r.Needed.Views, "view", "views"), minutes(r.Needed.Careful+time.Minute/2-1), until)
	if fit.AsListed || left < 0 {
		return text
	}
	if len(fit.Fewer) > 0 {
		return text + "; it fits with " + fewerWords(fit.Fewer, r.Needed.Views)
	}
	switch {
	case r.Needed.Median <= left:
		text += "; it may not fit"
	default:
		text += "; it is not likely to fit"
	}
	switch {
	case fit.Views == 1:
		text += ": count on the first view only"
	case fit.Views > 1:
		text += fmt.Sprintf(": count on the first %d views only", fit.Views)
	case r.Needed.Views > 1:
		text += ": count on no further view"
	}
	return text
}

// fewerWords writes numbers of frames, and the steps they take: "30 frames for each (steps
// 1.35 times as wide, overlap 32 %)".
func fewerWords(list []FewerFrames, open int) string {
	const most = 4
	first := list[0]
	if len(list) == open && !slices.ContainsFunc(list, func(f FewerFrames) bool { return f.Frames != first.Frames || f.spread() != first.spread() }) {
		each := " for each"
		if open == 1 {
			each = ""
		}
		return fmt.Sprintf("%d frames%s (%s)", first.Frames, each, first.spread())
	}
	var parts []string
	for i, f := range list {
		unit := ""
		if i == 0 {
			unit = " frames"
		}
		parts = append(parts, fmt.Sprintf("%d%s for %q (%s)", f.Frames, unit, shoot.ShortName(f.View.Name), f.spread()))
	}
	return words.List(parts, most)
}

// spread writes how the frames are spread: "steps 1.35 times as wide, overlap 32 %". What is
// written covers the depth: a step is rounded up, and an overlap down.
func (f FewerFrames) spread() string {
	const exact = 1e-9 // of binary fractions
	text := "steps " + strconv.FormatFloat(math.Ceil(100*f.StepRatio-exact)/100, 'f', -1, 64) + " times as wide"
	if overlap, known := f.Overlap.Get(); known {
		text += fmt.Sprintf(", overlap %.0f %%", math.Floor(100*overlap+exact))
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
	sums := make([]float64, timeDraws)
	for i := range sums {
		// One folder, one report; and the draws for a view more begin with these, so that it
		// never takes less time.
		r := rand.New(rand.NewPCG(uint64(len(observed)), uint64(i)))
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

// runTime returns how long so many frames of a view take, s: at the pace of the runs of
// its kind or, where there are none, of all; where frames is 0, as long as those runs.
func runTime(v *ShotView, frames int, runs []madeRun) float64 {
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
	if frames > 1 && len(pace) > 0 {
		return middle(pace) * float64(frames-1)
	}
	return middle(whole)
}

func middle(list []float64) float64 {
	slices.Sort(list)
	n := len(list)
	return (list[(n-1)/2] + list[n/2]) / 2
}
