//go:build !linux

package main

// maxrssUnit is what the system counts memory in, in bytes: macOS says so in
// getrusage(2).
const maxrssUnit = 1
