package pictures

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"

	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// A job is a run to be measured, with those behind it that may go on from there.
type job struct {
	at     []int // of its runs among all
	runs   []*shoot.Run
	begins []int // the first frame of each
	frames []framePictures
	keys   []string       // of the frames
	key    string         // of them all
	found  []*pixels.Seen // in each run
	on     *looking
	begun  int // frames that were taken in before
	steps  *openSteps
	// mayGrow keeps it ready for more frames.
	mayGrow bool
	few     bool // too few frames for anything but to be compared with others
	looked  bool // all frames were inspected, and found was judged from them
	unread  bool // some could not be read, as long as that may last
	failed  error
	// passing is true where the program failed at a frame or at all of it, which the
	// next version may not.
	passing bool
}

// jobs makes the jobs of the runs that are to be measured. Parts of what is one run by
// times and counts are measured where that run is.
func (p *Measurer) jobs(runs []*shoot.Run) []*job {
	whole := map[*shoot.Run]*shoot.Run{} // what a run and those before it are without pictures
	first := map[*shoot.Run]*shoot.Run{} // of them
	for _, r := range runs {
		whole[r], first[r] = r, r
		if inside(r) && whole[r.MayContinue] != nil {
			whole[r], first[r] = shoot.Join(whole[r.MayContinue], r), first[r.MayContinue]
		}
	}
	wanted := map[*shoot.Run]bool{} // by its first part
	for _, r := range runs {        // the last part comes last
		wanted[first[r]] = p.wants(whole[r])
	}
	inspected := func(r *shoot.Run) bool { return wanted[first[r]] }
	few := shoot.MayPatch(runs, inspected)
	maps.Copy(few, shoot.MayShowOneView(runs, inspected))
	var jobs []*job
	of := map[*shoot.Run]*job{}
	for i, r := range runs {
		if !wanted[first[r]] {
			if few[r] {
				j := &job{few: true}
				j.append(i, r)
				jobs = append(jobs, j)
			}
			continue
		}
		j := of[r.MayContinue]
		if j == nil || j.last() != r.MayContinue {
			j = new(job)
			jobs = append(jobs, j)
		}
		of[r] = j
		j.append(i, r)
	}
	for _, j := range jobs {
		j.name()
		j.steps = &p.steps
	}
	return jobs
}

// append takes in a run, at place at among all.
func (j *job) append(at int, r *shoot.Run) {
	j.at, j.runs, j.begins = append(j.at, at), append(j.runs, r), append(j.begins, len(j.keys))
	for _, f := range r.Frames {
		list := picturesIn(f)
		j.frames = append(j.frames, list)
		j.keys = append(j.keys, list.key())
	}
}

// name makes the job's key.
func (j *job) name() {
	parts := slices.Clone(j.keys)
	for i, r := range j.runs {
		if exposures := r.Exposures(); exposures != nil { // a frame's settings take part in judging
			parts = append(parts, fmt.Sprint(exposures))
		}
		if i > 0 {
			parts = append(parts, fmt.Sprint(j.begins[i], inside(r)))
		}
	}
	if j.few {
		parts = append(parts, "few")
	}
	j.key = keyOf(measuring(pixels.DefaultThresholds()), parts)
}

// stoppedDown reports whether the first frame was made at an f-number at which dust may show.
func (j *job) stoppedDown() bool {
	n, ok := j.runs[0].Frames[0].Meta().FNumber.Get()
	return ok && n.Den > 0 && n.Float() >= pixels.DustFNumber
}

func (j *job) last() *shoot.Run { return j.runs[len(j.runs)-1] }

// judge is called when all frames are taken in. Where the program fails at it, or did
// before, nothing is known of any of the frames, and nothing is kept. Where it is stopped,
// the next call judges.
func (j *job) judge(ctx context.Context, memory *budget) {
	for _, g := range j.on.taken {
		j.unread = j.unread || g.tried == notRead
		j.passing = j.passing || g.why == failedHere
	}
	if j.failed = j.on.failed; j.failed == nil {
		j.found, j.failed = j.answers(ctx, memory)
	}
	if ctx.Err() != nil && errors.Is(j.failed, ctx.Err()) {
		j.failed = nil
		return
	}
	if j.failed != nil {
		j.found = nil
		for _, r := range j.runs {
			j.found = append(j.found, nothingSeen(len(r.Frames)))
		}
		j.passing, j.on = true, nil
	}
	j.looked = true
	if !j.mayGrow {
		j.on = nil // some 50 KB a frame
	}
}

// answers is what was found in each run.
func (j *job) answers(ctx context.Context, memory *budget) (found []*pixels.Seen, err error) {
	defer exifread.Recovered(&err)
	found = append(slices.Clone(j.on.closed), j.on.answer(j, j.on.taken))
	found[len(found)-1].Few = j.few
	for i, s := range found {
		end := len(j.frames)
		if i+1 < len(found) {
			if together(j.runs[i+1], found[i+1]) {
				continue // judged with what is behind it
			}
			end = j.begins[i+1]
		}
		if found[i], err = j.measureStep(ctx, memory, s, end-s.Judgement.Frames); err != nil {
			return nil, err
		}
	}
	return found, nil
}

// nothingSeen is what is known of a number of frames at which the program failed.
func nothingSeen(frames int) *pixels.Seen {
	nothing := &pixels.Seen{Missing: map[int]string{}}
	var s pixels.Sequence
	for at := range frames {
		s.Add(nil)
		nothing.Missing[at] = failedHere
	}
	nothing.Judgement = s.Judge(pixels.DefaultThresholds(), nil)
	return nothing
}

// A task is one picture to be measured.
type task struct {
	job *job
	on  *looking
	at  int
}

// send hands out the pictures of the jobs in their order, as long as there is room for
// what is measured and not taken in. It returns the cause where ctx ended first.
func send(ctx context.Context, jobs []*job, memory *budget, room chan<- struct{}, tasks chan<- task) error {
	for _, j := range jobs {
		if j.found != nil { // known before; workers set it only once it is sent
			continue
		}
		if j.begun == len(j.keys) {
			j.judge(ctx, memory) // other files came to its frames
			continue
		}
		on := j.on // the last worker at it lets go of it
		for at := j.begun; at < len(j.keys); at++ {
			// Room first: the tasks under way are then the earliest, of which
			// one at least can be taken in.
			select {
			case room <- struct{}{}:
			case <-ctx.Done():
				return context.Cause(ctx)
			}
			select {
			case tasks <- task{j, on, at}:
			case <-ctx.Done():
				return context.Cause(ctx)
			}
		}
	}
	return nil
}
