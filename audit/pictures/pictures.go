// Package pictures decodes one picture a frame, within a budget of memory, has it
// measured by audit/pixels, and keeps what was found on disk.
package pictures

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync"

	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/exifread"

	"golang.org/x/sync/errgroup"
)

// A Measurer measures the pictures of sequences, for the rules that need them.
// What it measured of a sequence it keeps, and a sequence that grew is measured
// from where it ended, so that a folder can be followed while it fills. The zero
// value inspects what may show something. One call of Measure at a time.
type Measurer struct {
	// All has the pictures of every sequence of more than one frame inspected.
	// Else it is those of four frames and more that may be focus sequences or
	// time-lapses. Of one to three frames behind one of them, only what they
	// close is asked, and of single frames whether they are as sharp as others of
	// the same view.
	All bool
	// Once is true where there is one call only: nothing is kept ready to grow.
	Once bool
	// Progress, where not nil, is called with how many pictures are done. Calls come
	// one at a time, from several goroutines.
	Progress func(done, total int)
	// Cache, where not nil, keeps what was found from one run to the next.
	Cache Cache
	// Memo, where not nil, is shared by Measurers that inspect the same pictures: tests do.
	Memo *pixels.Memo

	// memory is shared by all calls: what one left behind may not be collected when the
	// next begins.
	memory *budget
	judged map[string][]*pixels.Seen // at the last call, by the key of the whole job
	open   []*looking                // those that may grow, the latest last
	steps  openSteps                 // of the latest
}

const (
	// growing is how many sequences are kept ready to grow, some 50 KB a frame.
	growing = 4
	// stepsBack is how many frames a sequence kept can go back: the last of a
	// folder that fills change when their second files come.
	stepsBack = 2
	// ahead is how many pictures a worker may be ahead of the slowest: each is
	// kept in under 1 MB.
	ahead = 3
	// oneByOne is for how many pictures there is one worker: those that come to an open run
	// take half the memory so, and less than a second.
	oneByOne = 16
	// garbageShare is how many times less than what is in use by the program their garbage may be.
	garbageShare = 16
	// decodingBytes bounds the memory of all pictures that are being decoded. A
	// preview of two megapixels takes 4 MB, a JPEG file of 24 megapixels 50 MB.
	decodingBytes = exifread.MaxPictureBytes
)

// looking is a sequence whose pictures are being inspected.
type looking struct {
	taken []glance // of the frames taken in
	chain
	// before is the chain before each of the last frames, as far as it was
	// kept, the latest last.
	before []chain

	failed error // the program's, at this sequence: nothing more is added

	// growth is what pictures showed when they were inspected again, by their keys.
	growth map[string]pixels.Growth

	mu     sync.Mutex
	done   map[int]glance // before their turn
	taking bool
}

// A glance is what came of inspecting a frame.
type glance struct {
	measure *pixels.FrameMeasure // nil without picture, and once it is taken in
	why     string               // there is none; empty where there is
	// tried is the key prefix of the pictures attempted.
	tried string
}

// wants reports whether the pictures of a run are to be measured.
func (p *Measurer) wants(r *shoot.Run) bool {
	if p.All {
		return len(r.Frames) > 1
	}
	return r.AsksForPictures()
}

