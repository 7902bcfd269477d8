package proof

import "math"

// noise is how the energies of all places and frames are spread, by luma. The noise of a
// picture depends on its luma, and the least energies at one luma are those of places
// without texture or out of focus: the lower envelope of Liu, Szeliski, Kang, Zitnick and
// Freeman, "Automatic estimation and removal of noise from a single image", IEEE TPAMI
// 30(2), 2008. A focus sequence has many such places in each frame.
type noise struct {
	count [lumaBins][energyBins]int32
}

const (
	lumaBins   = 16
	energyBins = 128 // quarters of a power of two, from 2^-12 on
	// envelope is the share of the energies at one luma that lie below the envelope.
	envelope = 0.1
	// fewPlaces is the share of all places and frames up to which a luma has too few to
	// tell, and its neighbours decide.
	fewPlaces = 0.002
	// leastNoise is the energy that rounding to code values leaves, a variance of 1/12, in
	// bands 0 and 1, code values².
	leastNoise = 0.1
)

func (n *noise) add(energy, luma plane) {
	for i, e := range energy.pix {
		k := int(math.Float32bits(e)>>21) - (127-12)<<2
		n.count[lumaBin(luma.pix[i])][min(max(k, 0), energyBins-1)]++
	}
}

func lumaBin(luma float32) int { return min(max(int(luma)*lumaBins/256, 0), lumaBins-1) }

// levels returns the energy of noise by luma.
func (n *noise) levels() [lumaBins]float32 {
	var all int64
	var totals [lumaBins]int64
	for i := range n.count {
		for _, k := range n.count[i] {
			totals[i] += int64(k)
		}
		all += totals[i]
	}
	var out [lumaBins]float32
	for i := range out {
		reach := 0
		var have int64
		for have = totals[i]; float64(have) <= fewPlaces*float64(all) && reach < lumaBins; {
			reach++
			if i-reach >= 0 {
				have += totals[i-reach]
			}
			if i+reach < lumaBins {
				have += totals[i+reach]
			}
		}
		var below int64
		for k := range energyBins {
			for b := max(0, i-reach); b <= min(lumaBins-1, i+reach); b++ {
				below += int64(n.count[b][k])
			}
			if float64(below) >= envelope*float64(have) {
				out[i] = max(leastNoise, float32(math.Exp2(float64(k)/4-12)))
				break
			}
		}
	}
	return out
}
