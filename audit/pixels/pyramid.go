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

// smooth returns a picture smoothed by the 3x3 binomial kernel; its border in one direction.
func smooth(p plane) plane {
	out := plane{p.w, p.h, make([]float32, len(p.pix))}
	out.smoothed(p)
	return out
}

// smoothed takes a picture of the same size smoothed, which may be itself.
func (out plane) smoothed(p plane) {
	rows := make([]float32, 3*p.w) // smoothed along x, of which no more are needed at once
	along := func(y int) []float32 {
		in, row := p.pix[y*p.w:(y+1)*p.w], rows[y%3*p.w:][:p.w]
		row[0], row[p.w-1] = in[0], in[p.w-1]
		if p.w > 2 {
			// What is read from slices of known lengths takes no check of its own.
			to := row[1 : p.w-1]
			left, here, right := in[:len(to)], in[1:][:len(to)], in[2:][:len(to)]
			for x := range to {
				to[x] = 0.25*left[x] + 0.5*here[x] + 0.25*right[x]
			}
		}
		return row
	}
	a := along(0)
	b := a
	if p.h > 1 {
		b = along(1)
	}
	copy(out.pix[:p.w], a)
	for y := 1; y < p.h-1; y++ {
		c := along(y + 1)
		o := out.pix[y*p.w : (y+1)*p.w]
		u, m, d := a[:len(o)], b[:len(o)], c[:len(o)]
		for x := range o {
			o[x] = 0.25*u[x] + 0.5*m[x] + 0.25*d[x]
		}
		a, b = b, c
	}
	copy(out.pix[(p.h-1)*p.w:], b)
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
