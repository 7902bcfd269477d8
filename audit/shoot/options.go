package shoot

import "time"

// Options steer how frames are grouped. The zero value is good for any folder.
type Options struct {
	// SessionGap is the time without a frame that ends a session; 0 means
	// [DefaultSessionGap].
	SessionGap time.Duration
	// Support declares how the camera was held; SupportAuto decides for each sequence.
	Support Support
}

// DefaultSessionGap is long enough for a lunch and a light change, and shorter
// than the time between two shoots of one day.
const DefaultSessionGap = 3 * time.Hour
