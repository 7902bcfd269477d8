package rules

import (
	"fmt"

	"prestrike/audit"
	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var clippedLights = &audit.Rule{
	ID:       "clipped-lights",
	Title:    "Highlights clipped to white",
	Severity: audit.Note,
	Shows:    audit.ShowDetail,
	Doc: `Inspects the pictures of focus sequences. Finds those in which more of the textured area is
clipped to white than in the others with the same camera, lens and settings.

A lamp is closer, a flash gives more light, or a smooth part reflects the lamp. What is
white in all frames has no texture in the merged picture.

Inspect the frame named at 100 %. If texture is missing where you need it, move or dim the
light, and shoot the sequence again.

The finding is a note, as highlights on a shiny subject are ordinary, and large ones may be
meant. The pictures inspected are JPEG files and the previews of raw files. A raw file holds
more light than its preview, by about 1 EV: develop it darker to see what is lost. The
textured area is where a frame shows detail, and what lies inside it. A white background and
its edge do not count: what is white up to the border of the picture is not found. There is
one exception: more than half of the picture is white, and in the other sequences it is not.
A sequence without clipped parts is fine without others to compare it with.`,
	Source: "the upper end of the scale: common practice; the shares: counted on rendered sessions; the margin of raw files: from memory",
	Params: []audit.Param{
		{
			Name: "share", Doc: "the share of the textured area that may be clipped beside what the others have, times the next value",
			Default: 0.005, Min: 0, Max: 1,
		},
		{
			Name: "times", Doc: "this many times what the others usually have is ordinary",
			Default: 5, Min: 1, Max: 100,
		},
		{
			Name: "sisters", Unit: "sequences", Doc: "this many others must have been inspected",
			Default: 2, Min: 1, Max: 2 * sisterReach,
		},
	},
	Check: checkClippedLights,
}

// lightsBlank is the share of the picture that must be white where too little texture is left
// to count. In ordinary pictures texture is found with less.
const lightsBlank = 0.5

func checkClippedLights(v *audit.Review) error {
	if !stack(v.Sequence) {
		return nil
	}
	j := evidence.Shows(v)
	if j == nil {
		return nil
	}
	l := &j.Lights
	of, share, allowed, shareOf := "textured area", l.Share, v.Param("share"), texturedShare
	if l.Answer == pixels.CannotTell {
		of, share, allowed, shareOf = "picture", l.White, lightsBlank, whiteShare
	}
	if share <= allowed {
		evidence.Tells(v, l.Verdict)
		return nil
	}
	others := sisterLights(v, shareOf)
	if float64(len(others)) < v.Param("sisters") {
		v.Unjudged("part of the picture is clipped to white, and too few other sequences of these settings were inspected to compare it with")
		return nil
	}
	usual := pixels.UsualLights(others)
	limit := allowed + v.Param("times")*usual
	if share <= limit {
		if l.Answer == pixels.CannotTell {
			v.Unjudged(l.Reason)
		}
		return nil
	}
	f := v.Sequence.Frames[l.Frame]
	where, action := "", fmt.Sprintf("inspect %s there at 100 %%", f.Label())
	if f.HasRaw() {
		action += ", developed 1 EV darker"
	}
	if !evidence.HasPicture(f) {
		where = " in the preview"
	}
	v.Found(audit.Finding{
		Message: fmt.Sprintf("%s %% of the %s is clipped to white%s (largest patch: %s), where the %d other sequences with these settings usually have %s %%",
			twoFigures(100*share), of, where, partOf(f, l.Box), len(others), twoFigures(100*usual)),
		Action:   action + "; if texture is missing, move or dim the light and shoot the sequence again",
		Frames:   v.Sequence.Frames,
		Closest:  []*shoot.Frame{f},
		Region:   audit.Region(l.Box),
		Measured: exifread.Of(100 * share), Limit: exifread.Of(100 * limit), Unit: "%",
	})
	return nil
}

// texturedShare returns the share of the textured area that is clipped, where that is known.
func texturedShare(l *pixels.Lights) (float64, bool) { return l.Share, l.Answer != pixels.CannotTell }

// whiteShare returns the share of the whole picture that is clipped.
func whiteShare(l *pixels.Lights) (float64, bool) {
	return l.White, l.Answer != pixels.CannotTell || l.White > 0
}

// sisterLights returns which shares are clipped in the other sequences of the camera, lens and
// settings, up to sisterReach on either side.
func sisterLights(v *audit.Review, shareOf func(*pixels.Lights) (float64, bool)) []float64 {
	var shares []float64
	before, behind := sisters(v.Session.Sequences, v.Sequence)
	for _, o := range append(before, behind...) {
		p, ok := v.Pictured[o].(*pixels.Seen)
		if !ok || !evidence.SameSettings(o, v.Sequence) {
			continue
		}
		if share, known := shareOf(&p.Judgement.Lights); known {
			shares = append(shares, share)
		}
	}
	return shares
}
