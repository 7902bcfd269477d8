package pixels

// Seen is what was found in the pictures of a sequence.
type Seen struct {
	Judgement *Judgement
	// Missing gives the reason for each frame whose picture could not be
	// measured, by the frame's place in the sequence.
	Missing map[int]string
}

// DamagedFile is the reason where the picture of a JPEG file is damaged: the frame
// is lost.
const DamagedFile = "the picture is damaged"

// OtherView reports whether two sequences are sure to show different views.
// Anything but a *Seen shows nothing for sure.
func (s *Seen) OtherView(of any) bool {
	other, ok := of.(*Seen)
	return ok && s.Judgement.View.Other(other.Judgement.View)
}
