package shoot

import (
	"cmp"
	"slices"
)

// place puts frames that record no time where their number says: inside the
// sequence whose numbers lie around theirs, at the end of the one they follow,
// or into runs of their own.
func place(own []*Run, b *bodyFrames) []*Run {
	if len(b.untimed) == 0 {
		return own
	}
	type spot struct {
		count int
		run   *Run
		at    *Frame
	}
	bySeries := map[string][]spot{}
	for _, s := range own {
		for _, f := range s.Frames {
			if f.Number.Known {
				bySeries[f.Number.Series] = append(bySeries[f.Number.Series], spot{f.Number.Count, s, f})
			}
		}
	}
	for _, spots := range bySeries {
		slices.SortStableFunc(spots, func(x, y spot) int { return cmp.Compare(x.count, y.count) })
	}
	var last *Run // of frames that have no place
	for _, f := range b.untimed {
		f.Placed = true
		spots := bySeries[f.Number.Series]
		if f.Number.Known && len(spots) > 0 {
			i, _ := slices.BinarySearchFunc(spots, f.Number.Count, func(s spot, n int) int { return cmp.Compare(s.count, n) })
			near := spots[max(0, i-1)]
			// Only a frame that joins on is part of the run.
			if i > 0 && f.Number.Count-near.count <= placeReach || i == 0 && near.count-f.Number.Count == 1 {
				s := near.run
				j := slices.Index(s.Frames, near.at)
				if i > 0 {
					j++
				}
				s.Frames = slices.Insert(slices.Clip(s.Frames), j, f)
				spots = slices.Insert(spots, i, spot{f.Number.Count, s, f})
				bySeries[f.Number.Series] = spots
				continue
			}
		}
		if last == nil || folder(last.Frames[0].Path()) != folder(f.Path()) {
			last = &Run{Body: b.body}
			own = append(own, last)
		}
		last.Frames = append(last.Frames, f)
	}
	return own
}

// placeReach is how many numbers an unreadable frame may lie behind the last
// frame of a sequence to belong to it still.
const placeReach = 5
