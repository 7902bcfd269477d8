package main

import (
	"os"
	"runtime/debug"

	"prestrike/exifread"
)

// What fails at one file, one sequence or one rule is reported with that. A fault anywhere
// else ends the program, and here it gets a sentence and the status of what could not
// be audited: the language's own status of a crash, 2, means that something must be
// shot again.

// crashesAreSignals has what cannot be recovered, such as memory that is used up, two
// goroutines that write one map at once, or a panic in a goroutine of a library, end
// the program by a signal, SIGABRT, in place of status 2. No sentence can be had then,
// and all goroutines are listed.
func crashesAreSignals() { debug.SetTraceback("crash") }

// crashed reports that the program failed at the value of a panic. It is called by the
// function that recovered it.
func (c *console) crashed(v any) int {
	c.takeDown()
	c.remark("%s: not everything was judged", exifread.Failure(v))
	return statusNotAudited
}

// guard is deferred by goroutines, as a panic in any of them ends the program whatever
// main does.
func (c *console) guard() {
	if v := recover(); v != nil {
		c.failed(v)
	}
}

// failed ends the program from another goroutine than main's.
func (c *console) failed(v any) {
	exit := c.exit
	if exit == nil {
		exit = os.Exit
	}
	code := c.crashed(v)
	c.leave(code)
	exit(code)
}
