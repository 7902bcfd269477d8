//go:build !unix

package safefile

// noWait is of no use where folders hold no pipes.
const noWait = 0
