package watch

import "time"

// How often a tree at rest is inspected.
const (
	// checks that find nothing to list take at most one part in checkShare of
	// the time, or pollShare where there are no events, but come every
	// slowestCheck at least, or slowestPoll. The watched folder itself is always
	// checked: a camera that goes is to be noticed.
	checkShare   = 4000
	pollShare    = 300
	slowestCheck = 30 * time.Second
	slowestPoll  = 5 * time.Second
	// scans take at most one part in checkShare of the time, too, but come every
	// slowestScan times Options.Scan at least.
	slowestScan = 10
)

// pause returns how long to wait after a check that took so long.
func (t *tree) pause(every, spent time.Duration) time.Duration {
	idle := min(checkShare*spent, slowestCheck)
	if t.deaf || t.silent {
		idle = min(pollShare*spent, slowestPoll)
	}
	if t.listings != t.listed {
		t.listed, idle = t.listings, 0 // something happens
	}
	return max(every, idle, 2*spent)
}

// untilScan returns how long to wait after a scan that took so long.
func (t *tree) untilScan(spent time.Duration) time.Duration {
	return max(t.opts.Scan, min(checkShare*spent, slowestScan*t.opts.Scan))
}

// stands reports whether the watched folder is there as it was.
func (t *tree) stands() bool {
	d := t.dirs[t.root]
	return d != nil && !d.lost && t.identify(t.root) == d && !d.lost && !d.listed.IsZero()
}