// Measure measures the pictures of the runs that ask for it, on all processors, and
// returns what was found in those of each run. Pictures that cannot be decoded are no
// error. Where the program fails at a run that is an error, and the others are measured
// all the same. It returns the context's error where it was stopped: of runs that were not
// measured to their end nothing is known then, and the next call goes on with them.
func (p *Measurer) Measure(ctx context.Context, runs []*shoot.Run) ([]shoot.Seen, error) {
	jobs := p.jobs(runs)
	total := 0
	for _, j := range jobs {
		if j.found = p.known(j); j.found == nil {
			j.on = p.resume(j)
			j.begun = len(j.on.taken)
			total += len(j.keys) - j.begun
		}
	}
	slices.SortStableFunc(jobs, func(a, b *job) int { return byStart(a.last(), b.last()) })
	for _, j := range jobs[max(0, len(jobs)-growing):] {
		j.mayGrow = !p.Once
	}
	if len(jobs) > 0 {
		p.steps.only(jobs[len(jobs)-1])
	}
	errs := []error{p.look(ctx, jobs, total)}
	p.judged = map[string][]*pixels.Seen{} // what else was in it is of no run any more
	seen := make([]shoot.Seen, len(runs))
	for _, j := range jobs {
		if j.on != nil && len(j.on.taken) > 0 {
			p.open = append(p.open, j.on) // also where it was stopped on the way
		}
		if j.failed != nil {
			frames := j.last().Frames
			errs = append(errs, fmt.Errorf("the pictures of frames %s to %s: %w", j.runs[0].Frames[0].Path(), frames[len(frames)-1].Path(), j.failed))
		}
		if j.found == nil {
			continue // stopped before
		}
		p.keep(j)
		for i, found := range j.found {
			if found.Few {
				seen[j.at[i]] = shoot.Seen{Evidence: found}
				continue
			}
			seen[j.at[i]] = shoot.Seen{Focus: motion(found.Judgement), Part: part(found.Behind), Camera: camera(found.Judgement), Evidence: found}
		}
	}
	p.open = slices.Delete(p.open, 0, max(0, len(p.open)-growing))
	return seen, errors.Join(errs...)
}

// byStart puts the run that began last at the end, which is the one that may grow;
// those without a time before all others.
func byStart(a, b *shoot.Run) int { return a.Start().Compare(b.Start()) }

// motion reports what the pictures show of focus.
func motion(j *pixels.Judgement) shoot.Motion {
	switch {
	case j.Walk.Answer == pixels.Found && j.Signature.Kind != "":
		return shoot.FocusSurelyWalks
	case j.Walk.Answer == pixels.Found:
		return shoot.FocusWalks
	case j.Walk.Answer == pixels.Fine:
		return shoot.FocusStands
	case j.OneView:
		return shoot.FewOfOneView
	}
	return shoot.MotionUnknown
}

// camera reports what the pictures show of how the camera was held.
func camera(j *pixels.Judgement) shoot.Camera {
	switch j.Held.Answer {
	case pixels.Found:
		return shoot.CameraMoves
	case pixels.Fine:
		return shoot.CameraStands
	}
	return shoot.CameraUnknown
}

// part reports what the pictures show a run to be to the one before.
func part(g *pixels.GoingOn) shoot.Part {
	switch {
	case g == nil || g.Answer == pixels.CannotTell:
		return shoot.PartUnknown
	case g.Answer == pixels.Found:
		return shoot.PartGoesOn
	}
	return shoot.PartApart
}

// known returns what was found before in the runs of a job, or nil.
func (p *Measurer) known(j *job) []*pixels.Seen {
	if found := p.judged[j.key]; found != nil {
		return found
	}
	if p.Cache == nil {
		return nil
	}
	text, ok := p.Cache.Get(j.key)
	if !ok {
		return nil
	}
	return decode(j.key, text, j.runs)
}

// keep keeps what was found; from one run to the next only what was inspected in
// one go, and not each state of a folder that fills.
func (p *Measurer) keep(j *job) {
	if !j.unread {
		p.judged[j.key] = j.found
	}
	if !j.unread && !j.passing && j.looked && j.begun == 0 && p.Cache != nil {
		if text := encode(j.key, j.found); text != nil {
			p.Cache.Put(j.key, text)
		}
	}
}

// resume takes out the sequence kept that begins as the job, at the last place from which
// it can go on, or makes a new one.
func (p *Measurer) resume(j *job) *looking {
	for i, o := range p.open {
		n := o.agrees(j.keys)
		if n == 0 {
			continue
		}
		back := o.back(min(n, o.chain.agrees(j, len(o.taken))))
		if !back && n == min(len(o.taken), len(j.keys)) {
			continue // frames parted otherwise, which may change back
		}
		p.open = slices.Delete(p.open, i, i+1) // until all of it is taken in
		if back {
			clear(o.done) // of a call that was stopped
			return o
		}
		break // its frames changed: this one takes its place
	}
	l := &looking{chain: newChain(p.Memo), done: map[int]glance{}, growth: map[string]pixels.Growth{}}
	if j.stoppedDown() {
		l.whole.KeepSensor()
	}
	return l
}

