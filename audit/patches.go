package audit

import (
	"slices"

	"prestrike/audit/shoot"
)

// A Hole is a place in a sequence between two frames that a few frames, made later, can
// close; or beyond an end of it, where Before or Behind is nil.
type Hole struct{ Before, Behind *shoot.Frame }

// A Patcher knows whether a few frames close a hole. Pictures may be one.
type Patcher interface {
	// Closes reports whether the Pictures of a later sequence close the hole between two
	// frames, by their places in this one, -1 for none beyond an end. Where they do not,
	// why is a sentence without a full stop, empty where they were not made for this.
	Closes(pictures any, before, behind int) (closes bool, why string)
}

// A Misfit is a later sequence that was made to close a hole and does not.
type Misfit struct {
	Sequence *Reviewed
	Why      string // a sentence without a full stop
}

// otherSettings is why frames that lie in the hole do not close it.
const otherSettings = "its settings are others"

// patches finds the short sequences that close the holes of earlier ones: of the same
// body and lens, at the same settings, begun soon after, and by their pictures. One with
// as many frames is a retake. A finding all of whose holes are closed no longer counts,
// and the two sequences are one.
func patches(session *Session, opt *Options) {
	within := opt.RetakeWithin
	if within == 0 {
		within = DefaultRetakeWithin
	}
	for i, q := range session.Sequences {
		p, ok := q.Pictures.(Patcher)
		if !ok || q.Patches != nil {
			continue
		}
		open := holes(q)
		end := q.End()
		for _, later := range session.Sequences[i+1:] {
			if len(open) == 0 || later.Start().Sub(end) > within {
				break
			}
			retake := float64(len(later.Frames)) >= retakeCount*float64(q.ExpectedFrames())
			if later.Body != q.Body || later.Pictures == nil || later.Patches != nil || retake || !alikeButExposure(q, later) {
				continue
			}
			open = slices.DeleteFunc(open, func(h Hole) bool {
				closes, why := p.Closes(later.Pictures, slices.Index(q.Frames, h.Before), slices.Index(q.Frames, h.Behind))
				switch {
				case closes && !sameExposure(q, later):
					closes, why = false, otherSettings
				case closes:
					later.Patches, q.Misfit = q, nil
				}
				if why != "" && later.Patches == nil {
					q.Misfit, end = &Misfit{later, why}, later.End()
				}
				return closes
			})
			if later.Patches == q {
				q.PatchedBy = append(q.PatchedBy, later)
				end = later.End()
			}
		}
		if len(q.PatchedBy) == 0 {
			continue
		}
		for _, f := range q.Findings {
			f.Closed = len(f.Holes) > 0 && !slices.ContainsFunc(f.Holes, func(h Hole) bool { return slices.Contains(open, h) })
		}
	}
}

// holes returns the holes of a sequence that ask for something to be done, each once.
func holes(q *Reviewed) (list []Hole) {
	for _, f := range q.Findings {
		if f.Accepted || f.Severity <= Note {
			continue
		}
		for _, h := range f.Holes {
			if !slices.Contains(list, h) {
				list = append(list, h)
			}
		}
	}
	return list
}

// sameExposure reports whether two sequences were made at the same exposure time,
// f-number and ISO.
func sameExposure(a, b *Reviewed) bool {
	x, okX := a.Settings.ISO.Get()
	y, okY := b.Settings.ISO.Get()
	return okX == okY && x == y && closeEV(a.Settings.FNumber, b.Settings.FNumber, 2) && closeEV(a.Settings.ExposureTime, b.Settings.ExposureTime, 1)
}
