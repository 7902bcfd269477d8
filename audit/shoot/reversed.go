package shoot

import (
	"cmp"
	"slices"
)

const (
	// This many frames whose numbers fall one by one, over this many readings of the
	// clock, were numbered from the last to the first: a clock that runs back between
	// all of them is no clock.
	reversedFrames   = 5
	reversedReadings = 4
)

// turnReversed finds stretches of frames whose numbers count down one by one while
// time goes on, and lets their counts run with time. Frames must be in order of time,
// and their numbers set.
func turnReversed(frames []*Frame) {
	bySeries := map[string][]*Frame{}
	for _, f := range frames {
		if f.Timed() && f.Number.Known {
			bySeries[f.Number.Series] = append(bySeries[f.Number.Series], f)
		}
	}
	whole := map[string]bool{} // series that count down throughout
	for series, list := range bySeries {
		slices.SortStableFunc(list, func(a, b *Frame) int {
			return cmp.Or(a.Time.Compare(b.Time), b.Number.N-a.Number.N)
		})
		turned := 0
		for from := 0; from < len(list); {
			to, readings := from+1, 1
			for ; to < len(list) && list[to].Number.N == list[to-1].Number.N-1; to++ {
				if !list[to].Time.Equal(list[to-1].Time) {
					readings++
				}
			}
			if to-from >= reversedFrames && readings >= reversedReadings {
				turned += to - from
				for _, f := range list[from:to] {
					f.Number.turn()
				}
			}
			from = to
		}
		whole[series] = turned == len(list)
	}
	for _, f := range frames {
		if !f.Timed() && f.Number.Known && whole[f.Number.Series] {
			f.Number.turn()
		}
	}
}

// turn lets the count of a number rise where its name counts down.
func (n *Number) turn() {
	n.Reversed, n.Count = true, -n.N
	n.Series += "\x00reversed"
}

// along returns the number such that it rises with time also where the names
// count down.
func (n Number) along() int {
	if n.Reversed {
		return -n.N
	}
	return n.N
}
