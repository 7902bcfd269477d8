package main

import (
	"bytes"
	"fmt"
	"path"
	"regexp"
	"strings"

	"prestrike/audit/copies"
	"prestrike/audit/report"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
)

// status returns the exit status.
func (r *copiesResult) status() status {
	bad := len(r.Unread()) > 0 || len(r.spoiled()) > 0
	for _, c := range r.Copies {
		bad = bad || len(c.Missing) > 0
	}
	for _, b := range r.Bags {
		bad = bad || len(b.Faults) > 0
	}
	switch {
	case bad:
		return statusReshoot
	case r.Card != nil && len(r.Card.Problems) > 0: // there may be more files
		return statusNotAudited
	}
	return statusGood
}

// remarks returns what asks for attention and does not by itself keep the card
// from being formatted.
func (r *copiesResult) remarks() []string {
	var list []string
	add := func(format string, args ...any) { list = append(list, fmt.Sprintf(format, args...)) }
	if r.Card != nil {
		disks := map[string][]string{}
		for _, c := range r.Copies {
			disks[c.Disk] = append(disks[c.Disk], r.short(c.Path))
		}
		for _, c := range r.Copies {
			on := disks[c.Disk]
			if on[0] != r.short(c.Path) {
				continue // it was named with the first one
			}
			switch {
			case c.Disk == "":
				add("which device %s on is not known: check that it is not that of the card, nor that of another copy", words.List(on, len(on))+words.Plural(len(on), " lies", " lie"))
			case c.Disk == r.Card.Disk:
				add("%s on one device with %s: what is lost with one is lost with the other", words.List(on, len(on))+words.Plural(len(on), " lies", " lie"), r.short(r.Card.Path))
			case len(on) > 1:
				add("%s lie on one device: if that fails, all of them are lost", words.List(on, len(on)))
			}
		}
		if len(r.Copies) == 1 {
			add("there is one copy: once the card is formatted, these files are only in %s", r.short(r.Copies[0].Path))
		}
		r.linkRemarks(r.Card, add)
		if n := cached(r.Needed); n > 0 {
			add("%s of %s may have come from the memory of this computer: take the card out, put it in again, and run this once more", files(n), r.short(r.Card.Path))
		}
	}
	for _, c := range r.Copies {
		name := r.short(c.Path)
		if c.Same > 0 {
			add("%s of %s %s: a hard link is no copy", files(c.Same), name,
				words.Plural(c.Same, "is a hard link to a file of the card or of an earlier copy", "are hard links to files of the card or of an earlier copy"))
		}
		if n := cached(c.Files); n > 0 {
			add("%s of %s may have come from the memory of this computer: take the disk out, put it in again, and run this once more", files(n), name)
		}
		if len(c.Twice) > 0 {
			text := fmt.Sprintf("%s holds all of this card twice, in %s and in %s", name, c.Twice[0], c.Twice[1])
			if gaps := r.gaps[c]; len(gaps) > 0 {
				shown := gaps[:min(len(gaps), 3)]
				text += "; and " + strings.Join(shown, ", ") + " are in none of its folders: check whether another card was meant"
			}
			add("%s", text)
		}
		for _, f := range c.Edited {
			add("%s: the sidecar in %s is another version: %s", f.File.Path, name, f.Sentence())
		}
		r.linkRemarks(c.Folder, add)
	}
	if n := kept(r.Answer); n > 0 {
		add("%s had been compared when this check was stopped: --no-resume reads everything again", files(n))
	}
	return list
}

func (r *copiesResult) linkRemarks(f *copies.Folder, add func(string, ...any)) {
	if n := len(f.Links); n > 0 {
		add("%d symbolic %s in %s not followed, as %s: what a link leads to is no copy", n, words.Plural(n, "link", "links"), r.short(f.Path)+words.Plural(n, " was", " were"), f.Links[0])
	}
	if n := len(f.Special); n > 0 {
		add("%d %s in %s not opened, as %s: only files are compared", n, words.Plural(n, "pipe or device", "pipes or devices"), r.short(f.Path)+words.Plural(n, " was", " were"), f.Special[0])
	}
}

func cached(list []*copies.File) (n int) {
	for _, f := range list {
		if f.Read && f.Cached {
			n++
		}
	}
	return n
}

