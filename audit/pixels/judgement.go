package pixels

// An Answer is one of the outcomes of a check.
type Answer uint8

// The answers. The zero Answer is the honest one.
const (
	CannotTell Answer = iota
	Fine
	Found
)

// String returns the answer in words.
func (a Answer) String() string {
	switch a {
	case Fine:
		return "fine"
	case Found:
		return "found"
	}
	return "not known"
}

// A Verdict is the outcome of one check.
type Verdict struct {
	Answer Answer
	Reason string // why the answer is CannotTell; empty otherwise
}

func cannot(reason string) Verdict { return Verdict{Reason: reason} }

func decided(found bool) Verdict {
	if found {
		return Verdict{Answer: Found}
	}
	return Verdict{Answer: Fine}
}

// Reasons for the answer CannotTell.
const (
	ReasonFew           = "fewer than 6 frames with a picture"
	ReasonSizes         = "the pictures are of different sizes"
	ReasonSettings      = "the settings change too often"
	ReasonEnd           = "the frames at that end have no picture that can be compared"
	ReasonLong          = "more than 1,000 frames"
	ReasonTexture       = "too little texture, or too much noise"
	ReasonInterior      = "too few parts have their sharpest frame inside the sequence"
	ReasonSignature     = "focusing neither scales nor shifts the picture enough"
	ReasonUneven        = "the steps of focus are too uneven to distinguish a missing frame from a long step"
	ReasonFaint         = "the pictures do not show each step of focus well enough"
	ReasonNotFocus      = "the sharp zone does not move"
	ReasonUnsteady      = "the picture is not steady enough from frame to frame"
	ReasonWalk          = "the pictures do not show whether the sharp zone moves"
	ReasonUnrelated     = "neighbouring pictures differ too much to be compared"
	ReasonOrder         = "a test run takes one frame at each focus, from one end to the other"
	ReasonBack          = "focus goes back within the test run"
	ReasonHole          = "one frame or more is missing in the test run"
	ReasonStands        = "focus does not move in some frames of the test run"
	ReasonFewTest       = "a test run needs 8 frames with a picture"
	ReasonFlat          = "too few places are parallel enough to the sensor"
	ReasonSpread        = "places of the subject contradict each other"
	ReasonLittle        = "focus hardly moves over the test run: set a wider step, or make more frames"
	ReasonStep          = "the pictures show the focus step only to a factor of two"
	ReasonNearLimit     = "the focus step is too near the limit"
	ReasonMaybeOutwards = "these frames may have been made from the middle outwards"
	ReasonOutwards      = "the sequence goes outwards from its middle, and its steps are not exact enough"
	ReasonColour        = "not all pictures show their colour"
	ReasonViews         = "the view changes from frame to frame"
	ReasonHeld          = "the pictures move as a camera may in a hand or on a stand"
	ReasonCourse        = "the pictures do not show whether focus goes on after the pause"
	ReasonNoView        = "the pictures are not enough to compare views"
	ReasonBetweenViews  = "the pictures do not show whether it is the same view"
	ReasonOtherView     = "no other frame shows the same view"
	ReasonOtherLight    = "the light differs by more than one EV from that of other frames of the view"
	ReasonOneFrame      = "fewer than two frames with a picture"
	ReasonWideOpen      = "dust is sought at a recorded f/8 and up"
	ReasonNotSmooth     = "no part of the picture is smooth enough to show dust"
	ReasonFewViews      = "fewer than two sequences at f/11 and up"
	ReasonBackdrop      = "dark spots keep their place, but the pictures do not show that the camera or the backdrop moved"
	ReasonRestless      = "parts of the picture move too differently, as on a rail or in much noise"
	ReasonNowhereSharp  = "few places are sharp in two frames one after the other"
	ReasonNoNeighbour   = "no frame has a picture and two neighbours with enough texture"
)

