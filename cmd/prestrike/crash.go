package main

import (
	"os"

	"prestrike/exifread"
)

// What fails at one file, one sequence or one rule is told with that. A fault anywhere
// else ends the program, and here it gets a sentence and the status of what could not
// be audited: the language's own status of a crash, 2, means that something must be
// shot again. Out of reach is what the language ends the program for without asking,
// such as memory that is used up or two goroutines that write one map.

// crashed says that the program failed at the value of a panic. It is called by the
// function that recovered it.
func (c *console) crashed(v any) int {
	c.remark("%s: not everything was judged", exifread.Failure(v))
	return statusNotAudited
}

// guard is deferred by every goroutine of the program, as a panic in any of them ends
// it whatever main does.
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
	exit(c.crashed(v))
}
