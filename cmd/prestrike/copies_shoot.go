package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"path"
	"slices"
	"strings"

	"prestrike/audit/copies"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
	"prestrike/exifread"
)

// A copiesResult is what prestrike copies has to report.
type copiesResult struct {
	*copies.Answer
	names    []string // the folders as they were given
	manifest string   // the file that takes the place of the card; else empty
	// unwritten is why the manifest of the card was not written; nil where it was, or
	// none was asked for.
	unwritten error

	place   map[string]framePlace // by path on the card
	damaged []damagedFile
	gaps    map[*copies.Copy][]string // what is in no folder of a copy that has the card twice
}

// A framePlace is where in the shoot a file belongs.
type framePlace struct {
	sequence *shoot.Sequence
	frame    *shoot.Frame
}

type damagedFile struct{ path, reason string }

// readShoot finds the sequences of the card, and the pictures on it that are
// damaged.
func (r *copiesResult) readShoot(ctx context.Context, c *console, quiet bool, card string) error {
	line := c.newProgress(quiet, "reading", "searching frames")
	collection, err := shoot.Collect(ctx, []string{card}, line.tell)
	line.end()
	if ctx.Err() != nil {
		return ctx.Err()
	}
	r.place = map[string]framePlace{}
	if err != nil { // no picture is there, or no folder: the comparison reports it
		return nil
	}
	for _, f := range collection.Files {
		if reason := damage(f); reason != "" && f.Size > 0 {
			r.damaged = append(r.damaged, damagedFile{f.Path, reason})
		}
	}
	for _, session := range shoot.Group(collection.Files, &shoot.Options{}) {
		for _, q := range session.Sequences {
			for _, frame := range slices.Concat(q.Frames, q.Merged) {
				for _, same := range append([]*shoot.Frame{frame}, frame.Copies...) {
					for _, f := range same.Files {
						r.place[f.Path] = framePlace{q, frame}
					}
				}
			}
		}
	}
	return nil
}

// damage reports what is wrong with a picture; empty for one that is sound or that is
// of a kind that is not read.
func damage(f *shoot.File) string {
	if format, ok := errors.AsType[*exifread.FormatError](f.Err); ok {
		return format.Error()
	}
	if errors.Is(f.Err, exifread.ErrNotPicture) {
		return f.Err.Error()
	}
	if f.Err == nil && f.Torn() {
		return f.Meta.Integrity.Reason
	}
	return ""
}

// placeOf returns where a file of the card belongs. A sidecar belongs where the
// frame of its name does.
func (r *copiesResult) placeOf(file string) (framePlace, bool) {
	if p, ok := r.place[file]; ok {
		return p, true
	}
	stem := strings.TrimSuffix(file, path.Ext(file))
	for _, other := range []string{stem, stem + ".JPG", stem + ".jpg"} { // BX1_0001.NEF.xmp, BX1_0001.xmp
		if p, ok := r.place[other]; ok {
			return p, true
		}
	}
	return framePlace{}, false
}

// A sequenceGroup is faults of one sequence, or of files that are in none.
type sequenceGroup struct {
	sequence *shoot.Sequence // nil for files that are in none
	frames   []*shoot.Frame  // in the order of the sequence
	faults   []copies.Fault
}

// bySequence groups faults by sequence, in the order of the sequences' ids as
// they come; files that are in none come last.
func (r *copiesResult) bySequence(faults []copies.Fault) []*sequenceGroup {
	at := map[*shoot.Sequence]*sequenceGroup{}
	var groups []*sequenceGroup
	for _, f := range faults {
		p, _ := r.placeOf(f.File.Path)
		g := at[p.sequence]
		if g == nil {
			g = &sequenceGroup{sequence: p.sequence}
			at[p.sequence] = g
			groups = append(groups, g)
		}
		g.faults = append(g.faults, f)
		if p.frame != nil && !slices.Contains(g.frames, p.frame) {
			g.frames = append(g.frames, p.frame)
		}
	}
	slices.SortStableFunc(groups, func(a, b *sequenceGroup) int {
		switch {
		case a.sequence == nil && b.sequence != nil:
			return 1
		case b.sequence == nil && a.sequence != nil:
			return -1
		case a.sequence == nil:
			return 0
		}
		return a.sequence.Start().Compare(b.sequence.Start())
	})
	for _, g := range groups {
		if g.sequence != nil {
			slices.SortFunc(g.frames, func(a, b *shoot.Frame) int {
				return slices.Index(g.sequence.Frames, a) - slices.Index(g.sequence.Frames, b)
			})
		}
	}
	return groups
}

