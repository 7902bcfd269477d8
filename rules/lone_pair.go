package rules

import (
	"fmt"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var lonePair = &audit.Rule{
	ID:       "lone-pair",
	Title:    "Raw or JPEG file missing",
	Severity: audit.Check,
	Shows:    audit.ShowNothing,
	Doc: `Finds raw files without their JPEG (or HEIF) and the reverse, where nearly all frames
of the camera in this session have both.

The missing partner was not copied, or the camera was switched off while it still wrote.

Search the card for the file before it is formatted, and copy it again.

Pictures that the camera merged from several others have no raw file, and are not
reported.

The finding is wrong where you deleted one of the two. Raw files that are missing from a
frame on are reported by size-change.`,
	Source: "CIPA DC-009 (DCF): files of one number are one object; common practice",
	Params: []audit.Param{
		{
			Name:    "habit",
			Doc:     "share of the camera's frames that must have both files",
			Default: 0.8, Min: 0.5, Max: 1,
		},
		{
			Name: "pairs", Unit: "frames",
			Doc:     "this many frames must have both files",
			Default: 5, Min: 1, Max: 1000,
		},
	},
	CheckSession: checkLonePair,
}

func checkLonePair(v *audit.Review) error {
	for _, body := range v.Session.Bodies {
		frames := evidence.FramesOf(v.Session, body)
		pairs := 0
		for _, f := range frames {
			if f.HasRaw() && evidence.HasPicture(f) {
				pairs++
			}
		}
		if float64(pairs) < v.Param("pairs") || float64(pairs) < v.Param("habit")*float64(len(frames)) {
			continue
		}
		reported := map[*shoot.Frame]bool{} // by size-change
		for _, q := range v.Session.Sequences {
			if q.Body != body || q.Kind == shoot.Single {
				continue
			}
			lacking, _ := evidence.FileChange(q, v.ParamOf("size-change", evidence.Block))
			for _, f := range lacking {
				reported[f] = true
			}
		}
		var noRaw, noPicture []*shoot.Frame
		for _, f := range frames {
			switch {
			case reported[f] || mergedInCamera(f):
			case !f.HasRaw():
				noRaw = append(noRaw, f)
			case !evidence.HasPicture(f):
				noPicture = append(noPicture, f)
			}
		}
		for _, lone := range []struct {
			frames []*shoot.Frame
			what   string
		}{{noRaw, "raw file"}, {noPicture, "JPEG or HEIF"}} {
			n := len(lone.frames)
			if n == 0 {
				continue
			}
			have := "has"
			if n > 1 {
				have = "have"
			}
			v.Found(audit.Finding{
				Message: fmt.Sprintf("%s%s %s no %s; %d of %d frames have both",
					shoot.FrameRanges(frames, lone.frames), ofBody(v.Session, body), have, lone.what, pairs, len(frames)),
				Action:   "search the card for the missing files, and copy them before it is formatted",
				Frames:   lone.frames,
				Measured: exifread.Of(float64(pairs) / float64(len(frames))), Limit: exifread.Of(v.Param("habit")),
			})
		}
	}
	return nil
}

// mergedInCamera reports whether the body made the picture of several others
// (CompositeImage 2 and 3): it has no raw file.
func mergedInCamera(f *shoot.Frame) bool { return f.Meta().CompositeImage.Or(0) > 1 }

// ofBody names the body where the session has several: " of the BX-1".
func ofBody(session *shoot.Session, body *shoot.Body) string {
	if len(session.Bodies) < 2 || body.Model == "" {
		return ""
	}
	name := shoot.ShortName(body.Model)
	if body.Serial != "" {
		for _, other := range session.Bodies {
			if other != body && other.Model == body.Model {
				return " of the " + name + " number " + shoot.ShortName(body.Serial)
			}
		}
	}
	return " of the " + name
}
