package pixels

import (
	"slices"
	"testing"
)

func TestStepBeyond(t *testing.T) {
	known := Step{Verdict: decided(false), Blur: 2, Low: 1.8, High: 2.2}
	rough := Step{Verdict: cannot(ReasonFlat), Blur: 2, Low: 1, High: 4}
	for _, c := range []struct {
		step   Step
		limit  float64
		answer Answer
		reason string
	}{
		{known, 3, Fine, ""},
		{known, 2.2, Fine, ""},
		{known, 2, CannotTell, ReasonNearLimit},
		{known, 1.9, CannotTell, ReasonNearLimit},
		{known, 1.5, Found, ""},
		{rough, 3, CannotTell, ReasonFlat},
		{rough, 5, Fine, ""},
		{Step{Verdict: cannot(ReasonWalk)}, 3, CannotTell, ReasonWalk},
	} {
		if got := c.step.Beyond(c.limit); got != (Verdict{c.answer, c.reason}) {
			t.Errorf("%v beyond %v: %v %q, want %v %q", c.step, c.limit, got.Answer, got.Reason, c.answer, c.reason)
		}
	}
}

func TestStepMeasured(t *testing.T) {
	rough := Step{Verdict: cannot(ReasonStep), Blur: 3, Low: 1.5, High: 6}
	found := Verdict{Answer: Found}
	for _, c := range []struct {
		growth Growth
		want   Step
	}{
		{Growth{Verdict: found, Blur: 4, Low: 3.5, High: 4.5}, Step{found, 4, 3.5, 4.5}},
		{Growth{Verdict: found, Blur: 2, Low: 1.8, High: 2.2}, Step{Verdict{Answer: Fine}, 2, 1.8, 2.2}},
		{Growth{Verdict: found, Blur: 3.1, Low: 2.8, High: 3.4}, Step{cannot(ReasonNearLimit), 3.1, 2.8, 3.4}},
		{Growth{Verdict: cannot(ReasonSpread), Blur: 4, Low: 3.5, High: 4.5}, Step{cannot(ReasonSpread), 3, 1.5, 6}},
		{Growth{Verdict: cannot(ReasonLittle), Blur: 0.5}, rough},
	} {
		if got := rough.Measured(c.growth, DefaultThresholds()); got != c.want {
			t.Errorf("%+v: %+v, want %+v", c.growth, got, c.want)
		}
	}
}

// TestStepFrames: the frames that are inspected again lie where most is sharpest, one at
// each position, and over no step that differs from the others.
func TestStepFrames(t *testing.T) {
	from := func(first, last, every int) (out []int) {
		for i := first; i <= last; i += every {
			out = append(out, i)
		}
		return out
	}
	backwards := from(0, 9, 1)
	slices.Reverse(backwards)
	for name, c := range map[string]struct {
		frames int
		change func(j *Judgement)
		want   []int
	}{
		"short":                 {10, func(*Judgement) {}, from(0, 9, 1)},
		"few":                   {5, func(*Judgement) {}, nil},
		"where it is sharp":     {60, func(j *Judgement) { j.PerFrame[37].Sharpest = 0.5 }, from(32, 32+MostStepFrames-1, 1)},
		"decided":               {10, func(j *Judgement) { j.Step.Verdict = decided(true) }, nil},
		"nothing known":         {10, func(j *Judgement) { j.Step = Step{Verdict: cannot(ReasonWalk)} }, nil},
		"a frame missing":       {20, func(j *Judgement) { j.Jumps.Events = []Jump{{From: 7, To: 8}} }, from(8, 19, 1)},
		"stands":                {20, func(j *Judgement) { j.Stalls.Events = []Stall{{From: 10, To: 12}} }, from(0, 10, 1)},
		"stops near its end":    {12, func(j *Judgement) { j.Stalls.Events = []Stall{{From: 7, To: 11}} }, from(0, 7, 1)},
		"goes back":             {14, func(j *Judgement) { j.Order.Events = []Reversal{{From: 4, To: 5}} }, from(6, 13, 1)},
		"nothing even":          {11, func(j *Judgement) { j.Order.Events = []Reversal{{From: 5, To: 6}} }, nil},
		"two frames at each":    {20, func(j *Judgement) { j.Habit.Pairs = true }, from(0, 18, 2)},
		"made in another order": {10, func(j *Judgement) { j.Habit.Outwards = backwards }, backwards},
		"a jump in such a order": {14, func(j *Judgement) {
			j.Habit.Outwards = append(slices.Clone(backwards), 10, 11, 12, 13)
			j.Jumps.Events = []Jump{{From: 10, To: 11}}
		}, append(slices.Clone(backwards), 10)},
	} {
		j := &Judgement{Frames: c.frames, PerFrame: make([]FrameSummary, c.frames), Step: Step{Verdict: cannot(ReasonStep), Blur: 3}}
		for i := range j.PerFrame {
			j.PerFrame[i].Sharpest = 0.01
		}
		c.change(j)
		if got := j.StepFrames(); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}
