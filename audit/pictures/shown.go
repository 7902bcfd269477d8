package pictures

import (
	"bytes"
	"cmp"
	"context"
	"image"
	"image/jpeg"
	"math"
	"slices"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/proof"
	"prestrike/audit/shoot"
	"prestrike/exifread"

	"golang.org/x/image/draw"
)

// A Maker makes pictures of frames to be shown, one at a time. It keeps the one decoded
// last, as several parts of a frame are shown one after the other.
type Maker struct {
	ctx  context.Context
	key  string // of the picture kept
	last image.Image
}

// NewMaker returns a Maker whose work ends with ctx.
func NewMaker(ctx context.Context) *Maker { return &Maker{ctx: ctx} }

// A Shown is a picture to be shown, upright, as JPEG.
type Shown struct {
	JPEG          []byte
	Width, Height int // pixels
	// At is where in the upright frame a detail lies; the whole frame else.
	At pixels.Box
	// Long is the long side of the picture that it was made from.
	Long int
}

// A NotShownError is in a few words why there is no picture.
type NotShownError struct{ Why string }

// Error returns the reason.
func (e *NotShownError) Error() string { return e.Why }

// Whole returns the whole picture of a frame with a long side of at most the given number of pixels,
// in at most the given number of bytes. It is made from the smallest picture of the frame that is
// large enough.
func (m *Maker) Whole(f *shoot.Frame, long, most int) (*Shown, error) {
	img, err := m.decode(f, bySize(long))
	if err != nil {
		return nil, err
	}
	small := proof.Upright(fit(img, long), orientation(f))
	s := &Shown{At: pixels.Box{X1: 1, Y1: 1}, Long: longSide(img.Bounds())}
	return s, s.encode(small, most, reduced)
}

// reduced is a picture with fewer pixels.
func reduced(img *image.RGBA) *image.RGBA { return fit(img, longSide(img.Rect)*4/5) }

// less is the middle of a picture.
func less(img *image.RGBA) *image.RGBA {
	r := window(img.Rect, pixels.Box{X1: 1, Y1: 1}, img.Rect.Dx()*4/5, img.Rect.Dy()*4/5)
	out := image.NewRGBA(image.Rect(0, 0, r.Dx(), r.Dy()))
	draw.Draw(out, out.Rect, img, r.Min, draw.Src)
	return out
}

// Detail returns the part of a frame around the middle of a box, in fractions of the stored
// picture, at 100 % of the largest picture that can be decoded: at most the given number of pixels
// wide and high as it is shown, and half the picture, in at most the given number of bytes.
func (m *Maker) Detail(f *shoot.Frame, at pixels.Box, width, height, most int) (*Shown, error) {
	img, err := m.decode(f, largestFirst)
	if err != nil {
		return nil, err
	}
	b, turned := img.Bounds(), orientation(f)
	if turned >= 5 {
		width, height = height, width
	}
	// Of a small picture the half: more would be the whole of it.
	part := window(b, at, min(width, b.Dx()/2), min(height, b.Dy()/2))
	cut := image.NewRGBA(image.Rect(0, 0, part.Dx(), part.Dy()))
	draw.Draw(cut, cut.Rect, img, part.Min, draw.Src)
	w, h := float64(b.Dx()), float64(b.Dy())
	where := pixels.Box{
		X0: float64(part.Min.X-b.Min.X) / w, Y0: float64(part.Min.Y-b.Min.Y) / h,
		X1: float64(part.Max.X-b.Min.X) / w, Y1: float64(part.Max.Y-b.Min.Y) / h,
	}
	s, shown := &Shown{At: where.Turned(turned), Long: longSide(b)}, proof.Upright(cut, turned)
	if err := s.encode(shown, most, less); err != nil { // the scale stays
		return nil, err
	}
	s.At = middle(s.At, float64(s.Width)/float64(shown.Rect.Dx()), float64(s.Height)/float64(shown.Rect.Dy()))
	return s, nil
}

// middle returns the middle of a box: so much of its width and height.
func middle(b pixels.Box, across, down float64) pixels.Box {
	x, y := (b.X0+b.X1)/2, (b.Y0+b.Y1)/2
	w, h := across*(b.X1-b.X0)/2, down*(b.Y1-b.Y0)/2
	return pixels.Box{X0: x - w, Y0: y - h, X1: x + w, Y1: y + h}
}

// window returns the part of a picture around the middle of a box, moved to lie inside.
func window(b image.Rectangle, at pixels.Box, width, height int) image.Rectangle {
	width, height = min(width, b.Dx()), min(height, b.Dy())
	place := func(lo, hi float64, side, size int) int {
		from := int(math.Round((lo+hi)/2*float64(side))) - size/2
		return max(0, min(from, side-size))
	}
	x := b.Min.X + place(at.X0, at.X1, b.Dx(), width)
	y := b.Min.Y + place(at.Y0, at.Y1, b.Dy(), height)
	return image.Rect(x, y, x+width, y+height)
}

// The qualities that are tried, best first, before a picture is made smaller.
var qualities = []int{84, 76, 68, 58, 48, 38}

// encode fills in the picture, in at most the given number of bytes; smaller makes one with fewer
// pixels of it, where no quality is low enough.
func (s *Shown) encode(img *image.RGBA, most int, smaller func(*image.RGBA) *image.RGBA) error {
	const least = 48 // pixels: no picture is made smaller than that
	for {
		for _, q := range qualities {
			var b bytes.Buffer
			if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: q}); err != nil {
				return err
			}
			if b.Len() <= most || q == qualities[len(qualities)-1] && longSide(img.Rect) <= least {
				s.JPEG, s.Width, s.Height = b.Bytes(), img.Rect.Dx(), img.Rect.Dy()
				return nil
			}
		}
		img = smaller(img)
	}
}

