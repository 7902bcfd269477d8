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
	// decide, so that its neighbours do.
	fewPlaces = 0.002
	// Energies of noise alone scatter little: half of them lie below scatter times the envelope.
	// Where they scatter more there is texture at all places of this luma, and the envelope may
	// lie above the noise. It is then bounded by that of other lumas: between evenFrom and evenTo,
	// as bins, noise differs by a factor of two at most, four in energy, as shot noise grows with
	// the root of light, and the slope of a power of 1/2.2 falls a little faster.
	scatter          = 2.5
	evenFrom, evenTo = 3, 12
	evenTimes        = 4
	knownPlaces      = 0.02 // of all: from this share on, the envelope of a luma bounds that of others
	// leastNoise is the energy, code values², that compression leaves: rounding to code
	// values is a variance of 1/12, to coefficients in steps of two, the finest that bodies
	// write, of 1/3, and bands 0 and 1 have some three quarters of it. Four times that is a
	// texture of one code value, which nobody sees.
	leastNoise = 0.3
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
	var out, middle [lumaBins]float32
	for i := range out {
		out[i], middle[i] = n.quantiles(i, fewPlaces*float64(all))
	}
	bound := float32(math.Inf(1))
	for i := evenFrom; i <= evenTo; i++ {
		if float64(totals[i]) >= knownPlaces*float64(all) {
			bound = min(bound, evenTimes*max(leastNoise, out[i]))
		}
	}
	for i := range out {
		if middle[i] > scatter*out[i] {
			out[i] = min(out[i], bound)
		}
		out[i] = max(leastNoise, out[i])
	}
	return out
}

// quantiles returns the energies below which the share of envelope and half of the places lie
// at one luma, and at its neighbours as far as there are few.
func (n *noise) quantiles(luma int, few float64) (low, middle float32) {
	var sum [energyBins]int64
	var have int64
	add := func(bin int) {
		if bin < 0 || bin >= lumaBins {
			return
		}
		for k, c := range n.count[bin] {
			sum[k] += int64(c)
			have += int64(c)
		}
	}
	add(luma)
	for reach := 1; float64(have) <= few && reach < lumaBins; reach++ {
		add(luma - reach)
		add(luma + reach)
	}
	at := func(share float64) float32 {
		var below int64
		for k, c := range sum {
			if below += c; float64(below) >= share*float64(have) {
				return float32(math.Exp2(float64(k)/4 - 12))
			}
		}
		return 0
	}
	return at(envelope), at(0.5)
}
