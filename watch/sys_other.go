//go:build !linux && !darwin && !freebsd && !dragonfly && !windows

package watch

// silent returns a name for dir's file system if it does not send an event for
// every change. It is not known here, so every folder is listed as well.
func silent(string) string { return "this file system" }
