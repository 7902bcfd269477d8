package pictures

import (
	"context"
	"errors"
	"strings"

	"prestrike/audit/pixels"
	"prestrike/exifread"
)

// keptGrowths is how many growths of blur a job keeps: one a run, and the last as it grows.
const keptGrowths = 16

// measureStep inspects some frames of a run again where its pictures do not decide whether
// the focus step is too wide, at some 10 MB while it lasts. Others hold the run's judgement:
// it is copied before it changes. It returns the context's error where it was stopped.
func (j *job) measureStep(ctx context.Context, memory *budget, found *pixels.Seen, frames []framePictures) (*pixels.Seen, error) {
	places := found.Judgement.StepFrames()
	if places == nil {
		return found, nil
	}
	growth, err := j.growthOver(ctx, memory, found.Judgement, frames, places)
	if err != nil {
		return nil, err
	}
	seen, judgement := *found, *found.Judgement
	judgement.Step = judgement.Step.Measured(growth, pixels.DefaultThresholds())
	seen.Judgement = &judgement
	return &seen, nil
}

// growthOver measures the growth of blur over some frames. What was measured of the same
// pictures is taken from there: a run that grows has most of them again.
func (j *job) growthOver(ctx context.Context, memory *budget, of *pixels.Judgement, frames []framePictures, places []int) (pixels.Growth, error) {
	var keys strings.Builder
	for _, at := range places {
		keys.WriteString(frames[at].key())
	}
	if g, ok := j.on.growth[keys.String()]; ok {
		return g, nil
	}
	run, unread := new(pixels.TestRun), false
	for _, at := range places {
		// One picture at a time: who holds one while it waits for the next may wait for another who does.
		img, held, again, err := frames[at].decode(ctx, memory, of.Width, of.Height)
		if ctx.Err() == nil && img != nil {
			run.Add(img)
		} else {
			run.Add(nil)
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
	growth := run.StepGrowth(pixels.DefaultThresholds())
	if unread { // they may be read another time
		j.unread = true
		return growth, nil
	}
	if len(j.on.growth) >= keptGrowths {
		clear(j.on.growth)
	}
	j.on.growth[keys.String()] = growth
	return growth, nil
}