// A Judgement is what the pictures of a run prove. Frames are named by their
// index in the order they were added, from 0. All values are plain numbers, so
// that it can be kept as JSON; per frame it takes under 1 KiB, and some 2 KiB more in a
// short run.
type Judgement struct {
	Frames     int   // added
	Unmeasured []int // without a picture, or with one of another size
	// Unrelated are frames that show something else than the frames around
	// them, such as a hand, a card or nothing. They take part in no check
	// but Dark.
	Unrelated []int

	Width, Height int // of the pictures given
	Factor        int // picture pixels to one px
	Tiles         int // laid over the picture
	Textured      int // whose sharpness rises and falls, or rises, through the run
	// HalfWidth is the half width at half maximum of their curves, in frames;
	// 0 where not known.
	HalfWidth float64

	Views      Views
	Held       Held
	Walk       Walk
	First      Edge // subject beyond the first frame
	Last       Edge // subject beyond the last frame
	Step       Step
	Signature  Signature
	Jumps      Jumps
	Stalls     Stalls
	Order      Order
	Moved      Moved
	Subject    Subject
	Brightness Brightness
	Bands      Bands
	Dark       Dark
	Soft       Soft
	Colour     Colour
	Habit      Habit
	Range      Range
	Lights     Lights
	Specks     Specks

	// OneView is for a run that is too short for all checks but those of its light. It
	// means that its pictures, made at the same settings, show the same thing.
	OneView bool

	Depth Depth // empty where the run is too long to keep

	View View // empty where the run is too long to keep

	Layout Layout  // of a run in which focus walks
	Glance Glance  // of a short run
	Stills []Still // of a run of four frames and fewer: each by itself

	PerFrame []FrameSummary // one for each frame added
}

// A FrameSummary is what is kept of a frame once its run is judged.
type FrameSummary struct {
	Measured bool
	EV       float64 // brightness against the run's median frame beyond the settings; 0 where not known
	Clipped  float64 // share of the picture under 4 or over 250 code values
	// Sharpness is the mean of the focus measure over the picture, code values².
	Sharpness float64
	// Sharpest is the share of the textured tiles that are sharpest here.
	Sharpest float64
	// ShiftX and ShiftY are px, Scale the change of scale, from the first frame.
	ShiftX, ShiftY, Scale float64
	// Rotation is in radians, from the first frame too.
	Rotation float64
	// Chain is the same for frames that were placed one by another: it is one more from
	// each frame on that could not be placed by the ones before.
	Chain int
}

// Walk reports whether the sharp zone walks through the run: Found means that
// focus moves (a focus sequence), Fine that it stands (an interval sequence).
type Walk struct {
	Verdict
	Share float64 // textured tiles among those with detail
	Rise  float64 // median ratio of their sharpest to their softest frame
}

// An Edge reports on one end of a focus sequence. Found means that part of the
// textured area was still getting sharper towards the end frame: report that,
// and not that the subject is not covered. What lies farther beyond the end
// than some two half widths cannot be distinguished from background and is not
// seen.
type Edge struct {
	Verdict
	Frame   int     // the end frame
	Share   float64 // of the textured tiles
	Tiles   int
	Cluster int     // tiles in the largest connected patch
	Box     Box     // around that patch
	More    float64 // how many more frames it would take at least: for nine in ten of these tiles
	// Curve is the mean sharpness of these tiles, frame by frame, as in Depth.
	Curve []float64
}

// Step reports how far focus moves per frame. Found means more than the limit, and
// CannotTell that it may be more or less, or that nothing is known.
type Step struct {
	Verdict
	// Blur is by how much the diameter of the blur disk grows per frame, px; 0 where
	// nothing is known. Half-way between two frames the disk is Blur/2.
	Blur float64
	// Low and High bound it: a factor of 2 to either side, or less where the pictures
	// were inspected again, see [TestRun.Step].
	Low, High float64
}

// Signature reports what registration sees of focusing.
type Signature struct {
	// Kind is "scale" or "drift"; empty where focusing shows in neither.
	Kind string
	// PerFrame is the typical change per frame: of scale, or px of drift.
	PerFrame float64
	// Strength is the ratio of PerFrame to the noise.
	Strength float64
}

// Jumps reports steps much larger than their neighbours. Without a missing file
// it may be an uneven motor, so it is not a fault alone.
type Jumps struct {
	Verdict
	Events []Jump
}

