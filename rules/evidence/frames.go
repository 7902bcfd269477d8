package evidence

import "prestrike/audit/shoot"

// InOrder returns frames in the order of their sequence.
func InOrder(q *shoot.Sequence, frames []*shoot.Frame) []*shoot.Frame {
	wanted := make(map[*shoot.Frame]bool, len(frames))
	for _, f := range frames {
		wanted[f] = true
	}
	out := make([]*shoot.Frame, 0, len(frames))
	for _, f := range q.Frames {
		if wanted[f] {
			out = append(out, f)
		}
	}
	return out
}
