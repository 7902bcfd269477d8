package pictures

import (
	"context"
	"errors"
	"slices"
	"strings"
	"sync"

	"prestrike/audit/pixels"
	"prestrike/exifread"
)

// keptGrowths is how many growths of blur a job keeps: one a run, and the last as it grows.
const keptGrowths = 16

// measureStep inspects some frames of a run again where its pictures do not decide whether
// the focus step is too wide, at some 10 MB while it lasts. Others hold the run's judgement:
// it is copied before it changes. It returns the context's error where it was stopped.
// The judgement is of the frames from one on.
func (j *job) measureStep(ctx context.Context, memory *budget, found *pixels.Seen, from int) (*pixels.Seen, error) {
	places := found.Judgement.StepFrames()
	if places == nil {
		return found, nil
	}
	growth, err := j.growthOver(ctx, memory, found.Judgement, from, places)
	if err != nil {
		return nil, err
	}
	seen, judgement := *found, *found.Judgement
	judgement.Step = judgement.Step.Measured(growth, pixels.DefaultThresholds())
	seen.Judgement = &judgement
	return &seen, nil
}

// growthOver measures the growth of blur over some of the frames from one on. What was
// measured of the same pictures is taken from there: a run that grows has most of them again.
func (j *job) growthOver(ctx context.Context, memory *budget, of *pixels.Judgement, from int, places []int) (pixels.Growth, error) {
	keys := make([]string, len(places))
	for i, at := range places {
		if keys[i] = j.keys[from+at]; of.PerFrame[at].Measured {
			keys[i] = j.on.taken[from+at].tried // other files that come to the frame change nothing
		}
	}
	key := strings.Join(keys, "")
	if g, ok := j.on.growth[key]; ok {
		return g, nil
	}
	on, unread := j.steps.goOn(keys), false
	for _, at := range places[len(on.keys):] {
		// One picture at a time: who holds one while it waits for the next may wait for another who does.
		img, held, again, err := j.frames[from+at].decode(ctx, memory, of.Width, of.Height)
		if ctx.Err() == nil && img != nil {
			on.run.Add(img)
		} else {
			on.run.Add(nil)
		}
		memory.give(held)
		if _, failed := errors.AsType[*exifread.PanicError](err); failed {
			return pixels.Growth{}, err
		}
		if ctx.Err() != nil {
			return pixels.Growth{}, ctx.Err()
		}
		unread = unread || again
	}
	growth := on.run.StepGrowth(pixels.DefaultThresholds())
	if unread { // they may be read another time
		j.unread = true
		return growth, nil
	}
	if on.keys = keys; j.mayGrow && len(keys) < pixels.MostStepFrames {
		j.steps.keep(on)
	}
	if len(j.on.growth) >= keptGrowths {
		clear(j.on.growth)
	}
	j.on.growth[key] = growth
	return growth, nil
}

// A stepRun is what was measured of some frames, which more may follow.
type stepRun struct {
	keys []string // of the frames
	run  *pixels.TestRun
}

// openSteps keeps what was measured of the job that began last, some 3 to 5 MB, while it has
// fewer frames than are inspected again. With each frame more all of them are asked for the
// step: none is then decoded a third time.
type openSteps struct {
	mu   sync.Mutex
	last *stepRun
}

// goOn takes out what is kept where the frames with these keys begin with its own, or
// begins anew.
func (o *openSteps) goOn(keys []string) *stepRun {
	o.mu.Lock()
	defer o.mu.Unlock()
	r := o.last
	o.last = nil
	if r != nil && len(r.keys) <= len(keys) && slices.Equal(r.keys, keys[:len(r.keys)]) {
		return r
	}
	return &stepRun{run: &pixels.TestRun{StepsOnly: true}}
}

func (o *openSteps) keep(r *stepRun) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.last = r
}

// only gives up what is of another job.
func (o *openSteps) only(j *job) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.last != nil && !slices.ContainsFunc(j.keys, func(key string) bool { return strings.HasPrefix(key, o.last.keys[0]) }) {
		o.last = nil
	}
}