// A Jump is one large step.
type Jump struct {
	From, To int
	Ratio    float64 // of the neighbours' step; Ratio-1 frames may be missing
	Weak     bool    // among the first or last two, where starting motors are uneven
}

// Stalls reports steps without movement.
type Stalls struct {
	Verdict
	Events []Stall
}

// A Stall is a stretch of frames at one focus.
type Stall struct {
	From, To  int
	Identical bool // the pictures are bit-identical: one file twice
}

// Habit reports ways of focusing that are the run's own, and no fault.
type Habit struct {
	// Pairs means that two frames were taken at every position of focus. Step is then
	// that from one position to the next.
	Pairs bool
	// Outwards are the frames in the order of focus where the run was made from a middle
	// to both sides, nearer and farther in turn or one side first: First and Last are
	// the ends of that order, Jumps, Order and Step what it shows. Nil for other runs.
	Outwards []int
}

// Order reports focus that goes back.
type Order struct {
	Verdict
	Events []Reversal
}

// A ReversalKind is the way in which focus went back.
type ReversalKind string

// The kinds of reversal.
const (
	Swapped   ReversalKind = "swapped"   // two neighbours changed places
	Turned    ReversalKind = "turned"    // focus walked back, frame by frame
	Restarted ReversalKind = "restarted" // focus jumped back
	Revisited ReversalKind = "revisited" // a frame repeats the focus of an earlier one; the way there is not seen
)

// A Reversal is one stretch of frames over which focus goes back.
type Reversal struct {
	Kind     ReversalKind
	From, To int
	Back     float64 // about how many frames back; for Revisited the exact distance of the two frames
}

// Moved reports jumps of the picture beyond the drift of its neighbours.
type Moved struct {
	Verdict
	Events []Move
	// Doubtful are the frames up to which a jump of the limit's size could not be
	// distinguished from a shadow, a moving subject or a change of blur.
	Doubtful []int
	// Unmatched are the frames up to which the pictures do not match at all.
	Unmatched []int
}

// A Move is one jump of the picture.
type Move struct {
	From, To int
	Pixels   float64 // px
	Lasting  bool    // the picture stays where it jumped to
	// Lost means that the pictures do not match at all: a jump of more than some
	// 20 px, something before the lens, or focus far off.
	Lost bool
}

// Brightness reports light that jumps, flickers or walks. Values in EV assume
// the sRGB curve; a camera's own curve makes them larger: report them with
// "about".
type Brightness struct {
	Verdict
	Jumps   []Change // single jumps between neighbours, without dark frames
	Flicker float64  // share of neighbours that differ by more than the limit
	Typical float64  // median difference of neighbours, EV, without sign
	Most    float64  // largest difference of neighbours, EV, without sign
	Drift   float64  // range over which the smoothed brightness walks, EV
	// Jumping, Flickering and Drifting report which of the three is over its limit.
	Jumping, Flickering, Drifting bool
}

// A Change is a jump of brightness.
type Change struct {
	From, To int
	EV       float64 // positive: brighter
}

// Colour reports whether the colour of the pictures stays as it is. Found means that
// two frames lie farther apart than half a just noticeable difference: by another
// white balance, or because the subject or the lamps changed.
type Colour struct {
	Verdict
	// Shift is the largest distance of two frames' mean colours in a* and b*, at one
	// lightness.
	Shift float64
}

// Dark reports frames darker than the run.
type Dark struct {
	Verdict
	Events []DarkFrame
	All    bool // the pictures are black, all of them
}

// A DarkFrame is one of them.
type DarkFrame struct {
	Frame int
	EV    float64 // below the frames before or behind, beyond the settings; positive
	// Unrelated means that nothing of the picture matches its neighbours. A cap or
	// a hand in front of the lens has the same effect.
	Unrelated bool
}

// Soft reports single frames softer than their neighbours lead to expect: a
// shaken frame. Of shakes under 2.5 px half are seen; first and last frames never.
type Soft struct {
	Verdict
	Events []SoftFrame
}

// A SoftFrame is one of them.
type SoftFrame struct {
	Frame int
	Loss  float64 // of the focus measure, 0 to 1 (median of the tiles)
	Tiles int
}
