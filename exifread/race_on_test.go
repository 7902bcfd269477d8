//go:build race

package exifread_test

// slowdown is how much slower code runs than it would: the race detector costs
// up to a factor of 20 (its documentation states 2 to 20).
const slowdown = 20
