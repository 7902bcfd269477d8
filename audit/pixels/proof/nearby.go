package proof

// depthReach is how many frames a place's energies are kept of, on either side of the one in
// which it is sharpest: those that count for the merged picture.
const depthReach = 6

// nearby keeps for each place the energies of the frames around the one in which it is
// sharpest, so that no picture has to be measured a second time, and memory does not grow with
// the number of frames.
type nearby struct {
	last [depthReach][]float32       // of the frames before the one that is added
	kept [2*depthReach + 1][]float32 // of frame n, at n modulo their number
	at   []int16                     // around which frame they are; -1 for none
}

func newNearby(places int) *nearby {
	k := &nearby{at: make([]int16, places)}
	for i := range k.at {
		k.at[i] = -1
	}
	for i := range k.last {
		k.last[i] = make([]float32, places)
	}
	for i := range k.kept {
		k.kept[i] = make([]float32, places)
	}
	return k
}

// add takes in the energies of some places, from a first one on, of the n-th frame. Sharpest
// has the frame in which each of them is sharpest so far.
func (k *nearby) add(n int16, first int, energies []float32, sharpest []int16) {
	at, kept := k.at[first:][:len(energies)], k.kept[n%(2*depthReach+1)][first:][:len(energies)]
	last, sharpest := k.last[n%depthReach][first:][:len(energies)], sharpest[:len(energies)]
	for i, e := range energies {
		if sharpest[i] == n && (at[i] < 0 || n-at[i] > depthReach) {
			// The frames before this one were too far from the sharpest to be kept.
			for b := max(0, n-depthReach); b < n; b++ {
				k.kept[b%(2*depthReach+1)][first+i] = k.last[b%depthReach][first+i]
			}
		}
		if sharpest[i] == n {
			at[i] = n
		}
		if n-at[i] <= depthReach {
			kept[i] = e
		}
		last[i] = e
	}
}

// energy returns the energy of a place in the n-th frame; 0 where it is not known.
func (k *nearby) energy(place, n int) float32 {
	if at := int(k.at[place]); at < 0 || max(at-n, n-at) > depthReach {
		return 0
	}
	return k.kept[n%(2*depthReach+1)][place]
}
