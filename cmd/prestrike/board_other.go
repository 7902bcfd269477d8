//go:build !unix

package main

// boardSignals returns a function that does nothing: the signals that end the program
// reach it as the end of the watch.
func boardSignals(*console, *bigBoard) (end func()) { return func() {} }