func kept(a *copies.Answer) (n int) {
	count := func(f *copies.Folder) {
		for _, file := range f.Files {
			if file.Kept {
				n++
			}
		}
	}
	if a.Card != nil {
		count(a.Card)
	}
	for _, c := range a.Copies {
		count(c.Folder)
	}
	return n
}

// against returns what keeps the card from being formatted, or a copy from being
// relied on.
func (r *copiesResult) against() []string {
	var wrong []string
	for _, c := range r.Copies {
		if n := len(c.Missing); n > 0 {
			var groups []string
			for i, g := range r.bySequence(c.Missing) {
				if i == 4 {
					groups = append(groups, "and more")
					break
				}
				groups = append(groups, g.String())
			}
			wrong = append(wrong, fmt.Sprintf("%s not in %s: %s", words.Count(n, "file is", "files are"), r.short(c.Path), strings.Join(groups, "; ")))
		}
	}
	if len(wrong) == 0 {
		if n := len(r.Unread()); n > 0 {
			wrong = append(wrong, files(n)+" of the card cannot be read")
		}
	}
	if n := len(r.spoiled()); n > 0 {
		wrong = append(wrong, fmt.Sprintf("%s damaged on the card", words.Count(n, "file is", "files are")))
	}
	for _, b := range r.Bags {
		if len(b.Faults) > 0 {
			wrong = append(wrong, fmt.Sprintf("the bag %s does not agree with its manifests", r.bagName(b)))
		}
	}
	if r.Card != nil && len(r.Card.Problems) > 0 {
		wrong = append(wrong, "not all folders of the card could be read")
	}
	return wrong
}

// lastLine is what it all comes to.
func (r *copiesResult) lastLine() string {
	wrong := r.against()
	switch {
	case len(wrong) > 0 && r.Card != nil:
		return strings.Join(wrong, "; ") + ": do not format the card"
	case len(wrong) > 0:
		return strings.Join(wrong, "; ")
	case len(r.Copies) == 0:
		var names []string
		n := 0
		for _, b := range r.Bags {
			names = append(names, r.bagName(b))
			n += b.Files
		}
		return fmt.Sprintf("all %d files agree with the manifests of %s", n, words.List(names, len(names)))
	}
	edited := r.editedSidecars()
	n := len(r.Needed) - edited
	text := fmt.Sprintf("all %d files are in %s", n, words.Count(len(r.Copies), "copy", "copies"))
	if r.Card == nil {
		text = fmt.Sprintf("all %d files of %s are in %s", n, r.manifest, r.short(r.Copies[0].Path))
	}
	if edited > 0 {
		text += fmt.Sprintf(", and %s in another version", words.Count(edited, "sidecar", "sidecars"))
	}
	if r.Card != nil {
		text += ": the card may be formatted"
	}
	return text
}

// editedSidecars returns how many sidecars are another version in some copy.
func (r *copiesResult) editedSidecars() int {
	edited := map[*copies.File]bool{}
	for _, c := range r.Copies {
		for _, f := range c.Edited {
			edited[f.File] = true
		}
	}
	return len(edited)
}

func (r *copiesResult) bagName(b *copies.Bag) string {
	if b.Path == "." {
		return r.short(b.Folder.Path)
	}
	return r.short(b.Folder.Path) + "/" + b.Path
}

const (
	// listedMost is how many files of one kind are named; JSON has all.
	listedMost = 12
)

// spoiled returns the files of the card that are empty or damaged.
func (r *copiesResult) spoiled() []damagedFile {
	var list []damagedFile
	for _, f := range r.Empty {
		list = append(list, damagedFile{f.Path, "the file is empty"})
	}
	return append(list, r.damaged...)
}

