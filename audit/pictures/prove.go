package pictures

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"
	"io/fs"
	"sync"
	"time"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/proof"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// A Prover makes proofs of sequences: pictures for inspection only. It decodes the frames
// anew, one ahead of the one that is merged, so that memory does not grow with their
// number. Nothing is made before it is asked for. The zero value is ready for use, also
// by several goroutines.
type Prover struct {
	// Cache, where not nil, keeps finished proofs from one run to the next.
	Cache Cache

	once   sync.Once
	memory *budget
}

// A Proof is a sequence as one picture, and what belongs to it. All pictures are upright:
// turned as the frames' Orientation records. Frames are named by their place in the sequence,
// from 0. Texts name them by their labels, are plain text, and hold nothing from files but those.
type Proof struct {
	// Picture is a JPEG picture with a long side of 1,600 pixels at most: the merged frames
	// of a focus sequence or bracket, a sheet of twelve frames of a time-lapse, the
	// sharpest frame of a burst, or the frame. Empty where no frame has a picture.
	Picture       []byte `json:",omitempty"`
	Width, Height int
	// Caption is a sentence on what the picture is; Notes are sentences on what to know of it.
	Caption string
	Notes   []string `json:",omitempty"`

	// Map is the coverage map of a focus sequence, a grey PNG picture of the same shape:
	// for each place the frame in which it is sharpest. Key explains its steps and hatches.
	Map []byte     `json:",omitempty"`
	Key []KeyEntry `json:",omitempty"`

	// Small are reduced frames: twelve of a time-lapse in order, the best three of a burst.
	Small []SmallFrame `json:",omitempty"`
	// Ends has, of a bracket, the share of each frame that is clipped.
	Ends []FrameEnds `json:",omitempty"`
	// Curve has the interval and brightness of each frame of a time-lapse.
	Curve []CurvePoint `json:",omitempty"`
	// Ranked orders the frames of a burst, the sharpest first.
	Ranked []proof.Ranked `json:",omitempty"`
	// Part is the part of a frame that is worth an inspection at 100 %, 600 x 400 pixels of its
	// picture, of the stored picture before Orientation; PartFrame is that frame. Of single
	// frames and bursts; nil else.
	Part      *pixels.Box `json:",omitempty"`
	PartFrame int
}

// A KeyEntry explains a step or hatch of a coverage map: a small PNG sample, and a text.
type KeyEntry struct {
	Sample []byte
	Text   string
}

// A SmallFrame is a reduced picture of a frame, a JPEG picture.
type SmallFrame struct {
	Frame         int
	Label         string
	Picture       []byte
	Width, Height int
}

// FrameEnds are the shares of a frame at the ends of the scale, 0 to 1.
type FrameEnds struct {
	Frame int
	Label string
	proof.Ends
}

// A CurvePoint is one frame of a time-lapse.
type CurvePoint struct {
	Frame int
	Label string
	// Interval is the time from the frame before, s, and EV the brightness against the run's
	// median frame; nil where not known.
	Interval *float64 `json:",omitempty"`
	EV       *float64 `json:",omitempty"`
}

const (
	proofSide    = 1600 // pixels of the long side
	proofQuality = 88   // of JPEG
	smallSide    = 400
	smallQuality = 80
	stripFrames  = 12
	bestFrames   = 3
	partWidth    = 600 // pixels of the part that is inspected at 100 %
	partHeight   = 400
)

// Prove makes the proof of a sequence, or takes it from the cache. Seen is what was found in
// its pictures, [audit/pixels.Seen]; where it is anything else, they are measured first if
// the proof needs that. Pictures that cannot be decoded are left out, and the proof says
// which. It returns the context's error where it was stopped, and an error where the program
// itself failed.
func (p *Prover) Prove(ctx context.Context, q *shoot.Sequence, seen any) (out *Proof, err error) {
	defer exifread.Recovered(&err)
	p.once.Do(func() { p.memory = newBudget(decodingBytes) })
	w := &proving{ctx: ctx, memory: p.memory, q: q, key: proofKey(q)}
	for _, f := range q.Frames {
		w.frames = append(w.frames, picturesIn(f))
	}
	if p.Cache != nil {
		if text, ok := p.Cache.Get(w.key); ok {
			if text, ok := unsealed(w.key, text); ok {
				out := new(Proof)
				if json.Unmarshal(text, out) == nil {
					return out, nil
				}
			}
		}
	}
	if s, ok := seen.(*pixels.Seen); ok && s != nil && !s.Few && s.Judgement != nil && s.Judgement.Frames == len(q.Frames) {
		w.judgement = s.Judgement
	}
	out, err = w.prove()
	if err != nil {
		return nil, err
	}
	if p.Cache != nil && !w.unread {
		if text, err := json.Marshal(out); err == nil {
			p.Cache.Put(w.key, sealed(w.key, text))
		}
	}
	return out, nil
}

// proofKey is the key of a sequence's proof.
func proofKey(q *shoot.Sequence) string {
	parts := []string{version, "proof", proof.Version(), q.Kind.String()}
	for _, f := range q.Frames {
		parts = append(parts, picturesIn(f).key(), f.Label(), fmt.Sprint(f.Meta().Orientation))
	}
	return checksum(append(parts, fmt.Sprint(q.Exposures()))...)
}

// proving is one proof on its way.
type proving struct {
	ctx       context.Context
	memory    *budget
	q         *shoot.Sequence
	key       string
	frames    []framePictures
	judgement *pixels.Judgement // nil until it is needed
	unread    bool              // some picture could not be read, as long as that may last
	failed    error
}