// bySize puts the smallest picture that is large enough first, and those that are not
// behind, the largest first. A thumbnail of another shape has bars and comes last.
func bySize(long int) func(list framePictures) {
	return func(list framePictures) {
		largestFirst(list)
		shape := 0.0
		if len(list) > 0 && list[0].preview.Height > 0 {
			shape = float64(list[0].preview.Width) / float64(list[0].preview.Height)
		}
		const like = 0.02
		rank := func(c candidate) int {
			p := c.preview
			switch {
			case p.Height == 0 || math.Abs(float64(p.Width)/float64(p.Height)-shape) > like*shape:
				return math.MaxInt
			case max(p.Width, p.Height) >= long:
				return max(p.Width, p.Height)
			}
			return math.MaxInt - max(p.Width, p.Height)
		}
		slices.SortStableFunc(list, func(a, b candidate) int { return cmp.Compare(rank(a), rank(b)) })
	}
}

func largestFirst(list framePictures) {
	slices.SortStableFunc(list, func(a, b candidate) int {
		return cmp.Compare(b.preview.Width*b.preview.Height, a.preview.Width*a.preview.Height)
	})
}

// decode decodes the first picture of a frame, in an order, that can be.
func (m *Maker) decode(f *shoot.Frame, order func(framePictures)) (image.Image, error) {
	list := everyPicture(f)
	order(list)
	var why error = &NotShownError{noPreview}
	for i := range list {
		c := &list[i]
		if m.last != nil && m.key == c.key {
			return m.last, nil
		}
		m.last = nil // not both in memory
		img, err := c.decode(m.ctx)
		if err == nil {
			m.last, m.key = img, c.key
			return img, nil
		}
		if m.ctx.Err() != nil {
			return nil, m.ctx.Err()
		}
		why = &NotShownError{c.whyNot(err)}
	}
	return nil, why
}

func (c *candidate) decode(ctx context.Context) (img image.Image, err error) {
	defer exifread.Recovered(&err)
	return c.preview.Decode(ctx, c.file.Abs, nil)
}

// everyPicture returns all pictures of a frame.
func everyPicture(f *shoot.Frame) framePictures {
	var list framePictures
	for _, file := range f.Files {
		for _, p := range file.Meta.Pictures() {
			if p.Length > 0 {
				list = append(list, newCandidate(file, p))
			}
		}
	}
	return list
}

// orientation is the value of the frame's Orientation tag; 1 where it has none.
func orientation(f *shoot.Frame) int { return int(f.Meta().Orientation.Or(1)) }

func longSide(r image.Rectangle) int { return max(r.Dx(), r.Dy()) }

// fit returns a picture with a long side of at most the given number of pixels; a smaller one keeps
// its size. A large one is averaged over whole pixels first, which is fast.
func fit(img image.Image, long int) *image.RGBA {
	b := img.Bounds()
	if k := longSide(b) / (2 * long); k >= 2 {
		if y, ok := img.(*image.YCbCr); ok {
			img = binned(y, k)
		}
	}
	return proof.Fit(img, long)
}

// binned averages k x k pixels to one; what is left at the right and below falls away.
func binned(img *image.YCbCr, k int) *image.YCbCr {
	b := img.Bounds()
	w, h := b.Dx()/k, b.Dy()/k
	out := image.NewYCbCr(image.Rect(0, 0, w, h), image.YCbCrSubsampleRatio444)
	half := k * k / 2
	for y := range h {
		for x := range w {
			sum := 0
			for v := range k {
				row := img.YOffset(b.Min.X+x*k, b.Min.Y+y*k+v)
				for _, p := range img.Y[row : row+k] {
					sum += int(p)
				}
			}
			// The middle's colour will do: colour is coarser than light already.
			at, c := y*out.YStride+x, img.COffset(b.Min.X+x*k+k/2, b.Min.Y+y*k+k/2)
			out.Y[at] = uint8((sum + half) / (k * k))
			out.Cb[at], out.Cr[at] = img.Cb[c], img.Cr[c]
		}
	}
	return out
}

// Sharpest returns the part of a frame's stored picture, of the given width and height in pixels, that
// is worth an inspection at 100 %.
func (m *Maker) Sharpest(f *shoot.Frame, width, height int) (pixels.Box, error) {
	img, err := m.decode(f, largestFirst)
	if err != nil {
		return pixels.Box{}, err
	}
	measured, err := pixels.Measure(img)
	if err != nil { // too small
		return pixels.Box{X1: 1, Y1: 1}, nil
	}
	return measured.SharpestPart(width, height), nil
}

// Refit returns a JPEG picture that was made before, with a long side of at most the given number of
// pixels and in at most the given number of bytes.
func Refit(made []byte, long, most int) (*Shown, error) {
	if c, err := jpeg.DecodeConfig(bytes.NewReader(made)); err == nil && max(c.Width, c.Height) <= long && len(made) <= most {
		return &Shown{JPEG: made, Width: c.Width, Height: c.Height}, nil
	}
	img, err := jpeg.Decode(bytes.NewReader(made))
	if err != nil {
		return nil, err
	}
	s := new(Shown)
	return s, s.encode(fit(img, long), most, reduced)
}
