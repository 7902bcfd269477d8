package pixelstest

import (
	"bytes"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"slices"
)

// A Shot is one exposure of a scene.
type Shot struct {
	Focus  float64 // 0 at the nearest point of the subject, 1 at the farthest
	EV     float64 // brighter by this much than the scene is meant to be
	ShiftX float64 // px by which the camera stands aside
	ShiftY float64
	Turn   float64 // radians by which it is rolled
	Shake  float64 // px of movement during the exposure
	Angle  float64 // its direction, radians
	Noise  uint64  // seed of the noise: two shots with the same are bit-identical
	Cloud  float64 // depth of a soft shadow over the picture, EV; its place moves with CloudAt
	// CloudAt is the place of the shadow, in picture widths from the left.
	CloudAt float64
	// Covered is the share of the height, from the top, that a curtain of the shutter
	// covers while the flash burns: 3 EV less light, with a soft edge.
	Covered float64
	// Ripple is the depth of five waves of light along the height, EV, and Phase
	// where they begin, in waves.
	Ripple, Phase float64
	// Part is a part of the subject that has moved.
	Part Part
}

// A Part is what lies in a circle and has moved, a leaf or a drop; its depth goes with it.
type Part struct {
	X, Y   float64 // where it lay, in shares of the picture's width and height
	Radius float64 // share of the picture's width
	DX, DY float64 // px by which it has moved
}

// MovePart moves a part of the subject in n shots from index at on, or for good.
func MovePart(s []Shot, at, n int, part Part) []Shot {
	out := slices.Clone(s)
	for i := at; i < len(s) && i < at+n; i++ {
		out[i].Part = part
	}
	return out
}

// Run returns n shots whose focus goes evenly from the first to the last, with
// the motor's relative jitter in each step (its standard deviation).
func Run(seed uint64, n int, first, last, jitter float64) []Shot {
	rng := rand.New(rand.NewPCG(seed, 77))
	shots := make([]Shot, n)
	step := (last - first) / float64(max(1, n-1))
	at := first
	for i := range shots {
		shots[i] = Shot{Focus: at, Noise: seed*1000 + uint64(i)}
		at += step * max(0.2, 1+jitter*rng.NormFloat64())
	}
	return shots
}

// The faults. Each returns a new run; the shots given stay as they are.

// Missing takes out n shots from index at on.
func Missing(s []Shot, at, n int) []Shot {
	return slices.Delete(slices.Clone(s), at, at+n)
}

// Stall holds the focus of shot at for n more shots: the motor did not move.
// Where extra is true the shots are additional ones, else they take the place
// of the next n.
func Stall(s []Shot, at, n int, extra bool) []Shot {
	out := slices.Clone(s)
	for i := 1; i <= n; i++ {
		d := out[at]
		d.Noise += uint64(1_000_000 * i)
		if extra {
			out = slices.Insert(out, at+i, d)
		} else {
			out[at+i] = d
		}
	}
	return out
}

// Swap exchanges shots at and at+1.
func Swap(s []Shot, at int) []Shot {
	out := slices.Clone(s)
	out[at], out[at+1] = out[at+1], out[at]
	return out
}

// Turn lets the focus go back from index at on, for n shots or to the end.
func Turn(s []Shot, at, n int) []Shot {
	out := slices.Clone(s)
	for i := at + 1; i < len(s) && i <= at+n; i++ {
		out[i].Focus = s[max(0, 2*at-i)].Focus
	}
	return out
}

// Restart lets the run start over from its first shot at index at.
func Restart(s []Shot, at int) []Shot {
	out := slices.Clone(s)
	for i := at; i < len(s); i++ {
		out[i].Focus = s[i-at].Focus
	}
	return out
}

// Bump moves the camera by x and y px at index at: for n shots, or for good.
func Bump(s []Shot, at, n int, x, y float64) []Shot {
	out := slices.Clone(s)
	for i := at; i < len(s) && i < at+n; i++ {
		out[i].ShiftX += x
		out[i].ShiftY += y
	}
	return out
}

// Brighten changes the exposure of n shots from index at on by ev.
func Brighten(s []Shot, at, n int, ev float64) []Shot {
	out := slices.Clone(s)
	for i := at; i < len(s) && i < at+n; i++ {
		out[i].EV += ev
	}
	return out
}

// Shake blurs shot at by a movement of px in the given direction.
func Shake(s []Shot, at int, px, angle float64) []Shot {
	out := slices.Clone(s)
	out[at].Shake, out[at].Angle = px, angle
	return out
}

var normals = func() (t [1 << 16]float32) {
	rng := rand.New(rand.NewPCG(5, 11))
	for i := range t {
		t[i] = float32(rng.NormFloat64())
	}
	return t
}()

// encodeTable is the sRGB curve (IEC 61966-2-1) over 0 to 1 in 1/16384.
var encodeTable = func() (t [1<<14 + 1]uint8) {
	for i := range t {
		v := float64(i) / (1 << 14)
		if v <= 0.0031308 {
			v *= 12.92
		} else {
			v = 1.055*math.Pow(v, 1/2.4) - 0.055
		}
		t[i] = uint8(math.Round(255 * v))
	}
	return t
}()

