package main

import (
	"github.com/inconshreveable/mousetrap"
	"github.com/spf13/cobra"
)

// The library would end the program with a text of its own.
func init() { cobra.MousetrapHelpText = "" }

// startedByIcon reports how the program was started: its window closes when it ends.
func startedByIcon() icon {
	if mousetrap.StartedByExplorer() {
		return iconWindow
	}
	return noIcon
}
