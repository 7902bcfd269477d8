//go:build unix

package proof

import (
	"syscall"
	"time"
)

// cpuTime is what the program has taken of the processors so far. Unlike a
// clock it does not run on while others have them.
func cpuTime() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		panic(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
