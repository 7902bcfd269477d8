package pixels

import (
	"math"
	"slices"
)

// askJumps finds links over which focus moved much farther than around them: by the
// signature, and by all methods that measure steps.
func (e *evidence) askJumps(w Walk, o Order, s Stalls, steps joinedSteps) Jumps {
	sg := &e.signature
	if e.unfit != "" {
		return Jumps{Verdict: cannot(e.unfit)}
	}
	if w.Answer == Fine && sg.Kind == "" {
		return Jumps{Verdict: cannot(ReasonNotFocus)}
	}
	var j Jumps
	if sg.Kind != "" {
		j.Events = e.signatureJumps(o, s)
	}
	for by := &steps; by != nil; by = by.finer {
		for _, i := range by.jumps() {
			from, to := e.ends(e.links[i])
			known := slices.ContainsFunc(j.Events, func(ev Jump) bool { return ev.From == from })
			if !known && !s.touches(from-jumpApart, to+jumpApart) && !o.touches(from-jumpApart, to+jumpApart) {
				j.Events = append(j.Events, Jump{From: from, To: to, Ratio: math.Exp(by.ln[i])})
			}
		}
	}
	why := steps.hides()
	if why != "" && steps.finer != nil && steps.finer.hides() == "" {
		why = ""
	}
	slices.SortFunc(j.Events, func(a, b Jump) int { return a.From - b.From })
	switch {
	case len(j.Events) > 0:
		j.Verdict = Verdict{Answer: Found}
	case sg.Kind != "":
		j.Verdict = Verdict{Answer: Fine}
	case steps.methods == nil: // whether focus walks is not known
		j.Verdict = cannot(ReasonSignature)
	case why == "":
		j.Verdict = Verdict{Answer: Fine}
	default:
		j.Verdict = cannot(why)
	}
	return j
}

// signatureJumps finds the jumps by the signature.
func (e *evidence) signatureJumps(o Order, s Stalls) (events []Jump) {
	sg := &e.signature
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
		events = append(events, Jump{From: from, To: to, Ratio: k, Weak: i < weakLinks || i >= len(sg.k)-weakLinks})
	}
	return events
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

// jumps returns the links, without the first and last, over which the step is long
// beyond noise and the motor's unevenness, by two methods, and not because the motor
// starts, stops or slips.
func (s *joinedSteps) jumps() (links []int) {
	for i := weakLinks; i+weakLinks < len(s.ln); i++ {
		if s.standsOut(i, s.ln[i]) && s.sides[i] > likeSides && !s.slips(i) && s.agree(i) {
			links = append(links, i)
		}
	}
	return links
}

// standsOut reports whether a step of this length would be long at i.
func (s *steps) standsOut(i int, ln float64) bool {
	sigma := s.sigma[i]
	z := ln / math.Hypot(s.uneven(i), sigma)
	switch {
	case !(ln >= math.Log(looseSteps)) || math.IsNaN(sigma):
		return false
	case ln >= math.Log(longSteps) && z > longSigma:
		return true
	case z <= looseSigma || ln <= firmSigma*sigma:
		return false
	}
	for k := max(0, i-aloneLinks); k <= min(len(s.ln)-1, i+aloneLinks); k++ {
		if k != i && s.ln[k] >= ln-aloneSigma*sigma {
			return false
		}
	}
	return true
}

// slips reports whether short steps beside i make up its excess: then the motor fell
// behind and caught up, or went ahead.
func (s *steps) slips(i int) bool {
	short := 0.0
	for k := max(0, i-jumpApart); k <= min(len(s.ln)-1, i+jumpApart); k++ {
		if k != i && !math.IsNaN(s.ln[k]) {
			short += max(0, 1-math.Exp(s.ln[k]))
		}
	}
	return short > madeUp*(math.Exp(s.ln[i])-1)
}

// agree reports whether two methods show a long step at i, and no good one denies it.
func (s *joinedSteps) agree(i int) bool {
	votes := 0
	for _, m := range s.methods {
		switch {
		case math.IsNaN(m.ln[i]):
		case m.ln[i] >= math.Log(voteSteps):
			if !s.firm || m.sigma[i] < doubtSigma {
				votes++
			}
		case m.sigma[i] < voteSigma && m.ln[i] < math.Log(vetoSteps):
			return false
		}
	}
	return votes >= 2
}

// hides returns why a step of two could stay unseen; empty where it could not.
func (s *steps) hides() string {
	seen, uneven, all := 0, 0, 0
	for i := weakLinks; i+weakLinks < len(s.ln); i++ {
		all++
		if s.standsOut(i, math.Ln2) {
			seen++
		} else if s.uneven(i) > tooUneven {
			uneven++
		}
	}
	switch {
	case all > 0 && float64(seen) >= knownLinks*float64(all):
		return ""
	case 2*uneven > all-seen:
		return ReasonUneven
	}
	return ReasonFaint
}

// touches reports whether focus jumps over one of the links between two frames.
func (j *Jumps) touches(from, to int) bool {
	return slices.ContainsFunc(j.Events, func(e Jump) bool { return e.From < to && from < e.To })
}
