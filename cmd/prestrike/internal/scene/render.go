package scene

import (
	"image"
	"math"
)

// A View is how a picture of the scene is made.
type View struct {
	Focus  float64 // depth of the sharp plane: 0 nearest point, 1 farthest; beyond is in front of or behind the subject
	Blur   float64 // diameter of the blur disk, in pixels, of the nearest point with the farthest in focus; 0 is sharp throughout
	EV     float64 // exposure against the right one, in EV
	Noise  float64 // standard deviation of the noise, as a part of mid-grey; 0 is none
	Back   bool    // the other side of the fossil, whose spiral turns the other way
	Slate  *Slate  // a card that is held before the subject; nil for none
	Serial uint64  // makes the noise of each picture its own
}

// breathing is the change of the picture's scale from the nearest to the farthest
// focus.
const breathing = 0.02

// Render makes a picture of the scene: the luma of each pixel and the chroma of each
// two by two, as a JPEG stores them.
func (s *Scene) Render(v View) *image.YCbCr {
	picture := image.NewYCbCr(image.Rect(0, 0, s.width, s.height), image.YCbCrSubsampleRatio420)
	gain := float32(math.Exp2(v.EV))
	zoom := 1 / (1 + breathing*(0.5-v.Focus)) // closer focus shows less
	columns, rows := samples(s.width, zoom, v.Back), samples(s.height, zoom, false)
	light := make([]float32, s.width)
	for y, row := range rows {
		s.row(light, row, columns, v)
		luma, noise := picture.Y[y*picture.YStride:][:s.width], v.grain(y)
		for x, l := range light {
			luma[x] = level(l*gain + noise.at(x))
		}
		if y%2 == 1 {
			continue
		}
		first := y / 2 * picture.CStride
		for x := range picture.CStride {
			tint := s.points[(row.at*s.width+columns[2*x].at)*stride+tintAt]
			picture.Cb[first+x], picture.Cr[first+x] = chroma(luma[2*x], tint)
		}
	}
	if v.Slate != nil {
		s.hold(picture, &v)
	}
	return picture
}

// A sample is where a row or column of a picture lies in the scene: between a pixel
// and the next one.
type sample struct {
	at   int
	part float32 // of the next one, 0 to 1
}

// samples returns those of n rows or columns of a picture with a scale.
func samples(n int, zoom float64, mirrored bool) []sample {
	list := make([]sample, n)
	for i := range list {
		f := clamp((float64(i)+0.5-float64(n)/2)*zoom+float64(n)/2-0.5, 0, float64(n)-1.001)
		to := i
		if mirrored {
			to = n - 1 - i
		}
		list[to] = sample{int(f), float32(f - math.Floor(f))}
	}
	return list
}

// row sets the brightness of a row of the picture: of places between four pixels of the
// scene, and between the two nearest prepared blurs.
func (s *Scene) row(light []float32, row sample, columns []sample, v View) {
	focus, scale := float32(v.Focus), float32(v.Blur*blurSteps)
	i := row.at * s.width
	depth := s.depth[i : i+s.width]
	top, below := s.points[i*stride:(i+s.width)*stride], s.points[(i+s.width)*stride:(i+2*s.width)*stride]
	for x, column := range columns {
		away := depth[column.at] - focus
		b := &blurs[min(int(max(away, -away)*scale), len(blurs)-1)]
		k := column.at*stride + b.level
		t, u := top[k:k+stride+2], below[k:k+stride+2]
		sharper, softer := t[0]+row.part*(u[0]-t[0]), t[1]+row.part*(u[1]-t[1])
		left := sharper + b.part*(softer-sharper)
		sharper, softer = t[stride]+row.part*(u[stride]-t[stride]), t[stride+1]+row.part*(u[stride+1]-t[stride+1])
		right := sharper + b.part*(softer-sharper)
		light[x] = left + column.part*(right-left)
	}
}

// A blur is the place of a blur disk among the diameters: between a level and the next.
type blur struct {
	level int
	part  float32 // of the next one, 0 to 1
}

const blurSteps = 32 // in a pixel

// blurs holds the place of each blur disk, in equal steps from 0 to the last diameter.
var blurs = func() (table []blur) {
	k := 0
	for i := range int(diameters[len(diameters)-1]*blurSteps) + 1 {
		d := float64(i) / blurSteps
		for k+2 < len(diameters) && d > diameters[k+1] {
			k++
		}
		table = append(table, blur{k, float32((d - diameters[k]) / (diameters[k+1] - diameters[k]))})
	}
	return table
}()

// A noise is that of one row of a picture.
type noise struct {
	from  int
	scale float32
}

func (v *View) grain(row int) noise {
	return noise{int(unit(v.Serial<<32+uint64(row)) * float64(len(grains))), float32(v.Noise * 0.18)}
}

func (n noise) at(x int) float32 { return n.scale * grains[(n.from+x)%len(grains)] }

// grains holds random numbers with a standard deviation of 1. Each row of each picture
// begins at another one.
var grains = func() (table [1 << 16]float32) {
	for i := range table {
		// Three uniform numbers are near enough to normal.
		n := 3 * uint64(i)
		table[i] = float32(2 * (unit(n) + unit(n+1) + unit(n+2) - 1.5))
	}
	return table
}()

// chroma returns that of a luma: none of cloth, and a warm one of fossil.
func chroma(luma uint8, tint float32) (cb, cr uint8) {
	warmth := float32(luma) * tint
	return uint8(128.5 - 0.09*warmth), uint8(128.5 + 0.05*warmth)
}

// levels8 holds the stored level of each linear brightness, in equal steps
// from 0 to 1, by the curve of sRGB (IEC 61966-2-1).
var levels8 = func() (table [1 << 12]uint8) {
	for i := range table {
		light := float64(i) / float64(len(table)-1)
		if light <= 0.0031308 {
			light *= 12.92
		} else {
			light = 1.055*math.Pow(light, 1/2.4) - 0.055
		}
		table[i] = uint8(light*255 + 0.5)
	}
	return table
}()

func level(light float32) uint8 {
	return levels8[min(max(int(light*float32(len(levels8)-1)+0.5), 0), len(levels8)-1)]
}
