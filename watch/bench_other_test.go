//go:build !unix

package watch

import "time"

// cpuTime is not measured here.
func cpuTime() time.Duration { return 0 }
