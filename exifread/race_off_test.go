//go:build !race

package exifread_test

const slowdown = 1
