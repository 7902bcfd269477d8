package audit

import (
	"context"
	"fmt"
	"maps"
	"math"
	"strings"

	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/exifread"
	"prestrike/rules/optics"
)

// A View is one picture of the job, as the shot list declares it. A zero field is not
// declared.
type View struct {
	Name string
	// Kind is the kind of sequence, where HasKind is set.
	Kind         shoot.Kind
	HasKind      bool
	Frames       int
	FewestFrames int // that leave no gap in a focus sequence, where Frames are too many to be made in time
	// Overlap is the share of the sharp depth by which neighbours of Frames frames of a focus
	// sequence overlap, 0 to 1.
	Overlap       float64
	FNumber       float64
	ISO           float64
	ExposureTime  float64 // s
	Magnification float64 // size on the sensor over size of the subject
	Body          string  // its model, compared without regard to case
	Optional      bool    // it is no fault where it is missing
	// Sequence is the name of a file of any frame of the sequence that shows the view,
	// with as much of its path as distinguishes it from others of that name.
	Sequence string
}

// Enough reports whether a number of frames below that listed leaves no gap all the same.
func (v *View) Enough(frames int) bool {
	return v.FewestFrames > 0 && frames >= v.FewestFrames && frames < v.Frames
}

// FewestAtOverlap returns how few frames can be declared to leave no gap where the overlap of
// Frames is declared: over the way of all frames, no step is to be wider than
// [optics.StepRatio] of the sharp depth, but for what whole frames round, which is less
// than one step. 0 where no number is.
func (v *View) FewestAtOverlap() int {
	fewest := int(math.Ceil((1-v.Overlap)*float64(v.Frames-1)/optics.StepRatio - 1e-9))
	if v.Overlap <= 1-optics.StepRatio || fewest >= v.Frames {
		return 0
	}
	return max(fewest, 2)
}

// Spread returns how fewer frames than listed, two at least, are spread: over the way of
// all of them, from the nearest to the farthest focus.
func (v *View) Spread(frames int) FewerFrames {
	f := FewerFrames{View: v, Frames: frames, StepRatio: float64(v.Frames-1) / float64(frames-1)}
	if v.Overlap > 0 {
		// A plan's frames are rounded up: at the widest step its fewest frames cover the depth.
		f.StepRatio = min(f.StepRatio, optics.StepRatio/(1-v.Overlap))
		f.Overlap = exifread.Of(1 - (1-v.Overlap)*f.StepRatio)
	}
	return f
}

// A ShotView is a view of the shot list with the sequence that shows it.
type ShotView struct {
	*View
	// Sequence shows the view; nil where none does.
	Sequence *Reviewed
	// Or is another sequence that fits the view nearly as well; nil where there is none.
	Or *Reviewed
	// By is what assigned the sequence.
	By AssignedBy
	// Unknown reports that the shot list names a frame that is not there, or more
	// than one.
	Unknown bool
}

// AssignedBy is what assigned a sequence to a view.
type AssignedBy uint8

// What assigns sequences to views.
const (
	ByOrder AssignedBy = iota // order of shooting, kind, count and settings
	ByFile                    // the shot list names a file
	BySlate                   // a slate was photographed before it
)

// Shot reports whether a sequence shows the view that need not be shot again.
func (v *ShotView) Shot() bool { return v.Sequence != nil && v.Sequence.Verdict != VerdictReshoot }

// Missing reports whether no sequence shows the view, though one should.
func (v *ShotView) Missing() bool { return v.Sequence == nil && !v.Optional }

// A Slate is what a single frame shows of a slate.
type Slate struct {
	// View is the name of the view, as the shot list has it; empty where the frame
	// shows no slate of the list.
	View string
	// Unread reports that a code is likely there and could not be read, Foreign that
	// the slate is of another shot list.
	Unread, Foreign bool
}

// reviewViews assigns the views of the shot list and runs the rules on it. It settles
// what these find.
func reviewViews(ctx context.Context, r *Result, opt *Options) []error {
	var errs []error
	slates := map[*shoot.Frame]Slate{}
	if opt.Slates != nil {
		var singles []*shoot.Frame
		for _, s := range r.Sessions {
			for _, q := range s.Sequences {
				if q.Kind == shoot.Single {
					singles = append(singles, q.Frames...)
				}
			}
		}
		var err error
		slates, err = askSlates(ctx, singles, opt)
		errs = append(errs, err)
	}
	r.Views = assignViews(r.Sessions, opt.Views, slates)
	for _, v := range r.Views {
		if v.Sequence != nil {
			v.Sequence.View = v.Name
		}
	}
	last := r.Sessions[len(r.Sessions)-1]
	owner := map[*shoot.Frame]*Reviewed{}
	for _, s := range r.Sessions {
		maps.Copy(owner, s.owners())
	}
	for _, rule := range opt.Rules {
		if opt.Off[rule.ID] || rule.CheckViews == nil {
			continue
		}
		v := &Review{
			Session: last.Session, Sessions: last.all, Options: opt, rule: rule, facts: facts{}, Pictured: last.pictured(),
			Views: r.Views, Slates: slates,
		}
		found, not, err := v.outcome(rule.CheckViews)
		errs = append(errs, err)
		for _, f := range found {
			if q := oneOwner(f, owner); q != nil {
				q.Findings = append(q.Findings, f)
			} else {
				last.Findings = append(last.Findings, f)
			}
		}
		last.NotJudged = append(last.NotJudged, not...)
	}
	r.Unused = accept(r.Sessions, opt.Accept)
	for _, s := range r.Sessions {
		s.settle()
	}
	r.Needed, r.Left = TimeFor(r.Views), timeLeft(r.Sessions, opt)
	return errs
}

// askSlates has single frames inspected for slates. Where that panics, none are known.
func askSlates(ctx context.Context, singles []*shoot.Frame, opt *Options) (slates map[*shoot.Frame]Slate, err error) {
	defer exifread.Recovered(&err)
	return opt.Slates(ctx, singles)
}

// ViewsSentence writes how many views are shot and what is missing: "7 of 9 views shot;
// missing: hinge, underside"; empty where no views are declared.
func ViewsSentence(views []*ShotView) string {
	if len(views) == 0 {
		return ""
	}
	var missing, again []string
	wanted, shot := 0, 0
	for _, v := range views {
		switch {
		case v.Shot():
			shot++
		case v.Missing():
			missing = append(missing, v.Name)
		case v.Sequence != nil:
			again = append(again, v.Name)
		}
		if v.Shot() || !v.Optional {
			wanted++
		}
	}
	text := fmt.Sprintf("%d of %d views shot", shot, wanted)
	if len(missing) > 0 {
		text += "; missing: " + strings.Join(words.Names(missing), ", ")
	}
	if len(again) > 0 {
		text += "; to be shot again: " + strings.Join(words.Names(again), ", ")
	}
	return text
}
