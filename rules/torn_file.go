package rules

import (
	"fmt"
	"math"
	"slices"

	"prestrike/audit"
	"prestrike/audit/pixels"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/exifread"
	"prestrike/rules/evidence"
)

var tornFile = &audit.Rule{
	ID:       "torn-file",
	Title:    "Damaged files",
	Severity: audit.Reshoot,
	AtOnce:   true,
	Doc: `Finds files that hold only a part of their picture: the image data ends early, or lies
beyond the end of the file. Some formats do not show that. There, a file under half the size
of at least five neighbours of the same format, pixel size and exposure is a sign. As it is
the only one, the finding is a check. Where pictures are inspected, JPEG files that cannot
be decoded to their end are found, too.

Part of the picture is grey or wrong. It happens when the card is pulled out, or the
battery dies, while the camera still writes, and when a copy breaks off.

Copy the file again from the card. If that does not help, shoot again. A file that was
still being written when a watch ended is named, and is a check: wait for it.

The finding is wrong for black or blank frames, where only the size is the sign.`,
	Source: "structure: ITU-T T.81 (JPEG) and TIFF 6.0; size: common practice",
	Params: []audit.Param{
		{
			Name:    "size",
			Doc:     "a file under this share of its neighbours' median size is suspicious",
			Default: 0.5, Min: 0, Max: 1,
		},
		{
			Name: "neighbours", Unit: "files",
			Doc:     "this many neighbours are needed to compare sizes with",
			Default: 5, Min: 3, Max: 10,
		},
		{
			Name: "alike", Unit: "EV",
			Doc:     "neighbours with a larger difference of exposure time, f-number or ISO are not compared",
			Default: 1, Min: 0, Max: 10,
		},
	},
	Check: checkTornFile,
}

func checkTornFile(v *audit.Review) error {
	q := v.Sequence
	var list, coming trouble
	for _, f := range q.Frames {
		for i, file := range f.Files {
			if file.Unfinished {
				coming.add(remark{frame: f, file: file, severity: audit.Check, action: "wait until it is copied, then run the report again"})
				continue
			}
			if file.Err != nil || file.Meta.Integrity.State != exifread.IntegrityTorn {
				continue
			}
			r := remark{frame: f, file: file, severity: audit.Reshoot, reason: file.Meta.Integrity.Reason, action: copyAgain(q)}
			if i > 0 && f.HasRaw() && f.Files[0].Err == nil && f.Files[0].Meta.Integrity.State != exifread.IntegrityTorn {
				r.severity = audit.Check
				r.action = "copy it from the card again; the raw file of the frame is there"
			}
			list.add(r)
		}
	}
	list.report(v, "is not complete", "are not complete")
	coming.title = "Files not complete yet"
	coming.report(v, "is not complete yet", "are not complete yet")
	reportDamaged(v)
	reportSmall(v)
	return nil
}

// reportDamaged reports the JPEG files of a run whose pictures cannot be decoded to
// their end. That they are many, or all, is no excuse: a decoder that fails at a kind of
// file does not call it damaged.
func reportDamaged(v *audit.Review) {
	q := v.Sequence
	p, ok := v.Pictures.(*pixels.Seen)
	if !ok {
		return
	}
	var lost, raw []*shoot.Frame
	for i, f := range q.Frames {
		switch {
		case p.Missing[i] != pixels.DamagedFile:
		case f.HasRaw():
			raw = append(raw, f)
		default:
			lost = append(lost, f)
		}
	}
	report := func(frames []*shoot.Frame, severity audit.Severity, action string) {
		if len(frames) > 0 {
			v.Found(audit.Finding{
				Severity: severity,
				Message:  "the picture of " + shoot.FrameRanges(q.Frames, frames) + " is damaged: it cannot be decoded to its end",
				Action:   action,
				Frames:   frames,
			})
		}
	}
	report(lost, audit.Reshoot, copyAgain(q))
	report(raw, audit.Check, "copy it from the card again; the raw file of the frame is there")
}

// reportSmall finds files of a format that does not show whether it is
// complete, and that are far smaller than their neighbours.
func reportSmall(v *audit.Review) {
	type class struct {
		format        exifread.Format
		width, height uint32
	}
	type entry struct {
		at   int // in the sequence
		file *shoot.File
	}
	classes := map[class][]entry{}
	var order []class
	for at, f := range v.Sequence.Frames {
		for _, file := range f.Files {
			if file.Unfinished || file.Err != nil || file.Meta.Integrity.State == exifread.IntegrityTorn {
				continue
			}
			c := class{file.Meta.Format, file.Meta.Width.Or(0), file.Meta.Height.Or(0)}
			if classes[c] == nil {
				order = append(order, c)
			}
			classes[c] = append(classes[c], entry{at, file})
		}
	}
	var small []entry
	worst := math.Inf(1)
	for _, c := range order {
		files := classes[c]
		for i, e := range files {
			if e.file.Meta.Integrity.State != exifread.IntegrityUnchecked {
				continue
			}
			var sizes []int64
			for j := max(0, i-sizeReach); j < min(len(files), i+1+sizeReach); j++ {
				if j != i && evidence.ExposedAlike(e.file.Meta, files[j].file.Meta, v.Param("alike")) {
					sizes = append(sizes, files[j].file.Size)
				}
			}
			if float64(len(sizes)) < v.Param("neighbours") {
				continue
			}
			slices.Sort(sizes)
			median := sizes[len(sizes)/2]
			if median <= 0 {
				continue
			}
			if share := float64(e.file.Size) / float64(median); share < v.Param("size") {
				worst = min(worst, share)
				small = append(small, e)
			}
		}
	}
	if len(small) == 0 {
		return
	}
	slices.SortStableFunc(small, func(a, b entry) int { return a.at - b.at })
	var frames []*shoot.Frame
	var names []string
	for _, e := range small {
		names = append(names, shoot.ShortName(e.file.Name()))
		if f := v.Sequence.Frames[e.at]; len(frames) == 0 || frames[len(frames)-1] != f {
			frames = append(frames, f)
		}
	}
	are := "is"
	if len(small) > 1 {
		are = "are"
	}
	v.Found(audit.Finding{
		Severity: audit.Check, Title: "File may be damaged",
		Message:  fmt.Sprintf("%s %s under half the size of neighbouring frames", words.List(names, mostNamed), are),
		Action:   "inspect the whole picture; if part of it is missing, copy it again or shoot again",
		Frames:   frames,
		Measured: exifread.Of(worst), Limit: exifread.Of(v.Param("size")),
	})
}

// sizeReach is how many files on either side are neighbours: the size of
// compressed pictures changes through a sequence as focus moves.
const sizeReach = 5