// back goes back to the first n frames or fewer, and reports whether it could.
func (l *looking) back(n int) bool {
	if len(l.taken)-n > len(l.before) {
		return false
	}
	for n < len(l.taken) {
		end := len(l.before) - 1
		l.chain, l.before = l.before[end], l.before[:end]
		l.taken = l.taken[:l.len()]
	}
	return true
}

// agrees returns how many of the frames taken in the ones with these keys begin
// with, as far as inspecting them goes.
func (l *looking) agrees(keys []string) int {
	n := 0
	for n < min(len(l.taken), len(keys)) && strings.HasPrefix(keys[n], l.taken[n].tried) {
		n++
	}
	return n
}

// look measures the pictures of the jobs.
func (p *Measurer) look(ctx context.Context, jobs []*job, total int) error {
	workers := min(runtime.GOMAXPROCS(0), (total+oneByOne-1)/oneByOne)
	tasks := make(chan task)
	room := make(chan struct{}, workers*ahead) // pictures measured and not taken in
	if p.memory == nil {
		p.memory = newBudget(decodingBytes)
	}
	memory := p.memory
	if memory.bound(decodingBytes); workers == 1 {
		// Each picture takes the place of the one before. To collect that costs little where
		// little is in use, and much where a watch knows of many frames.
		memory.bound(inUse() / garbageShare)
	}
	var progress sync.Mutex
	done := 0
	tell := func(taken int) {
		progress.Lock()
		defer progress.Unlock()
		for range taken {
			<-room
			done++
			if p.Progress != nil {
				p.Progress(done, total)
			}
		}
	}
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() (failed error) {
		defer exifread.Recovered(&failed)
		defer close(tasks)
		return send(ctx, jobs, memory, room, tasks)
	})
	for range workers {
		group.Go(func() (failed error) {
			// Unlike what fails at a frame or a sequence, this stops the inspection.
			defer exifread.Recovered(&failed)
			for t := range tasks {
				g := t.job.frames[t.at].look(ctx, memory)
				if g.tried == notRead && ctx.Err() != nil {
					continue // given up on the way: the next call inspects again
				}
				taken, all := t.on.take(t.at, g, t.job)
				if all {
					t.job.judge(ctx, memory)
				}
				tell(taken)
			}
			return nil
		})
	}
	return group.Wait()
}

// take takes in a frame that was inspected, and those behind it that waited for it. It
// returns how many, and whether the last of the job's frames was among them. While
// another goroutine is at it, the frame is left to that.
func (l *looking) take(at int, g glance, j *job) (n int, all bool) {
	l.mu.Lock()
	l.done[at] = g
	if l.taking {
		l.mu.Unlock()
		return 0, false
	}
	l.taking = true
	for {
		next := len(l.taken)
		g, ready := l.done[next]
		if !ready {
			break
		}
		delete(l.done, next)
		l.mu.Unlock()
		if l.failed == nil {
			l.failed = l.add(g.measure, j, j.mayGrow && len(j.keys)-next <= stepsBack)
		}
		g.measure = nil // under 1 MB
		l.taken = append(l.taken, g)
		n++
		l.mu.Lock()
	}
	all = n > 0 && len(l.taken) == len(j.keys)
	l.taking = false
	l.mu.Unlock()
	return n, all
}

// add adds a frame to the chain, and keeps the chain before it where asked to.
func (l *looking) add(m *pixels.FrameMeasure, j *job, keep bool) (err error) {
	defer exifread.Recovered(&err)
	if keep {
		l.before = append(l.before, l.clone())
		l.before = slices.Delete(l.before, 0, max(0, len(l.before)-stepsBack))
	}
	if at := len(l.taken); slices.Contains(j.begins[1:], at) {
		l.part(j, l.taken)
	}
	l.chain.add(m)
	return nil
}
