//go:build darwin || freebsd || openbsd || netbsd || dragonfly

package watch

// fileLimit is the number of files up to which events are asked for, 0 for no
// limit. Each file of a watched folder takes a descriptor here; this leaves
// most of the 10,240 or more that a process usually may open to the reading
// of files.
const fileLimit = 8192
