package pictures

import (
	"context"
	"errors"

	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// TestRun decodes the pictures of a sequence, one ahead of the one that is measured, and
// takes them in as a test run. A frame without a picture keeps its place. It returns the
// context's error where it was stopped, and an error where the program itself failed.
func TestRun(ctx context.Context, q *shoot.Sequence) (run *pixels.TestRun, err error) {
	defer exifread.Recovered(&err)
	w := &proving{ctx: ctx, memory: newBudget(decodingBytes), q: q}
	for _, f := range q.Frames {
		w.frames = append(w.frames, picturesIn(f))
	}
	run = new(pixels.TestRun)
	taken := 0
	lack := func(until int) {
		for ; taken < until; taken++ {
			run.Add(nil)
		}
	}
	for i, img := range w.pictures(w.everyFrame(), 0, 0) {
		lack(i)
		run.Add(img)
		taken++
	}
	lack(len(q.Frames))
	return run, errors.Join(w.failed, ctx.Err())
}
