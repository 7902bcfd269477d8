package proof

import (
	"image"

	"golang.org/x/image/draw"
)

// Spread returns count of n frames, evenly spread from the first to the last: those to hand
// to [Strip]. Where there are fewer it is all of them.
func Spread(n, count int) []int {
	if n <= count {
		count = n
	}
	out := make([]int, count)
	for i := range out {
		out[i] = i * (n - 1) / max(1, count-1)
	}
	return out
}

// A Small is a reduced picture of a frame.
type Small struct {
	Frame   int
	Picture *image.RGBA
}

// Strip returns reduced pictures of the frames given, with a long side of side pixels: a
// strip to lay out side by side, or to step through.
func Strip(pictures Pictures, side int) []Small {
	var out []Small
	for i, img := range pictures {
		out = append(out, Small{i, Fit(img, side)})
	}
	return out
}

// Fit returns a picture whose long side has side pixels at most; a smaller one keeps its
// size. Each pixel is the mean of those that it covers.
func Fit(img image.Image, side int) *image.RGBA {
	b := img.Bounds()
	w, h := b.Dx(), b.Dy()
	if long := max(w, h); long > side {
		w, h = max(1, (w*side+long/2)/long), max(1, (h*side+long/2)/long)
	}
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	if w == b.Dx() {
		draw.Draw(out, out.Rect, img, b.Min, draw.Src)
		return out
	}
	draw.CatmullRom.Scale(out, out.Rect, img, b, draw.Src, nil)
	return out
}
