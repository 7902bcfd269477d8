package pixels

import (
	"math"
	"slices"
)

// median returns the median of the values, NaN of none. The values are sorted.
func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	n := len(v)
	return (v[(n-1)/2] + v[n/2]) / 2
}

// quickMedian returns the median of values that are numbers, as [median] does, in less time and
// without sorting them: it parts them around one of them until the middle is reached.
func quickMedian(v []float64) float64 {
	return quickMedianOf(v, func(x float64) float64 { return x })
}

// quickMedianOf is quickMedian of what a function that never falls gives of the values. It is
// called for those in the middle only.
func quickMedianOf(v []float64, of func(float64) float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	k, lo, hi := len(v)/2, 0, len(v)-1
	for lo < hi {
		a, b, c := v[lo], v[(lo+hi)/2], v[hi]
		at := max(min(a, b), min(max(a, b), c)) // the middle one of the three
		i, j := lo, hi
		for i <= j {
			for v[i] < at {
				i++
			}
			for v[j] > at {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			lo, hi = k, k
		}
	}
	if len(v)%2 == 1 {
		return of(v[k])
	}
	return (of(slices.Max(v[:k])) + of(v[k])) / 2
}

// percentile returns the value below which the share q of the values lies, NaN
// of none. The values are sorted.
func percentile(v []float64, q float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	x := q * float64(len(v)-1)
	i := min(int(x), len(v)-1)
	j := min(i+1, len(v)-1)
	return v[i] + (x-float64(i))*(v[j]-v[i])
}

// consistent scales a median absolute deviation to the standard deviation of a
// normal distribution.
const consistent = 1.4826

// around returns the median of the known ones of the 2r values nearest to i,
// without i; NaN where none is known. Near an end there are more on the one side.
func around(v []float64, i, r int) float64 {
	lo := max(0, min(i-r, len(v)-1-2*r))
	hi := min(len(v)-1, max(i+r, 2*r))
	var near []float64
	for j := lo; j <= hi; j++ {
		if j != i && !math.IsNaN(v[j]) {
			near = append(near, v[j])
		}
	}
	return median(near)
}

// known returns the values that are numbers.
func known(v []float64) []float64 {
	out := make([]float64, 0, len(v))
	for _, x := range v {
		if !math.IsNaN(x) {
			out = append(out, x)
		}
	}
	return out
}

// absolute returns the absolute values of the known ones.
func absolute(v []float64) []float64 {
	out := known(v)
	for i, x := range out {
		out[i] = math.Abs(x)
	}
	return out
}

// mean returns the mean of the values, NaN of none.
func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}
