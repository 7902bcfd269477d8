package audit

import "time"

// Options steer an audit. The zero value is good for any folder, once Rules
// are given.
type Options struct {
	// Rules are run in this order, which is also that of the report.
	Rules []*Rule
	// SessionGap is the time without a frame that ends a session; 0 means
	// [DefaultSessionGap].
	SessionGap time.Duration
	// PlannedFrames is the number of frames each focus, interval or series
	// sequence should have; 0 where no number was planned.
	PlannedFrames int
	// Support declares what held the camera; SupportAuto lets each sequence tell.
	Support Support
	// Params are rule parameters that differ from their defaults, by rule
	// and name.
	Params map[string]map[string]float64
	// Severities are severities that differ from the rules' own, by rule.
	Severities map[string]Severity
	// Off are the rules not to be run.
	Off map[string]bool
}

// DefaultSessionGap is long enough for a lunch and a light change, and shorter
// than the time between two shoots of one day.
const DefaultSessionGap = 3 * time.Hour

// A Result is the outcome of an audit.
type Result struct {
	Sessions []*Session
	Verdict  Verdict // the worst of the sessions
	Files    FileCounts
}

// FileCounts says what became of every file that was met.
type FileCounts struct {
	Read       int     // picture files read
	Frames     int     // frames they make
	Other      int     // files that are no pictures, passed over
	Unreadable []*File // picture files from which no picture can be read
}
