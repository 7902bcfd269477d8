package slate_test

import (
	"bytes"
	"image"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"testing"

	"prestrike/audit/slate"
)

// A shot is how a slate is photographed in a made-up picture. Widths of blur are in
// modules of the code.
type shot struct {
	view    string
	width   float64 // of the code, without its margin, as a share of the picture's
	blur    float64 // diameter of the disc
	motion  float64
	tilt    float64 // degrees away from the camera
	axis    float64 // degrees: the direction of the tilt
	roll    float64 // degrees
	shadow  bool    // over a quarter of the picture, 1.5 EV
	glare   float64 // share of the code's width, a blown disc
	noise   float64 // code values
	quality int     // of JPEG; 0 keeps the picture as it is
}

// careful returns a shot as a careful photographer makes it: the code a tenth to a
// fifth of the width, blur to one module, motion to half a module, tilt to 30
// degrees, now and then a shadow.
func careful(r *rand.Rand) shot {
	return shot{
		view: "view " + string(rune('a'+r.IntN(26))), width: 0.1 + 0.1*r.Float64(), blur: r.Float64(), motion: 0.5 * r.Float64(),
		tilt: 30 * r.Float64(), axis: 360 * r.Float64(), roll: 30 * (r.Float64() - 0.5) * 2, shadow: r.IntN(3) == 0,
		noise: 1 + 4*r.Float64(), quality: 75 + r.IntN(20),
	}
}

const sceneWidth, sceneHeight = 1620, 1080

// render draws the picture: a card with the code and lines of text on a background
// of coarse and fine texture.
func (s shot) render(t testing.TB, r *rand.Rand) *image.Gray {
	t.Helper()
	code, err := slate.Code(s.view)
	if err != nil {
		t.Fatal(err)
	}
	w, h := sceneWidth, sceneHeight
	light := make([]float32, w*h)
	texture(light, w, h, r)
	module := s.width * float64(w) / slate.Modules
	// The card lies in a plane that is turned away about an axis; the camera is eight
	// code widths away.
	distance := 8 * s.width * float64(w)
	sin, cos := math.Sincos(s.tilt * math.Pi / 180)
	as, ac := math.Sincos(s.axis * math.Pi / 180)
	rs, rc := math.Sincos(s.roll * math.Pi / 180)
	margin := 0.75 * s.width * float64(w)
	cx, cy := margin+r.Float64()*(float64(w)-2*margin), margin+r.Float64()*(float64(h)-2*margin)
	inverse := func(px, py float64) (x, y float64) { // of the card, in modules from the code's corner
		dx, dy := px-cx, py-cy
		u, v := ac*dx+as*dy, -as*dx+ac*dy // u is foreshortened
		k := distance / (distance*cos - u*sin)
		u, v = u*k, v*(1+u*k*sin/distance)
		x, y = ac*u-as*v, as*u+ac*v
		x, y = rc*x+rs*y, -rs*x+rc*y
		return x/module + slate.Modules/2.0, y/module + slate.Modules/2.0
	}
	reach := int(1.3 * s.width * float64(w))
	x0, x1 := max(0, int(cx)-reach), min(w, int(cx)+reach)
	y0, y1 := max(0, int(cy)-reach), min(h, int(cy)+reach)
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			var sum float32
			for i := range 9 {
				mx, my := inverse(float64(x)+(float64(i%3)+0.5)/3, float64(y)+(float64(i/3)+0.5)/3)
				sum += card(code, mx, my, light[y*w+x])
			}
			light[y*w+x] = sum / 9
		}
	}
	light = blurred(light, w, h, x0, y0, x1, y1, disc(s.blur*module))
	light = blurred(light, w, h, x0, y0, x1, y1, streak(s.motion*module, r.Float64()*math.Pi))
	gx, gy := cx+(r.Float64()-0.5)*0.6*s.width*float64(w), cy+(r.Float64()-0.5)*0.6*s.width*float64(w)
	edge := cx + (r.Float64()-0.5)*s.width*float64(w)
	shade := make([]float64, w) // of each column
	for x := range shade {
		shade[x] = 1
		if s.shadow && float64(x) > edge {
			shade[x] = math.Exp2(-1.5 * math.Min(1, (float64(x)-edge)/12))
		}
	}
	out := image.NewGray(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			v := float64(light[y*w+x]) * shade[x]
			if s.glare > 0 && math.Hypot(float64(x)-gx, float64(y)-gy) < s.glare*s.width*float64(w)/2 {
				v = 1
			}
			code := 255*math.Pow(math.Max(0, v), 1/2.2) + s.noise*r.NormFloat64()
			out.Pix[y*out.Stride+x] = uint8(math.Max(0, math.Min(255, code+0.5)))
		}
	}
	if s.quality == 0 {
		return out
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, out, &jpeg.Options{Quality: s.quality}); err != nil {
		t.Fatal(err)
	}
	again, err := jpeg.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	return again.(*image.Gray)
}

