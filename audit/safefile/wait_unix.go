//go:build unix

package safefile

import "syscall"

// noWait has opening a pipe return at once. It changes nothing for an ordinary
// file (POSIX.1-2017, open).
const noWait = syscall.O_NONBLOCK
