package pixels

// askJumps finds links over which focus moved much farther than around them.
func (e *evidence) askJumps(w Walk, o Order, s Stalls) Jumps {
	sg := &e.signature
	if w.Answer == Fine && sg.Kind == "" {
		return Jumps{Verdict: cannot(ReasonNotFocus)}
	}
	if sg.Kind == "" {
		return Jumps{Verdict: cannot(ReasonSignature)}
	}
	var j Jumps
	for i, k := range sg.k {
		if !(k >= e.th.JumpRatio && sg.z[i] >= e.th.JumpSigma) {
			continue
		}
		from, to := e.ends(e.links[i])
		if o.touches(from-jumpApart, to+jumpApart) || s.touches(from-jumpApart, to+jumpApart) {
			continue
		}
		j.Events = append(j.Events, Jump{From: from, To: to, Ratio: k, Weak: i < weakLinks || i >= len(sg.k)-weakLinks})
	}
	j.Verdict = decided(len(j.Events) > 0)
	return j
}