// card returns the light of the card at a point, in modules from the corner of the
// code, or that of what lies behind it.
func card(code [][]bool, x, y float64, behind float32) float32 {
	const paper, ink = 0.75, 0.03
	n := float64(slate.Modules)
	if x < -8 || x > n+8 || y < -18 || y > n+6 {
		return behind
	}
	if x >= 0 && y >= 0 && x < n && y < n {
		if code[int(y)][int(x)] {
			return ink
		}
		return paper
	}
	if y > -15 && y < -6 { // letters above the code
		if col := int(math.Floor((x + 6) / 1.5)); int(math.Floor((y+15)/3))%2 == 0 && (col*7919)%5 < 3 {
			return ink
		}
	}
	return paper
}

// texture fills the picture with soft patches and fine grain.
func texture(light []float32, w, h int, r *rand.Rand) {
	for _, layer := range []struct{ step, weight float32 }{{160, 0.2}, {31, 0.12}, {7, 0.08}, {3, 0.05}} {
		step := int(layer.step)
		cols := w/step + 2
		knots := make([]float32, cols*(h/step+2))
		for i := range knots {
			knots[i] = r.Float32()
		}
		for y := range h {
			above, below := knots[y/step*cols:], knots[(y/step+1)*cols:]
			fy := float32(y%step) / layer.step
			for from := 0; from < w; from += step { // from knot to knot
				a, b := above[from/step:][:2], below[from/step:][:2]
				row := light[y*w+from : y*w+min(w, from+step)]
				for x := range row {
					fx := float32(x) / layer.step
					row[x] += layer.weight * ((a[0]*(1-fx)+a[1]*fx)*(1-fy) + (b[0]*(1-fx)+b[1]*fx)*fy)
				}
			}
		}
	}
}

type tap struct {
	x, y   int
	weight float32
}

// disc returns the kernel of a blur disc of a diameter in px.
func disc(diameter float64) (taps []tap) {
	reach := int(diameter/2) + 1
	var sum float32
	for y := -reach; y <= reach; y++ {
		for x := -reach; x <= reach; x++ {
			var n float32
			for i := range 25 {
				if math.Hypot(float64(x)+float64(i%5-2)/5, float64(y)+float64(i/5-2)/5) <= diameter/2 {
					n++
				}
			}
			if n > 0 {
				taps = append(taps, tap{x, y, n})
				sum += n
			}
		}
	}
	return scaled(taps, sum)
}

// streak returns the kernel of a straight motion of a length in px.
func streak(length, angle float64) (taps []tap) {
	sin, cos := math.Sincos(angle)
	const parts = 9
	for i := range parts {
		at := (float64(i)/(parts-1) - 0.5) * length
		taps = append(taps, tap{int(math.Round(at * cos)), int(math.Round(at * sin)), 1})
	}
	return scaled(taps, parts)
}

func scaled(taps []tap, sum float32) []tap {
	if sum == 0 {
		return []tap{{0, 0, 1}}
	}
	for i := range taps {
		taps[i].weight /= sum
	}
	return taps
}

// blurred returns the picture blurred by a kernel inside a rectangle.
func blurred(light []float32, w, h, x0, y0, x1, y1 int, kernel []tap) []float32 {
	if len(kernel) == 1 {
		return light
	}
	out := append([]float32(nil), light...)
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			var v float32
			for _, k := range kernel {
				v += k.weight * light[min(max(y+k.y, 0), h-1)*w+min(max(x+k.x, 0), w-1)]
			}
			out[y*w+x] = v
		}
	}
	return out
}
