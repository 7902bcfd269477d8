package shoot

import "time"

// Options steer how frames are grouped. The zero value is good for any folder.
type Options struct {
	// SessionGap is the time without a frame that ends a session; 0 means
	// [DefaultSessionGap].
	SessionGap time.Duration
	// Support declares what held the camera; SupportAuto lets each sequence tell.
	Support Support
}

// DefaultSessionGap is long enough for a lunch and a light change, and shorter
// than the time between two shoots of one day.
const DefaultSessionGap = 3 * time.Hour
