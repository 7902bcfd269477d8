package audit

import (
	"math"
	"time"

	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// DefaultRetakeWithin is how long after a faulty sequence its retake begins at the
// latest, where nothing else is declared: later, another view is as likely.
const DefaultRetakeWithin = 15 * time.Minute

// retakeCount is the share of the frames that a faulty sequence should have had which a
// retake has at least.
const retakeCount = 0.95

// retakes finds the later sequences that make faulty ones harmless. Of the sequences
// that follow a faulty one soon, with the same body, lens and settings and as many
// frames, the first good one is its retake whose pictures show the same view. Where
// the pictures do not show, equal settings are not enough: the next view has them
// too. Then the first good one counts where all planned views are there without the
// faulty sequence, and else is only named.
func retakes(session *Session, opt *Options) {
	within := opt.RetakeWithin
	if within == 0 {
		within = DefaultRetakeWithin
	}
	for i, faulty := range session.Sequences {
		if worst(faulty.Findings) == VerdictGood || faulty.RetakeDeclared || !(faulty.Kind.Steady() || faulty.Kind == shoot.Bracket || faulty.Kind == shoot.Burst) {
			continue
		}
		var perhaps *Reviewed
		end := faulty.End()
		for _, later := range session.Sequences[i+1:] {
			if later.Start().Sub(end) > within {
				break
			}
			if later.Body != faulty.Body || later.Patches != nil || !alike(faulty, later) {
				continue
			}
			same, known := sameView(faulty, later)
			if known && !same {
				continue
			}
			if worst(later.Findings) != VerdictGood {
				end = later.End() // another try
				continue
			}
			if float64(len(later.Frames)) < retakeCount*float64(faulty.ExpectedFrames()) {
				continue
			}
			if known {
				faulty.SupersededBy = later
				break
			}
			if perhaps == nil {
				perhaps = later
			}
		}
		switch {
		case faulty.SupersededBy != nil || perhaps == nil:
		case opt.PlannedViews > 0 && goodViews(session, faulty) >= opt.PlannedViews:
			faulty.SupersededBy = perhaps
		default:
			faulty.PerhapsRetaken = perhaps
		}
	}
}

// goodViews counts the sequences of the same body and kind that nothing is wrong with.
func goodViews(session *Session, like *Reviewed) int {
	n := 0
	for _, q := range session.Sequences {
		if q.Body == like.Body && q.Patches == nil && sameKind(q, like) && worst(q.Findings) == VerdictGood {
			n++
		}
	}
	return n
}

// sameView reports whether the pictures of two sequences show the same view, and
// whether that is known. The first keeps the answer.
func sameView(a, b *Reviewed) (same, known bool) {
	v, ok := a.Pictures.(Viewer)
	if !ok || b.Pictures == nil {
		return false, false
	}
	c := Comparison{With: b}
	c.Same, c.Known, c.Apart = v.SameView(b.Pictures)
	a.Compared = append(a.Compared, c)
	return c.Same, c.Known
}

// sameKind reports whether two sequences may have been made for one thing: a steady run
// may be a focus sequence or a time-lapse, which its frames do not show.
func sameKind(a, b *Reviewed) bool {
	return a.Kind == b.Kind || a.Kind.Steady() && b.Kind.Steady()
}

// alike reports whether b could repeat a: the same kind, lens, focal length,
// picture size and orientation, and the same f-number and exposure time.
// ISO may differ: a wrong ISO is a common reason for a retake.
func alike(a, b *Reviewed) bool {
	return sameKind(a, b) && alikeButExposure(a, b) &&
		closeEV(a.Settings.FNumber, b.Settings.FNumber, 2) && closeEV(a.Settings.ExposureTime, b.Settings.ExposureTime, 1)
}

// alikeButExposure reports whether two sequences have the same lens, focal length,
// picture size and orientation.
func alikeButExposure(a, b *Reviewed) bool {
	ma, mb := a.Frames[0].Meta(), b.Frames[0].Meta()
	return ma.LensModel == mb.LensModel && ma.Width == mb.Width && ma.Height == mb.Height && ma.Orientation == mb.Orientation &&
		closeEV(a.Settings.FocalLength, b.Settings.FocalLength, 4)
}

// closeEV reports whether two values differ by less than 1/6 in units of
// factor times their binary logarithm, or are both not recorded.
func closeEV(a, b exifread.Value[exifread.Rational], factor float64) bool {
	x, okX := a.Get()
	y, okY := b.Get()
	if !okX || !okY {
		return okX == okY
	}
	return math.Abs(factor*math.Log2(x.Float()/y.Float())) < shoot.SameSetting
}