// String names the group: "1.2 frames 0043 to 0045".
func (g *sequenceGroup) String() string {
	if g.sequence == nil {
		var names []string
		for _, f := range g.faults {
			names = append(names, shoot.QuotedName(path.Base(f.File.Path)))
		}
		return words.List(names, 3)
	}
	return g.sequence.ID + " " + shoot.FrameRanges(g.sequence.Frames, g.frames)
}

// twinFiles is how many files are read to find what is in no folder: beyond it,
// a copy is an archive of many shoots.
const twinFiles = 20_000

// findGaps finds numbers of a body that are in no folder of a copy that holds the
// card twice: another card may have been meant. Numbers alone are no sign, as
// frames are deleted on the set.
func (r *copiesResult) findGaps(ctx context.Context, c *console, quiet bool) error {
	r.gaps = map[*copies.Copy][]string{}
	for _, dir := range r.Copies {
		if len(dir.Twice) == 0 {
			continue
		}
		top := commonFolder(dir.Twice[0], dir.Twice[1])
		n := 0
		for _, f := range dir.Files {
			if top == "." || strings.HasPrefix(f.Path, top+"/") {
				n++
			}
		}
		if n > twinFiles {
			continue
		}
		line := c.newProgress(quiet, "reading", "searching frames")
		collection, err := shoot.Collect(ctx, []string{dir.Path + "/" + top}, line.tell)
		line.end()
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err == nil {
			r.gaps[dir] = numberGaps(shoot.Group(collection.Files, &shoot.Options{}))
		}
	}
	return nil
}

func commonFolder(a, b string) string {
	x, y := strings.Split(a, "/"), strings.Split(b, "/")
	n := 0
	for n < len(x) && n < len(y) && x[n] == y[n] {
		n++
	}
	return path.Clean(strings.Join(x[:n], "/"))
}

// numberGaps returns the numbers between a body's first and last that no frame
// has, the longest run of them first: "frames 0101 to 0200 of the Borealis BX-1".
func numberGaps(sessions []*shoot.Session) []string {
	type counter struct{ body, prefix string }
	numbers := map[counter][]int{}
	labels := map[counter]map[int]string{}
	for _, s := range sessions {
		for _, q := range s.Sequences {
			for _, f := range slices.Concat(q.Frames, q.Merged) {
				if !f.Number.Known {
					continue
				}
				label := f.Number.Label()
				prefix, _, _ := strings.Cut(f.Name(), label)
				key := counter{strings.TrimSpace(f.Body.Make + " " + f.Body.Model + " " + f.Body.Serial), prefix}
				if labels[key] == nil {
					labels[key] = map[int]string{}
				}
				if labels[key][f.Number.N] == "" {
					labels[key][f.Number.N] = label
					numbers[key] = append(numbers[key], f.Number.N)
				}
			}
		}
	}
	type gap struct {
		length int
		text   string
	}
	var gaps []gap
	for key, list := range numbers {
		slices.Sort(list)
		for i := 1; i < len(list); i++ {
			from, to := list[i-1]+1, list[i]-1
			if from > to {
				continue
			}
			width := len(labels[key][list[i-1]])
			which := fmt.Sprintf("frames %0*d to %0*d", width, from, width, to)
			switch to - from {
			case 0:
				which = fmt.Sprintf("frame %0*d", width, from)
			case 1:
				which = fmt.Sprintf("frames %0*d and %0*d", width, from, width, to)
			}
			gaps = append(gaps, gap{to - from, which + " of the " + key.body})
		}
	}
	slices.SortFunc(gaps, func(a, b gap) int { return cmp.Or(cmp.Compare(b.length, a.length), cmp.Compare(a.text, b.text)) })
	var texts []string
	for _, g := range gaps {
		texts = append(texts, g.text)
	}
	return texts
}
