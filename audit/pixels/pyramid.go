package pixels

// pyramid returns the levels, finest first, of the small picture smoothed by
// the 3x3 binomial kernel.
func (m *FrameMeasure) pyramid() []plane {
	p := smooth(m.small)
	levels := []plane{p}
	for len(levels) < maxLevels && p.w/2 >= minLevelW && p.h/2 >= minLevelH {
		p = halve(p)
		levels = append(levels, p)
	}
	return levels
}

func smooth(p plane) plane {
	tmp := make([]float32, len(p.pix))
	for y := range p.h {
		in, out := p.pix[y*p.w:(y+1)*p.w], tmp[y*p.w:(y+1)*p.w]
		out[0], out[p.w-1] = in[0], in[p.w-1]
		for x := 1; x < p.w-1; x++ {
			out[x] = 0.25*in[x-1] + 0.5*in[x] + 0.25*in[x+1]
		}
	}
	out := plane{p.w, p.h, make([]float32, len(p.pix))}
	copy(out.pix[:p.w], tmp[:p.w])
	copy(out.pix[(p.h-1)*p.w:], tmp[(p.h-1)*p.w:])
	for y := 1; y < p.h-1; y++ {
		a, b, c := tmp[(y-1)*p.w:y*p.w], tmp[y*p.w:(y+1)*p.w], tmp[(y+1)*p.w:(y+2)*p.w]
		o := out.pix[y*p.w : (y+1)*p.w]
		for x := range o {
			o[x] = 0.25*a[x] + 0.5*b[x] + 0.25*c[x]
		}
	}
	return out
}

func halve(p plane) plane {
	o := plane{p.w / 2, p.h / 2, make([]float32, (p.w/2)*(p.h/2))}
	for y := range o.h {
		a, b := p.pix[2*y*p.w:(2*y+1)*p.w], p.pix[(2*y+1)*p.w:(2*y+2)*p.w]
		row := o.pix[y*o.w : (y+1)*o.w]
		for x := range row {
			row[x] = 0.25 * (a[2*x] + a[2*x+1] + b[2*x] + b[2*x+1])
		}
	}
	return o
}
