//go:build !windows

package main

import (
	"os"
	"runtime"

	"golang.org/x/term"
)

// startedByIcon reports how the program was started: a desktop starts it without a
// terminal, and what it prints goes nowhere.
func startedByIcon() icon {
	for _, f := range []*os.File{os.Stdin, os.Stdout, os.Stderr} {
		if term.IsTerminal(int(f.Fd())) || !unseen(f) {
			return noIcon
		}
	}
	if !desktopThere(runtime.GOOS, os.Getenv) {
		return noIcon
	}
	return iconAlone
}
