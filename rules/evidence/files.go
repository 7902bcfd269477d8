package evidence

import (
	"prestrike/audit"
	"prestrike/audit/shoot"
)

// FramesOf returns the frames of a body in the order of its sequences.
func FramesOf(session *shoot.Session, body *shoot.Body) []*shoot.Frame {
	frames := make([]*shoot.Frame, 0, session.Frames()) // one body is usual
	for _, q := range session.Sequences {
		if q.Body == body {
			frames = append(frames, q.Frames...)
		}
	}
	return frames
}

// Block is shared with lone-pair and read under the name of size-change.
var Block = audit.Param{
	Name: "block", Unit: "frames",
	Doc:     "this many neighbouring frames without their raw file or JPEG are a changed setting; fewer are lost files",
	Default: 3, Min: 1, Max: 100,
}

const (
	rawFile  = "raw file"
	JpegFile = "JPEG beside the raw file"
)

// FileChange returns the frames of a run that lack a raw file, or a picture
// beside it, because a setting was changed: at least block neighbouring ones,
// or any in a run that has no pairs.
func FileChange(q *shoot.Sequence, block float64) (lacking []*shoot.Frame, what string) {
	var noRaw, noPicture []*shoot.Frame
	pairs := 0
	for _, f := range q.Frames {
		switch {
		case !f.HasRaw():
			noRaw = append(noRaw, f)
		case !HasPicture(f):
			noPicture = append(noPicture, f)
		default:
			pairs++
		}
	}
	switch n := len(q.Frames); {
	case len(noRaw) > 0 && len(noRaw) < n:
		lacking, what = noRaw, rawFile
	case len(noPicture) > 0 && len(noPicture) < n:
		lacking, what = noPicture, JpegFile
	default:
		return nil, ""
	}
	if pairs > 0 && float64(longestBlock(q.Frames, lacking)) < block {
		return nil, ""
	}
	return lacking, what
}

// HasPicture reports whether the frame has a file beside a raw one, or instead of it.
func HasPicture(f *shoot.Frame) bool { return len(f.Files) > 1 || !f.HasRaw() }

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
