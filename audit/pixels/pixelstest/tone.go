package pixelstest

import (
	"image"
	"math"
)

// Tone returns a grey picture in the colour of one material, a warm brown. Its
// blue light is multiplied by blue, as another white balance does.
func Tone(grey *image.Gray, blue float64) *image.RGBA {
	gains := [3]float64{1, 0.85, 0.7 * blue}
	var tables [3][256]uint8
	for i, gain := range gains {
		for v := range tables[i] {
			light := float64(v) / 255
			if light <= 0.04045 {
				light /= 12.92
			} else {
				light = math.Pow((light+0.055)/1.055, 2.4)
			}
			tables[i][v] = encodeTable[int(light*gain*(1<<14)+0.5)]
		}
	}
	colour := image.NewRGBA(grey.Bounds())
	for i, v := range grey.Pix {
		colour.Pix[4*i], colour.Pix[4*i+1], colour.Pix[4*i+2], colour.Pix[4*i+3] = tables[0][v], tables[1][v], tables[2][v], 255
	}
	return colour
}
