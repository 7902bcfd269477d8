package main

import (
	"errors"
	"fmt"
	"os"
	"runtime/debug"
	"strings"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/audit/words"

	"github.com/spf13/cobra"
)

// gather reads what the frames in folders recorded. What could not be read is remarked; that
// there is no frame at all is an error.
func gather(cmd *cobra.Command, c *console, quiet bool, folders []string) (*shoot.Collection, error) {
	line := c.newProgress(quiet, "reading", "searching frames")
	collection, err := shoot.Collect(cmd.Context(), folders, line.tell)
	line.end()
	if err != nil {
		return nil, err
	}
	for _, problem := range collection.Problems {
		c.remark("%s", problem)
	}
	if len(collection.Files) == 0 {
		return nil, nothingToRead(folders, collection)
	}
	return collection, nil
}

// judgeFolder gathers a folder and judges it, for a command that needs all of its answers.
func judgeFolder(cmd *cobra.Command, c *console, folder string, opt *audit.Options) (*audit.Result, error) {
	folders := []string{folder}
	collection, err := gather(cmd, c, false, folders)
	if err != nil {
		return nil, err
	}
	defer limitMemory(len(collection.Files), opt.Pixels != audit.PixelsOff)()
	measurePictures(c, false, false, folders, opt)
	return audit.Judge(cmd.Context(), collection, opt)
}

// limitMemory has garbage collected as often as it takes to stay within 40 MiB and
// 3 KiB a frame, and 256 MiB more where pictures are decoded. All that is read of a
// large card is in use until the end, so that main's setting alone would let
// garbage take twice that again. It returns what takes the limit back.
func limitMemory(files int, decoding bool) func() {
	if os.Getenv("GOMEMLIMIT") != "" {
		return func() {}
	}
	limit := int64(40<<20) + 3<<10*int64(files)
	if decoding {
		limit += 256 << 20
	}
	before := debug.SetMemoryLimit(limit)
	return func() { debug.SetMemoryLimit(before) }
}

// nothingToRead reports what to do where no picture file was found.
func nothingToRead(folders []string, c *shoot.Collection) error {
	what := "no picture files in " + strings.Join(folders, ", ")
	if c.Other > 0 {
		what += " (" + words.Count(c.Other, "other file", "other files") + ")"
	}
	if len(c.Unfinished) > 0 {
		return fmt.Errorf("%s is not complete yet, and there are %s: wait until the copy is complete, then run this again", c.Unfinished[0], what)
	}
	if len(c.Problems) > 0 {
		return errors.New("nothing was read: see above")
	}
	return errors.New(what + ": name the folder that the frames are in, or one above it, such as the card's")
}
