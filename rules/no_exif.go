package rules

import (
	"fmt"

	"prestrike/audit"
	"prestrike/audit/shoot"
)

var noExif = &audit.Rule{
	ID:       "no-exif",
	Title:    "No capture data",
	Severity: audit.Check,
	AtOnce:   true,
	Doc: `Finds pictures that record nothing of how and when they were made.

Nearly every check needs that data: without it a frame cannot be placed in time, and
no change of settings would be found. Edited, exported and messaged copies lose it.

Check whether these are the files the camera wrote. If the originals are on the card,
copy them.

The finding is wrong for pictures that no camera made, such as drawings kept with the
frames.`,
	Source: "CIPA DC-008 (Exif); common practice",
	Check:  checkNoExif,
}

func checkNoExif(v *audit.Review) error {
	q := v.Sequence
	var bare []*shoot.Frame
	for _, f := range q.Frames {
		if f.Readable() && !f.Meta().HasExif {
			bare = append(bare, f)
		}
	}
	if len(bare) == 0 {
		return nil
	}
	have, action := "has", "check whether this is the camera's own file; if not, copy the original from the card"
	if len(bare) > 1 {
		have, action = "have", "check whether these are the camera's own files; if not, copy the originals from the card"
	}
	v.Found(audit.Finding{
		Message: fmt.Sprintf("%s %s no capture data", shoot.FrameRanges(q.Frames, bare), have),
		Action:  action,
		Frames:  bare,
	})
	return nil
}
