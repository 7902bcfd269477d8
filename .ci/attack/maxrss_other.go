//go:build !linux

package main

// maxrssUnit is what the system counts memory in, in bytes (macOS documents it in
// getrusage(2)).
const maxrssUnit = 1
