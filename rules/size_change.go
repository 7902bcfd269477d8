package rules

import (
	"fmt"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

var sizeChange = &audit.Rule{
	ID:       "size-change",
	Title:    "picture size or kind of file changes within a run",
	Severity: audit.Reshoot,
	AtOnce:   true,
	Doc: `Finds runs in which the size of the picture changes, or in which raw files are
missing from a frame on: a button or a menu was touched.

Frames of different size do not fit each other, and what the raw file held is lost
for good.

Set size and kind of file back and shoot this sequence again. Where only the JPEG
is missing from a frame on, or the run is a burst, looking is enough.

It is wrong where the change is meant. Single files that lack their partner are
told by lone-pair.`,
	Source: "common practice",
	Params: []audit.Param{block},
	Check:  checkSizeChange,
}

// block is shared with lone-pair and read under the name of size-change.
var block = audit.Param{
	Name: "block", Unit: "frames",
	Doc:     "so many neighbouring frames without their raw file or JPEG are a changed setting; fewer are lost files",
	Default: 3, Min: 1, Max: 100,
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
	if lacking, what := fileChange(q, paramOf(v, "size-change", block)); len(lacking) > 0 {
		have := "has"
		if len(lacking) > 1 {
			have = "have"
		}
		found := audit.Finding{
			Severity: severity,
			Message:  fmt.Sprintf("%s %s no %s, the others of the run have one", shoot.FrameRanges(q.Frames, lacking), have, what),
			Action:   "switch raw on again and shoot this sequence again",
			Frames:   lacking,
		}
		if what == jpegFile {
			found.Severity = audit.Check
			found.Action = "switch the second file on again; the raw files of these frames are there"
		}
		v.Found(found)
		return nil
	}
	kinds := setting[exifread.Format]{read: func(m *exifread.Metadata) exifread.Value[exifread.Format] {
		if m.Format.Raw() || m.Format == exifread.FormatUnknown {
			return exifread.Value[exifread.Format]{}
		}
		return exifread.Of(m.Format)
	}}
	if d := kinds.of(q.Frames); len(d.odd) > 0 && len(d.unknown) == 0 {
		are := "are"
		if len(d.odd) == 1 {
			are = "is"
		}
		v.Found(audit.Finding{
			Severity: audit.Check,
			Message:  fmt.Sprintf("%s %s %s, the rest %s", shoot.FrameRanges(q.Frames, d.odd), are, d.low, d.usual),
			Action:   "look whether the frames still fit each other; set the kind of file back",
			Frames:   d.odd,
		})
		return nil
	}
	sizes := setting[dimensions]{read: pixelSize(q), write: dimensions.String}
	d := sizes.of(q.Frames)
	var unknown []*shoot.Frame
	for _, f := range d.unknown {
		if !f.Meta().Width.Known() || !f.Meta().Height.Known() {
			unknown = append(unknown, f)
		}
	}
	if len(unknown) > 0 {
		v.Unjudged("no picture size recorded", unknown...)
	}
	if len(d.odd) == 0 {
		return nil
	}
	are := "are"
	if len(d.odd) == 1 {
		are = "is"
	}
	v.Found(audit.Finding{
		Severity: severity,
		Message:  fmt.Sprintf("%s %s %v pixels, the rest %v", shoot.FrameRanges(q.Frames, d.odd), are, d.low, d.usual),
		Action:   "set the picture size back and shoot this sequence again",
		Frames:   d.odd,
		Measured: exifread.Of(d.low.mega()), Limit: exifread.Of(d.usual.mega()), Unit: "megapixels",
	})
	return nil
}

// pixels is a picture's size, the longer side first: a turned picture has the
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

const (
	rawFile  = "raw file"
	jpegFile = "JPEG beside the raw file"
)

// fileChange returns the frames of a run that lack a raw file, or a picture
// beside it, because a setting was changed: at least block neighbouring ones,
// or any in a run that has no pairs.
func fileChange(q *shoot.Sequence, block float64) (lacking []*shoot.Frame, what string) {
	var noRaw, noPicture []*shoot.Frame
	pairs := 0
	for _, f := range q.Frames {
		switch {
		case !f.HasRaw():
			noRaw = append(noRaw, f)
		case !hasPicture(f):
			noPicture = append(noPicture, f)
		default:
			pairs++
		}
	}
	switch n := len(q.Frames); {
	case len(noRaw) > 0 && len(noRaw) < n:
		lacking, what = noRaw, rawFile
	case len(noPicture) > 0 && len(noPicture) < n:
		lacking, what = noPicture, jpegFile
	default:
		return nil, ""
	}
	if pairs > 0 && float64(longestBlock(q.Frames, lacking)) < block {
		return nil, ""
	}
	return lacking, what
}

// hasPicture reports whether the frame has a file beside a raw one, or instead of it.
func hasPicture(f *shoot.Frame) bool { return len(f.Files) > 1 || !f.HasRaw() }

// longestBlock returns the longest run of neighbours among some frames of a
// sequence.
func longestBlock(sequence, some []*shoot.Frame) int {
	longest, run, next := 0, 0, 0
	for _, f := range sequence {
		if next < len(some) && some[next] == f {
			next++
			run++
			longest = max(longest, run)
			continue
		}
		run = 0
	}
	return longest
}