// write writes the result as text, the last line last.
func (r *copiesResult) write(b *bytes.Buffer, width int, quiet bool) {
	if !quiet {
		r.writeCounts(b, width)
	}
	for _, c := range r.Copies {
		if len(c.Missing) == 0 {
			continue
		}
		fmt.Fprintf(b, "Not in %s:\n", report.Visible(r.short(c.Path)))
		for _, g := range r.bySequence(c.Missing) {
			switch {
			case g.sequence != nil:
				report.Paragraph(b, "  ", 4, fmt.Sprintf("sequence %s, %s, %s", g.sequence.ID, g.sequence.Kind, shoot.FrameRanges(g.sequence.Frames, g.frames)), width)
			case r.Card != nil: // a manifest knows no sequences
				b.WriteString("  in no sequence\n")
			}
			for i, f := range g.faults {
				if i == listedMost {
					report.Paragraph(b, "    ", 6, fmt.Sprintf("and %s more", files(len(g.faults)-i)), width)
					break
				}
				report.Paragraph(b, "    ", 6, f.File.Path+" "+f.Sentence(), width)
			}
		}
		b.WriteByte('\n')
	}
	if len(r.spoiled()) > 0 {
		b.WriteString("Damaged on the card, so that a copy of it is damaged too:\n")
		for i, d := range r.spoiled() {
			if i == listedMost {
				report.Paragraph(b, "  ", 4, fmt.Sprintf("and %s more", files(len(r.spoiled())-i)), width)
				break
			}
			report.Paragraph(b, "  ", 4, d.path+": "+d.reason, width)
		}
		b.WriteByte('\n')
	}
	for _, bag := range r.Bags {
		for i, f := range bag.Faults {
			if i == 0 {
				fmt.Fprintf(b, "In the bag %s:\n", report.Visible(r.bagName(bag)))
			}
			if i == listedMost {
				fmt.Fprintf(b, "  and %d more\n", len(bag.Faults)-i)
				break
			}
			report.Paragraph(b, "  ", 4, f.Path+": "+f.Problem, width)
		}
		if len(bag.Faults) > 0 {
			b.WriteByte('\n')
		}
	}
	if !quiet {
		remarks := r.remarks()
		for _, text := range remarks {
			report.Paragraph(b, "note  ", 6, text, width)
		}
		if len(remarks) > 0 {
			b.WriteByte('\n')
		}
	}
	// One line, whatever its length: programs read the last one.
	b.WriteString(report.Visible(r.lastLine()) + "\n")
}

// copiesBegin is how a result begins, in each form.
var copiesBegin = regexp.MustCompile(`^(\{\s+"format": "prestrike-copies"|(Card|Manifest) [^\n]+: [0-9]+ files?|  bag [^\n]+, |Not in [^\n]+:\n  |In the bag |Damaged on the card, |all [0-9]+ files )`)

// writeCounts writes a line for the card and for each copy.
func (r *copiesResult) writeCounts(b *bytes.Buffer, width int) {
	var total int64
	for _, f := range r.Needed {
		total += max(f.Size, 0)
	}
	switch {
	case r.Card != nil:
		housekeeping := 0
		for _, f := range r.Card.Files {
			if f.Kind == copies.Housekeeping {
				housekeeping++
			}
		}
		line := fmt.Sprintf("Card %s: %s, %s", r.short(r.Card.Path), files(len(r.Needed)), byteCount(total))
		if housekeeping > 0 {
			line += fmt.Sprintf("; %s of the camera's own housekeeping not compared", files(housekeeping))
		}
		report.Paragraph(b, "", 2, line, width)
	case r.manifest != "":
		report.Paragraph(b, "", 2, fmt.Sprintf("Manifest %s: %s", path.Base(r.manifest), files(len(r.Needed))), width)
	}
	for _, c := range r.Copies {
		report.Paragraph(b, "  ", 4, fmt.Sprintf("%s: %d of %d are there", r.short(c.Path), len(r.Needed)-len(c.Missing)-len(c.Edited), len(r.Needed)), width)
	}
	for _, bag := range r.Bags {
		state := "agree with its manifests"
		if n := len(bag.Faults); n > 0 {
			state = fmt.Sprintf("in its manifests, %d faults", n)
		}
		report.Paragraph(b, "  ", 4, fmt.Sprintf("bag %s: %s, %s", r.bagName(bag), files(bag.Files), state), width)
	}
	b.WriteByte('\n')
}

func files(n int) string { return words.Count(n, "file", "files") }

// byteCount writes a size in decimal units, as disks are sold.
func byteCount(n int64) string {
	units := []string{"bytes", "kB", "MB", "GB", "TB"}
	v, u := float64(n), 0
	for v >= 999.5 && u < len(units)-1 {
		v /= 1000
		u++
	}
	if u == 0 || v >= 99.95 {
		return fmt.Sprintf("%.0f %s", v, units[u])
	}
	return fmt.Sprintf("%.1f %s", v, units[u])
}
