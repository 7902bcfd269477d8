package shoot

import (
	"fmt"
	"slices"

	"prestrike/exifread"
)

// A Support is what held the camera.
type Support uint8

// The supports. SupportAuto, as an option, decides for each sequence.
const (
	SupportAuto Support = iota
	Tripod
	Handheld
)

var supportNames = [...]string{SupportAuto: "auto", Tripod: "tripod", Handheld: "handheld"}

// String returns the support's word in reports.
func (s Support) String() string { return supportNames[s] }

// ParseSupport returns the support of a word: auto, tripod or handheld.
func ParseSupport(word string) (Support, error) {
	if i := slices.Index(supportNames[:], word); i >= 0 {
		return Support(i), nil
	}
	return 0, fmt.Errorf("support %q is not known: write auto, tripod or handheld", word)
}

const (
	// slowest is the exposure time that nobody plans to hold by hand, seconds.
	slowest = 0.25
	// A camera that steps its focus by hand does it at this pace or faster, seconds.
	handPace = 0.5
	// handShare is the share of the time that hands allow, one over the focal length in
	// 35 mm terms (common practice), below which a frame may have been held by hand whatever
	// its magnification: two stops.
	handShare = 0.25
)

// support decides what held the camera, from the exposure times, what the pictures show, the
// kind, the pace and how the exposure was set, where the user has not declared it. By reports
// which of them it was.
func (r *Run) support(kind Kind, camera Camera, declared Support) (s Support, by string) {
	if declared != SupportAuto {
		return declared, "declared"
	}
	slow := func(f *Frame) bool { return f.ExposureSeconds() > slowest }
	switch {
	case slices.ContainsFunc(r.Frames, slow):
		return Tripod, "exposure time over 1/4 s"
	case camera == CameraMoves:
		return Handheld, "pictures that shift and roll"
	case camera == CameraStands:
		return Tripod, "pictures that do not move"
	case kind.Steady() && r.byHand():
		return Handheld, "quick frames at short times, exposure automatic"
	case kind.Steady():
		return Tripod, "steady pace"
	case kind == Bracket:
		return Tripod, "exposure steps"
	case kind == Burst:
		return Handheld, "quick frames"
	}
	return Handheld, "single frames"
}

// byHand reports whether a run at a steady pace may as well have been held by hand: a
// short burst in which the camera steps its focus.
func (r *Run) byHand() bool {
	c, ok := r.Cadence.Get()
	if !ok || c.Seconds() > handPace || !r.automatic() {
		return false
	}
	return !slices.ContainsFunc(r.Frames, func(f *Frame) bool {
		focal := float64(f.meta.FocalLength35.Or(0))
		if focal == 0 {
			focal = exifread.Positive(f.meta.FocalLength)
		}
		return focal == 0 || f.ExposureSeconds() == 0 || f.ExposureSeconds() > handShare/focal
	})
}

// automatic reports whether the camera set the exposure in most frames. One that is set to
// manual exposure and still follows the light sets the ISO itself.
func (r *Run) automatic() bool {
	if !manual(r.Frames) {
		return true
	}
	auto := 0
	for _, f := range r.Frames {
		if mode, ok := f.meta.ExposureMode.Get(); ok && mode == exifread.ExposureAuto {
			auto++
		}
	}
	return 2*auto > len(r.Frames)
}

// waved reports whether the camera was turned within the run while its ISO followed the
// light, as it happens in the hand: on a stand that points down the turn alone shows nothing,
// as its sensor does not know up from down.
func (r *Run) waved() bool {
	turns, changes := 0, 0
	for i := 1; i < len(r.Frames); i++ {
		a, b := r.Frames[i-1].meta, r.Frames[i].meta
		if x, ok := a.Orientation.Get(); ok && b.Orientation.Known() && x != b.Orientation.Or(x) {
			turns++
		}
		if x, ok := a.Sensitivity.Get(); ok && b.Sensitivity.Known() && x != b.Sensitivity.Or(x) {
			changes++
		}
	}
	return turns > 0 && changes > 1
}
