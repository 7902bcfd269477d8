//go:build !(darwin || freebsd || openbsd || netbsd || dragonfly)

package watch

// fileLimit is the number of files up to which events are asked for, 0 for no
// limit. Here a watch costs the same however many files its folder holds.
const fileLimit = 0
