//go:build !unix

package exifread_test

import "time"

var started = time.Now()

// cpuTime is the clock where the system does not report the time of processors.
func cpuTime() time.Duration { return time.Since(started) }