// Shoot renders one exposure, before JPEG compression.
func (b *Built) Shoot(s Shot) *image.Gray {
	light := b.expose(s)
	b.shine(light, s)
	if s.Shake > 0 {
		light = smear(light, b.Width, b.Height, s.Shake, s.Angle)
	}
	return b.record(light, s)
}

// record turns linear light into code values, with the noise of the sensor.
func (b *Built) record(light []float32, s Shot) *image.Gray {
	w, h := b.Width, b.Height
	img := image.NewGray(image.Rect(0, 0, w, h))
	gain := float32(math.Exp2(s.EV))
	electrons := b.Electrons
	if electrons == 0 {
		electrons = 40000
	}
	const read = 3 // electrons
	perE, read2 := float32(1/electrons), float32(read*read/(electrons*electrons))
	state := s.Noise*0x9E3779B97F4A7C15 + b.Seed + 1
	shadow := s.shadow(w)
	dust := b.dustMask()
	for y := range h {
		line := s.lineGain(float64(y) / float64(h))
		row, out := light[y*w:][:w], img.Pix[y*w:][:w]
		for x, v := range row {
			v = v * gain * shadow[x] * line
			if dust != nil {
				v *= dust[y*w+x]
			}
			state ^= state << 13
			state ^= state >> 7
			state ^= state << 17
			v += float32(math.Sqrt(float64(v*perE+read2))) * normals[state>>20&0xFFFF]
			switch {
			case v < 0:
				v = 0
			case v > 1:
				v = 1
			}
			out[x] = encodeTable[int(v*(1<<14)+0.5)]
		}
	}
	return img
}

// shadow is the light that the cloud leaves each column of a picture.
func (s Shot) shadow(w int) []float32 {
	out := make([]float32, w)
	for x := range out {
		out[x] = 1
		if s.Cloud != 0 {
			d := (float64(x)/float64(w) - s.CloudAt) / 0.25
			out[x] = float32(math.Exp2(-s.Cloud * math.Exp(-d*d)))
		}
	}
	return out
}

// lineGain is the light on a line at the given share of the height.
func (s Shot) lineGain(y float64) float32 {
	if s.Covered == 0 && s.Ripple == 0 {
		return 1
	}
	const depth, soft, waves = 3, 0.04, 5
	ev := s.Ripple / 2 * math.Sin(2*math.Pi*(waves*y+s.Phase))
	if s.Covered > 0 {
		ev -= depth * min(1, max(0, (s.Covered-y)/soft+0.5))
	}
	return float32(math.Exp2(ev))
}

// expose gathers the light of each pixel from the two nearest blurs.
func (b *Built) expose(s Shot) []float32 { return b.gather(s, nil) }

// gather gathers light in the geometry of a shot, with its focus or, where focus is not
// nil, with one of its own for each pixel, by its depth.
func (b *Built) gather(s Shot, focus func(depth float32) float64) []float32 {
	w, h := b.Width, b.Height
	out := make([]float32, w*h)
	zoom := 1 / (1 + b.Breathing*(s.Focus-0.5))
	re, im := zoom*math.Cos(s.Turn), zoom*math.Sin(s.Turn)
	dx, dy := s.ShiftX+b.DriftX*(s.Focus-0.5), s.ShiftY+b.DriftY*(s.Focus-0.5)
	var steps [len(diameters) - 1]float64
	for i := range steps {
		steps[i] = diameters[i+1] - diameters[i]
	}
	at := s.Focus
	least, most := b.Depth*max(0, b.nearest-at, at-b.farthest), b.Depth*max(math.Abs(b.nearest-at), math.Abs(b.farthest-at))
	if focus != nil {
		least, most = 0, math.Inf(1)
	}
	levels := b.levelsFrom(least, most)
	if s.Part != (Part{}) || b.Parallax != 0 {
		b.gatherMoved(s, focus, levels, out)
		return out
	}
	right, bottom := float64(w)-1.001, float64(h)-1.001
	columns := make([]column, w) // of all rows, where the camera is not rolled
	for x := range columns {
		columns[x] = columnAt(within(re*(float64(x)-b.centreX-dx)+b.centreX, right))
	}
	for y := range h {
		py := float64(y) - b.centreY - dy
		imy, rey := im*py, re*py
		row := out[y*w:][:w]
		sy := within(rey+b.centreY, bottom) // of all the row, where the camera is not rolled
		iy := int(sy)
		fy := float32(sy - float64(iy))
		for x := range row {
			ix, fx := columns[x].at, columns[x].rest
			if im != 0 {
				px := float64(x) - b.centreX - dx
				c := columnAt(within(re*px-imy+b.centreX, right))
				ix, fx = c.at, c.rest
				sy = within(im*px+rey+b.centreY, bottom)
				iy = int(sy)
				fy = float32(sy - float64(iy))
			}
			j := iy*w + ix
			depth := b.depth[j]
			if focus != nil {
				at = focus(depth)
			}
			blur := b.Depth * math.Abs(float64(depth)-at)
			l := levelOf(blur)
			t := float32(within((blur-diameters[l])/steps[l], 1))
			va := bilinear(levels[l], j, w, fx, fy)
			vc := bilinear(levels[l+1], j, w, fx, fy)
			row[x] = va + t*(vc-va)
		}
	}
	return out
}

