package copies

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// Options are what a comparison need not be given.
type Options struct {
	Journal  string                  // the file by which a stopped check goes on; empty for none
	Progress func(done, total int64) // bytes; never called from two goroutines at once
	Now      time.Time               // the zero value means the present
}

// An Answer is what a comparison found.
type Answer struct {
	Card   *Folder // nil where a manifest takes its place
	Needed []*File // what each copy must hold, by path; empty files are not among them
	Empty  []*File // files of the card that hold nothing, and by their names should
	Copies []*Copy
	Bags   []*Bag // found in the card and the copies
}

// Unread returns the files of the card that could not be read.
func (a *Answer) Unread() []*File {
	var list []*File
	for _, f := range a.Needed {
		if f.Err != nil {
			list = append(list, f)
		}
	}
	return list
}

// A Copy is a folder that was compared with the card.
type Copy struct {
	*Folder
	Missing []Fault // files of the card that are not in it byte for byte, by path
	// Edited are sidecars of the card that are there in another version.
	Edited []Fault
	// Twice names two folders that each hold all of the card; empty where
	// there are none.
	Twice []string
	// Same is how many of its files are the card's own, or an earlier copy's
	// (hard links, one disk mounted twice): they are no copies.
	Same int

	own  []*File        // its files, without further names and those that lie elsewhere
	used map[*File]bool // matched with a file of the card
}

// Compare compares a card with its copies. Nothing is written to any of them.
// An error means that nothing could be compared, or that ctx ended.
func Compare(ctx context.Context, card string, dirs []string, opt *Options) (*Answer, error) {
	folders, err := listAll(ctx, append([]string{card}, dirs...))
	if err != nil {
		return nil, err
	}
	a := &Answer{Card: folders[0]}
	seen := map[key]*Folder{}
	own, _ := distinct(a.Card, seen)
	for _, f := range own {
		switch {
		case f.Kind == Housekeeping:
		case f.Size > 0:
			a.Needed = append(a.Needed, f)
		case f.Kind == Content && path.Ext(f.Path) != "" && !strings.HasPrefix(path.Base(f.Path), "."):
			a.Empty = append(a.Empty, f)
		}
	}
	if len(a.Needed) == 0 && len(a.Empty) == 0 {
		problem := "there are no files in it that should be copied: name the folder of the card"
		if len(a.Card.Problems) > 0 {
			problem = a.Card.Problems[0].Error()
		}
		return nil, &Absent{card, problem}
	}
	return a, a.run(ctx, folders[1:], seen, opt)
}

// run reads what has to be read, and compares. Seen are the card's own files.
func (a *Answer) run(ctx context.Context, dirs []*Folder, seen map[key]*Folder, opt *Options) error {
	folders := dirs
	var jobs []job
	sizes := map[int64]bool{}
	for _, f := range a.Needed {
		sizes[f.Size] = true
		if a.Card != nil {
			jobs = append(jobs, job{folder: a.Card, file: f})
		}
	}
	if a.Card != nil {
		folders = append([]*Folder{a.Card}, dirs...)
	}
	now := opt.Now
	if now.IsZero() {
		now = time.Now()
	}
	log := openJournal(opt.Journal, folders, now)
	a.findBags(folders)
	candidates := make([][]*File, len(dirs))
	for i, dir := range dirs {
		c := &Copy{Folder: dir, used: map[*File]bool{}}
		a.Copies = append(a.Copies, c)
		c.own, c.Same = distinct(dir, seen)
		for _, f := range c.own {
			// A manifest does not record how long its files are.
			if f.Size > 0 && (a.Card == nil || sizes[f.Size]) {
				candidates[i] = append(candidates[i], f)
				jobs = append(jobs, job{folder: dir, file: f})
			}
		}
	}
	jobs = a.withBags(jobs)
	r := &reader{journal: log, progress: opt.Progress}
	if err := r.read(ctx, jobs); err != nil {
		log.close(false)
		return err
	}
	for i, c := range a.Copies {
		if err := a.match(ctx, c, candidates[i]); err != nil {
			log.close(false)
			return err
		}
	}
	for _, b := range a.Bags {
		b.judge()
	}
	log.close(true)
	return nil
}

// listAll lists the folders, and refuses those of which one holds the other.
func listAll(ctx context.Context, dirs []string) ([]*Folder, error) {
	var folders []*Folder
	var problems []error
	for _, dir := range dirs {
		f, err := List(ctx, dir)
		if absent, ok := errors.AsType[*Absent](err); ok {
			problems = append(problems, absent)
			continue
		}
		if err != nil {
			return nil, err
		}
		for _, o := range folders {
			switch {
			case within(f.root, o.root) && within(o.root, f.root):
				problems = append(problems, &Absent{dir, "this is the same folder as " + o.Path + ": name the copy"})
			case within(f.root, o.root):
				problems = append(problems, &Absent{dir, "this is inside " + o.Path + ", and would be lost with it: name a copy somewhere else"})
			case within(o.root, f.root):
				problems = append(problems, &Absent{dir, o.Path + " lies inside this folder, and would be found in it: name the folder of the copy"})
			}
		}
		folders = append(folders, f)
	}
	return folders, errors.Join(problems...)
}