func (w *proving) prove() (*Proof, error) {
	var out *Proof
	var err error
	switch w.q.Kind {
	case shoot.Focus:
		if w.q.PositionExposures > 0 {
			out, err = w.strip("Frames spread over the sequence: each position has several exposures, which are not merged.")
		} else {
			out, err = w.focus()
		}
	case shoot.Bracket:
		out, err = w.bracket()
	case shoot.TimeLapse, shoot.Series:
		out, err = w.strip("Frames spread over the sequence.")
	case shoot.Burst:
		out, err = w.burst()
	default:
		out, err = w.single()
	}
	if err = errors.Join(err, w.failed); err != nil {
		return nil, err
	}
	if err := w.ctx.Err(); err != nil {
		return nil, err
	}
	if out.Picture == nil && out.Caption == "" {
		out.Caption = "No frame has a picture that can be shown."
	}
	return out, nil
}

// pictures hands out the pictures of some frames, of one size where width is not 0: the next
// is decoded while the last is in use.
func (w *proving) pictures(frames []int, width, height int) proof.Pictures {
	return func(yield func(int, image.Image) bool) {
		type decoded struct {
			frame int
			img   image.Image
			held  int64
		}
		ctx, stop := context.WithCancel(w.ctx)
		next := make(chan decoded)
		var wg sync.WaitGroup
		var failed error
		unread := false
		wg.Go(func() {
			defer close(next)
			defer exifread.Recovered(&failed)
			for _, i := range frames {
				img, held, again, err := w.frames[i].decode(ctx, w.memory, width, height)
				unread = unread || again
				if _, ok := errors.AsType[*exifread.PanicError](err); ok {
					w.memory.give(held)
					failed = err
					return
				}
				if img == nil {
					w.memory.give(held)
					continue
				}
				select {
				case next <- decoded{i, img, held}:
				case <-ctx.Done():
					w.memory.give(held)
					return
				}
			}
		})
		for d := range next {
			more := yield(d.frame, d.img)
			w.memory.give(d.held)
			if !more {
				break
			}
		}
		stop()
		for d := range next { // what was on its way
			w.memory.give(d.held)
		}
		wg.Wait()
		w.unread = w.unread || unread
		w.failed = errors.Join(w.failed, failed)
	}
}

// decode returns the first picture that can be, of the size asked for where width is not
// 0, with the bytes that are to be given back once it is done with. Again is true where
// another time there may be one.
func (list framePictures) decode(ctx context.Context, memory *budget, width, height int) (img image.Image, held int64, again bool, err error) {
	for _, c := range list {
		if width > 0 && (c.preview.Width != width || c.preview.Height != height) && c.preview.Width > 0 {
			continue
		}
		img, err = c.preview.Decode(ctx, c.file.Abs, func(n int64) {
			memory.take(n)
			held += n
		})
		if err == nil {
			return img, held, again, nil
		}
		if _, medium := errors.AsType[*fs.PathError](err); medium || ctx.Err() != nil {
			again = true
		}
		memory.give(held) // or the next would wait for it
		held = 0
	}
	return nil, 0, again, err
}

// everyFrame lists the places of all frames.
func (w *proving) everyFrame() []int {
	out := make([]int, len(w.q.Frames))
	for i := range out {
		out[i] = i
	}
	return out
}

// measure measures the pictures where that was not done.
func (w *proving) measure() {
	if w.judgement != nil {
		return
	}
	var s pixels.Sequence
	for i, img := range w.pictures(w.everyFrame(), 0, 0) {
		for s.Len() < i {
			s.Add(nil)
		}
		m, err := pixels.Measure(img)
		if err != nil {
			m = nil // too small
		}
		s.Add(m)
	}
	for s.Len() < len(w.q.Frames) {
		s.Add(nil)
	}
	w.judgement = s.Judge(pixels.DefaultThresholds(), w.q.Exposures())
}

func (w *proving) orientation(frame int) int {
	return int(w.q.Frames[frame].Meta().Orientation.Or(1))
}

// show puts the picture into the proof, upright.
func (out *Proof) show(img image.Image, orientation int) error {
	small := proof.Upright(proof.Fit(img, proofSide), orientation)
	data, err := encodeJPEG(small, proofQuality)
	out.Picture, out.Width, out.Height = data, small.Rect.Dx(), small.Rect.Dy()
	return err
}

func encodeJPEG(img image.Image, quality int) ([]byte, error) {
	var buf bytes.Buffer
	err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: quality})
	return buf.Bytes(), err
}

func encodePNG(img image.Image) ([]byte, error) {
	var buf bytes.Buffer
	err := png.Encode(&buf, img)
	return buf.Bytes(), err
}

func (w *proving) small(s proof.Small) (SmallFrame, error) {
	img := proof.Upright(s.Picture, w.orientation(s.Frame))
	data, err := encodeJPEG(img, smallQuality)
	return SmallFrame{s.Frame, w.q.Frames[s.Frame].Label(), data, img.Rect.Dx(), img.Rect.Dy()}, err
}

// interval returns the time from the frame before, s.
func (w *proving) interval(i int) *float64 {
	if i == 0 {
		return nil
	}
	a, b := w.q.Frames[i-1], w.q.Frames[i]
	if !a.Timed() || !b.Timed() {
		return nil
	}
	s := b.Time.Sub(a.Time).Round(time.Millisecond).Seconds()
	return &s
}