// A column is a place between two columns of pixels.
type column struct {
	at   int     // the left one
	rest float32 // px from there
}

func columnAt(x float64) column {
	at := int(x)
	return column{at, float32(x - float64(at))}
}

// within returns v or the end of 0 to most that is nearer.
func within(v, most float64) float64 {
	// Unlike min and max, which take longer, this need not know infinities and NaN.
	switch {
	case v < 0:
		return 0
	case v > most:
		return most
	}
	return v
}

func bilinear(p []float32, j, w int, fx, fy float32) float32 {
	a, b := p[j:j+2], p[j+w:j+w+2]
	top := a[0] + fx*(a[1]-a[0])
	bot := b[0] + fx*(b[1]-b[0])
	return top + fy*(bot-top)
}

// smear averages along a line of the given length.
func smear(in []float32, w, h int, length, angle float64) []float32 {
	out := make([]float32, len(in))
	n := int(math.Ceil(2*length)) + 1
	for k := range n {
		t := length * (float64(k)/float64(n-1) - 0.5)
		ox, oy := t*math.Cos(angle), t*math.Sin(angle)
		ix, iy := int(math.Floor(ox)), int(math.Floor(oy))
		fx, fy := float32(ox-float64(ix)), float32(oy-float64(iy))
		for y := range h {
			sy := min(h-2, max(0, y+iy))
			for x := range w {
				sx := min(w-2, max(0, x+ix))
				out[y*w+x] += bilinear(in, sy*w+sx, w, fx, fy) / float32(n)
			}
		}
	}
	return out
}

// JPEG renders one exposure as a file, once: tests do one fault after the other to the same
// run.
func (b *Built) JPEG(s Shot) []byte {
	if file, ok := b.files.Load(s); ok {
		return slices.Clone(file.([]byte))
	}
	file, err := Encode(b.Shoot(s), b.Quality)
	if err != nil {
		panic(err) // an in-memory picture of sane size
	}
	b.files.Store(s, slices.Clone(file))
	return file
}

// Picture renders one exposure, compresses it and decodes it again.
func (b *Built) Picture(s Shot) image.Image { return decoded(b.Shoot(s), b.Quality) }

// decoded compresses a picture and decodes it again.
func decoded(img image.Image, quality int) image.Image {
	data, err := Encode(img, quality)
	if err != nil {
		panic(err) // an in-memory picture of sane size
	}
	out, err := jpeg.Decode(bytes.NewReader(data))
	if err != nil {
		panic(err)
	}
	return out
}

// Tint returns a grey picture in colour, as bodies write them: it takes longer to
// decode.
func Tint(grey *image.Gray) *image.RGBA {
	colour := image.NewRGBA(grey.Bounds())
	for i, v := range grey.Pix {
		colour.Pix[4*i], colour.Pix[4*i+1], colour.Pix[4*i+2], colour.Pix[4*i+3] = v, v-v/8, v-v/4, 255
	}
	return colour
}

// Encode compresses a picture, at quality 90 where none is given.
func Encode(img image.Image, quality int) ([]byte, error) {
	if quality == 0 {
		quality = 90
	}
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: quality}); err != nil {
		return nil, fmt.Errorf("encode the rendered picture: %w", err)
	}
	return buf.Bytes(), nil
}

// Shrink returns a picture reduced to the given width, each pixel the mean of the area
// it covers, as a body makes its previews.
func Shrink(img *image.Gray, width int) *image.Gray {
	b := img.Bounds()
	height := b.Dy() * width / b.Dx()
	out := image.NewGray(image.Rect(0, 0, width, height))
	step := float64(b.Dx()) / float64(width)
	for y := range height {
		for x := range width {
			out.Pix[y*out.Stride+x] = uint8(mean(img, float64(x)*step, float64(y)*step, step) + 0.5)
		}
	}
	return out
}

// mean returns the mean over a square of the given side.
func mean(img *image.Gray, x, y, side float64) float64 {
	var sum, area float64
	for v := int(y); float64(v) < y+side && v < img.Rect.Dy(); v++ {
		h := min(y+side, float64(v+1)) - max(y, float64(v))
		for u := int(x); float64(u) < x+side && u < img.Rect.Dx(); u++ {
			a := h * (min(x+side, float64(u+1)) - max(x, float64(u)))
			sum += a * float64(img.Pix[v*img.Stride+u])
			area += a
		}
	}
	return sum / area
}
