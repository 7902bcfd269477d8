package pixels

import (
	"math"
	"slices"
)

// askJumps finds links over which focus moved much farther than around them.
func (e *evidence) askJumps(w Walk, o Order, s Stalls) Jumps {
	sg := &e.signature
	if e.unfit != "" {
		return Jumps{Verdict: cannot(e.unfit)}
	}
	if w.Answer == Fine && sg.Kind == "" {
		return Jumps{Verdict: cannot(ReasonNotFocus)}
	}
	if sg.Kind == "" {
		return Jumps{Verdict: cannot(ReasonSignature)}
	}
	var j Jumps
	moving := e.moving(s)
	for i, k := range sg.k {
		from, to := e.ends(e.links[i])
		z := sg.z[i]
		if s.touches(from-jumpApart, to+jumpApart) {
			// Against the steps beside the stop, not those that did not come.
			k, z = sg.against(i, around(moving, i, wideLinks))
		}
		if !(k >= e.th.JumpRatio && z >= e.th.JumpSigma) || s.touches(from, to) || o.touches(from-jumpApart, to+jumpApart) {
			continue
		}
		j.Events = append(j.Events, Jump{From: from, To: to, Ratio: k, Weak: i < weakLinks || i >= len(sg.k)-weakLinks})
	}
	j.Verdict = decided(len(j.Events) > 0)
	return j
}

// moving returns the steps of the signature, without those over which focus stood.
func (e *evidence) moving(s Stalls) []float64 {
	v := slices.Clone(e.signature.v)
	for i := range v {
		if from, to := e.ends(e.links[i]); s.touches(from, to) {
			v[i] = math.NaN()
		}
	}
	return v
}