// within reports whether a folder is another or lies in it, by path or through
// whatever leads there.
func within(dir, outer string) bool {
	top, err := os.Stat(outer)
	if err != nil {
		return false
	}
	for {
		if info, err := os.Stat(dir); err == nil && os.SameFile(info, top) {
			return true
		}
		up := filepath.Dir(dir)
		if up == dir {
			return false
		}
		dir = up
	}
}

// distinct returns the files of a folder, each once, and counts its further names;
// others are files that lie in an earlier folder. It adds the folder's own to
// those that were seen.
func distinct(f *Folder, seen map[key]*Folder) (own []*File, others int) {
	own = make([]*File, 0, len(f.Files))
	for _, file := range f.Files {
		if file.id.known {
			switch seen[file.id.key()] {
			case f:
				f.Linked++
				continue
			case nil:
				seen[file.id.key()] = f
			default:
				others++
				continue
			}
		}
		own = append(own, file)
	}
	return own, others
}

// match finds which files of the card are in a copy: each file of the copy stands
// for one of the card.
func (a *Answer) match(ctx context.Context, c *Copy, candidates []*File) error {
	have := map[Sum][]*File{}
	for _, f := range candidates {
		if f.Read {
			have[f.Sum] = append(have[f.Sum], f)
		}
	}
	need := map[Sum][]*File{}
	for _, f := range a.Needed {
		if f.Read {
			need[f.Sum] = append(need[f.Sum], f)
		}
	}
	c.Twice = twice(a.Needed, have, need)
	var missing []Fault
	for _, f := range a.Needed {
		switch group := need[f.Sum]; {
		case !f.Read:
			missing = append(missing, Fault{File: f, Problem: NotCompared})
		case group != nil: // with the first of its group, the rest is done
			for _, left := range c.pair(group, have[f.Sum]) {
				fault := Fault{File: left, Problem: Absence}
				if n := len(have[f.Sum]); n > 0 {
					fault.Problem, fault.There, fault.Wanted = TooFew, n, len(group)
				}
				missing = append(missing, fault)
			}
			need[f.Sum] = nil
		}
	}
	slices.SortFunc(missing, func(x, y Fault) int { return cmp.Compare(x.File.Path, y.File.Path) })
	if err := a.explain(ctx, c, missing); err != nil {
		return err
	}
	for _, m := range missing {
		if m.File.Kind == Sidecar && m.Like != nil && (m.Problem == Differs || m.Problem == Cut || m.Problem == Longer) && m.Like.Kind == Sidecar {
			c.Edited = append(c.Edited, m)
		} else {
			c.Missing = append(c.Missing, m)
		}
	}
	return nil
}

// pair pairs equal files of card and copy, those of one path first, then those
// of one name, and returns files of the card that are left over.
func (c *Copy) pair(card, there []*File) (left []*File) {
	left = slices.Clone(card)
	for _, alike := range []func(a, b *File) bool{
		func(a, b *File) bool { return a.Path == b.Path },
		func(a, b *File) bool { return path.Base(a.Path) == path.Base(b.Path) },
		func(_, _ *File) bool { return true },
	} {
		left = slices.DeleteFunc(left, func(f *File) bool {
			i := slices.IndexFunc(there, func(t *File) bool { return !c.used[t] && alike(f, t) })
			if i < 0 {
				return false
			}
			c.used[there[i]] = true
			return true
		})
	}
	return left
}

// twice returns two folders of a copy that each hold every file of the card. One
// file is too few to report that.
func twice(needed []*File, have, need map[Sum][]*File) []string {
	if len(needed) < 2 {
		return nil
	}
	tops := map[string]int{}
	for sum, card := range need {
		there := have[sum]
		if len(there) < 2*len(card) {
			return nil
		}
		// Where the card's top is in the copy, if its folders were kept.
		seen := map[string]bool{}
		for _, t := range there {
			for _, f := range card {
				top, ok := strings.CutSuffix(t.Path, f.Path)
				if !ok || top != "" && !strings.HasSuffix(top, "/") {
					top = path.Dir(t.Path) + "/"
				}
				seen[top] = true
			}
		}
		for top := range seen {
			tops[top]++
		}
	}
	var all []string
	for top, n := range tops {
		if n == len(need) {
			all = append(all, cmp.Or(strings.TrimSuffix(top, "/"), "."))
		}
	}
	slices.Sort(all)
	if len(all) < 2 {
		return nil
	}
	return all[:2]
}

// String is for messages of tests.
func (f *File) String() string { return fmt.Sprintf("%s (%d bytes)", f.Path, f.Size) }
