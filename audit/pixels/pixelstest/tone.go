package pixelstest

import (
	"image"
	"math"
)

// linear returns the light of a code value, 0 to 1 (the inverse of IEC 61966-2-1's curve).
func linear(v int) float64 {
	light := float64(v) / 255
	if light <= 0.04045 {
		return light / 12.92
	}
	return math.Pow((light+0.055)/1.055, 2.4)
}

// Shaken returns a picture as if it had been shaken: its light is averaged along a line of
// so many px at an angle, radians.
func Shaken(img *image.Gray, px, angle float64) *image.Gray {
	w, h := img.Rect.Dx(), img.Rect.Dy()
	light := make([]float32, w*h)
	for y := range h {
		for x, v := range img.Pix[y*img.Stride:][:w] {
			light[y*w+x] = float32(linear(int(v)))
		}
	}
	return coded(smear(light, w, h, px, angle), w, h, 0)
}

// Tone returns a grey picture in the colour of one material, a warm brown. Its
// blue light is multiplied by blue, as another white balance does.
func Tone(grey *image.Gray, blue float64) *image.RGBA {
	gains := [3]float64{1, 0.85, 0.7 * blue}
	var tables [3][256]uint8
	for i, gain := range gains {
		for v := range tables[i] {
			tables[i][v] = encodeTable[int(linear(v)*gain*(1<<14)+0.5)]
		}
	}
	colour := image.NewRGBA(grey.Bounds())
	for i, v := range grey.Pix {
		colour.Pix[4*i], colour.Pix[4*i+1], colour.Pix[4*i+2], colour.Pix[4*i+3] = tables[0][v], tables[1][v], tables[2][v], 255
	}
	return colour
}
