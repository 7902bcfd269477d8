package rules

import (
	"fmt"
	"slices"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var sizeChange = &audit.Rule{
	ID:       "size-change",
	Title:    "Picture size or file type changes",
	Severity: audit.Reshoot,
	AtOnce:   true,
	Doc: `Finds sequences in which the size of the picture changes, or in which raw files are missing
from a frame on. A button or a menu was touched.

Frames of different size do not fit each other, and what the raw file held is lost
for good.

Set size and file type back and shoot the sequence again. The finding is a check where only
the JPEG is missing from a frame on, and in a burst.

Sizes that change on purpose are not reported. These are blocks of at most five frames of
each size, which come back in the same order in a sequence of the body.

The finding is wrong where the change is meant in another way. Single files without their
partner are reported by lone-pair.`,
	Source: "common practice",
	Params: []audit.Param{evidence.Block},
	Check:  checkSizeChange,
}

func checkSizeChange(v *audit.Review) error {
	q := v.Sequence
	if q.Kind == shoot.Single {
		return nil
	}
	var severity audit.Severity
	if q.Kind == shoot.Burst {
		severity = audit.Check
	}
	if lacking, what := evidence.FileChange(q, v.ParamOf("size-change", evidence.Block)); len(lacking) > 0 {
		have := "has"
		if len(lacking) > 1 {
			have = "have"
		}
		found := audit.Finding{
			Severity: severity,
			Message:  fmt.Sprintf("%s %s no %s; the others have one", shoot.FrameRanges(q.Frames, lacking), have, what),
			Action:   "switch raw on again and shoot the sequence again",
			Frames:   lacking,
		}
		if what == evidence.JpegFile {
			found.Severity = audit.Check
			found.Action = "switch the second file on again; the raw files of these frames are there"
		}
		v.Found(found)
		return nil
	}
	kinds := evidence.Setting[exifread.Format]{Read: func(m *exifread.Metadata) exifread.Value[exifread.Format] {
		if m.Format.Raw() || m.Format == exifread.FormatUnknown {
			return exifread.Value[exifread.Format]{}
		}
		return exifread.Of(m.Format)
	}}
	if d := kinds.Of(q.Frames); len(d.Odd) > 0 && len(d.Unknown) == 0 {
		are := "are"
		if len(d.Odd) == 1 {
			are = "is"
		}
		v.Found(audit.Finding{
			Severity: audit.Check,
			Message:  fmt.Sprintf("%s %s %s, the rest %s", shoot.FrameRanges(q.Frames, d.Odd), are, d.Low, d.Usual),
			Action:   "check whether the frames still fit each other, and set the file type back",
			Frames:   d.Odd,
		})
		return nil
	}
	sizes := evidence.Setting[dimensions]{Read: pixelSize(q), Write: dimensions.String}
	d := sizes.Of(q.Frames)
	if len(d.Odd) > 0 && sizesSteppedOnPurpose(v.Session, q) {
		return nil
	}
	var unknown []*shoot.Frame
	for _, f := range d.Unknown {
		if !f.Meta().Width.Known() || !f.Meta().Height.Known() {
			unknown = append(unknown, f)
		}
	}
	if len(unknown) > 0 {
		v.Unjudged("no picture size recorded", unknown...)
	}
	if len(d.Odd) == 0 {
		return nil
	}
	are := "are"
	if len(d.Odd) == 1 {
		are = "is"
	}
	v.Found(audit.Finding{
		Severity: severity,
		Message:  fmt.Sprintf("%s %s %v pixels, the rest %v", shoot.FrameRanges(q.Frames, d.Odd), are, d.Low, d.Usual),
		Action:   "set the picture size back and shoot the sequence again",
		Frames:   d.Odd,
		Measured: exifread.Of(d.Low.mega()), Limit: exifread.Of(d.Usual.mega()), Unit: "megapixels",
	})
	return nil
}

// A sizeBlock is a number of neighbouring frames of one size.
type sizeBlock struct {
	size dimensions
	n    int
}

// sizeBlocks returns the blocks of sizes of a run; nil where a frame records none, or a
// block is too long to be a step through the sizes.
func sizeBlocks(q *shoot.Sequence) []sizeBlock {
	const longest = 5 // frames
	read := pixelSize(q)
	var list []sizeBlock
	for _, f := range q.Frames {
		size, ok := read(f.Meta()).Get()
		if !ok {
			return nil
		}
		if n := len(list); n > 0 && list[n-1].size == size {
			list[n-1].n++
			if list[n-1].n > longest {
				return nil
			}
			continue
		}
		list = append(list, sizeBlock{size, 1})
	}
	return list
}

// sizesSteppedOnPurpose reports whether the sizes of a run come back in the same order
// and number: twice in the run, or in another run of the body. A button that was
// touched does not do that.
func sizesSteppedOnPurpose(session *shoot.Session, q *shoot.Sequence) bool {
	blocks := sizeBlocks(q)
	for period := 2; 2*period <= len(blocks); period++ {
		if len(blocks)%period == 0 && slices.Equal(blocks[period:], blocks[:len(blocks)-period]) {
			return true
		}
	}
	return len(blocks) > 1 && slices.ContainsFunc(session.Sequences, func(o *shoot.Sequence) bool {
		return o != q && o.Body == q.Body && slices.Equal(sizeBlocks(o), blocks)
	})
}

// dimensions is a picture's size, the longer side first: a turned picture has the
// same size.
type dimensions struct{ long, short uint32 }

func (p dimensions) String() string { return fmt.Sprintf("%d x %d", p.long, p.short) }

func (p dimensions) mega() float64 { return float64(p.long) * float64(p.short) / 1e6 }

// pixelSize reads sizes from the kind of file that most frames' best files
// are: a raw file counts the pixels at the border that its JPEG lacks.
func pixelSize(q *shoot.Sequence) func(*exifread.Metadata) exifread.Value[dimensions] {
	raws := 0
	for _, f := range q.Frames {
		if f.Meta().Format.Raw() {
			raws++
		}
	}
	raw := 2*raws > len(q.Frames)
	return func(m *exifread.Metadata) exifread.Value[dimensions] {
		w, okW := m.Width.Get()
		h, okH := m.Height.Get()
		if !okW || !okH || m.Format.Raw() != raw {
			return exifread.Value[dimensions]{}
		}
		return exifread.Of(dimensions{max(w, h), min(w, h)})
	}
}
