package proof

import (
	"image"
	"slices"
)

// turned returns the size of a picture as it is shown, and where its pixels come from, for
// the value of the Orientation tag (CIPA DC-008, tag 0x0112).
func turned(orientation, w, h int) (tw, th int, from func(x, y int) (sx, sy int)) {
	switch orientation {
	case 2:
		return w, h, func(x, y int) (int, int) { return w - 1 - x, y }
	case 3:
		return w, h, func(x, y int) (int, int) { return w - 1 - x, h - 1 - y }
	case 4:
		return w, h, func(x, y int) (int, int) { return x, h - 1 - y }
	case 5:
		return h, w, func(x, y int) (int, int) { return y, x }
	case 6:
		return h, w, func(x, y int) (int, int) { return y, h - 1 - x }
	case 7:
		return h, w, func(x, y int) (int, int) { return w - 1 - y, h - 1 - x }
	case 8:
		return h, w, func(x, y int) (int, int) { return w - 1 - y, x }
	}
	return w, h, nil
}

// Upright returns a picture as it is shown, for the value of the Orientation tag; values
// other than 2 to 8 leave it as it is.
func Upright(img *image.RGBA, orientation int) *image.RGBA {
	w, h, from := turned(orientation, img.Rect.Dx(), img.Rect.Dy())
	if from == nil {
		return img
	}
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			sx, sy := from(x, y)
			copy(out.Pix[y*out.Stride+4*x:][:4], img.Pix[sy*img.Stride+4*sx:])
		}
	}
	return out
}

// Upright returns the coverage of the picture as it is shown. Turn the coverage and not its
// drawing: the directions of the hatches have a meaning.
func (c *Coverage) Upright(orientation int) *Coverage {
	w, h, from := turned(orientation, c.Width, c.Height)
	if from == nil {
		return c
	}
	out := &Coverage{Width: w, Height: h, Side: c.Side, Used: slices.Clone(c.Used)}
	for y := range h {
		for x := range w {
			sx, sy := from(x, y)
			out.Frame = append(out.Frame, c.Frame[sy*c.Width+sx])
			out.Marks = append(out.Marks, c.Marks[sy*c.Width+sx])
		}
	}
	return out
}
