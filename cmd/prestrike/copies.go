package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"runtime/debug"
	"strings"
	"time"

	"prestrike/audit/copies"
	"prestrike/audit/safefile"

	"github.com/spf13/cobra"
)

const copiesLong = `Copies compares every file of a card with each copy, byte for byte: pictures, sidecars,
films, sound and all other files. Only files of the system and the camera's own lists
are left out. A copy may have other names and other folders. Nothing is written to the
card or to a copy.

Where the system allows it, files are read from the card and from the disks, and not
from the memory of the computer. Files for which that is not certain are counted in a
note. A cache inside a disk cannot be passed by: to be sure, take the disk out and put
it in again first.

The last line reports whether the card may be formatted. After Ctrl-C the same
command goes on where it was stopped, within a day. It reads only the rest, and what
has changed.

Two equal files on the card need two in the copy. Links are not followed, and a
second name of the same file (a hard link) is no copy. Folders with manifests
of their own (BagIt, RFC 8493) are checked against these too.

--manifest FILE writes a line with the SHA-256 of each file of the card, for the
archive; sha256sum -c reads it. With one folder, such a FILE is read, and the
folder is compared with it.

Exit status: 0 all files are in each copy, 2 not all or the card is damaged,
3 could not be compared.`

const copiesExamples = `  prestrike copies /media/card /media/backup/ammonite
  prestrike copies /media/card /media/backup /media/archive --manifest ammonite.sha256
  prestrike copies --manifest ammonite.sha256 /media/archive     years later
  prestrike copies /media/archive/bag                            a BagIt folder alone`

// copiesFlags is the command line of prestrike copies.
type copiesFlags struct {
	output
	manifest string
	noResume bool
}

func newCopies(c *console) *cobra.Command {
	var f copiesFlags
	cmd := &cobra.Command{
		Use:     "copies CARD COPY...",
		Short:   "Compare a card with its copies, byte for byte, before it is formatted",
		Long:    copiesLong,
		Example: copiesExamples,
		Args:    atLeastOne("folder"),
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective) {
			return nil, cobra.ShellCompDirectiveFilterDirs
		},
		RunE: func(cmd *cobra.Command, folders []string) error {
			return runCopies(cmd, c, &f, folders)
		},
	}
	f.addTo(cmd, tableOrJSON...)
	cmd.Flags().StringVar(&f.manifest, "manifest", "", "write the checksums of the card to `FILE`, or with one folder compare it with FILE")
	cmd.Flags().BoolVar(&f.noResume, "no-resume", false, "read everything again, and keep nothing to go on from")
	cmd.Flags().SortFlags = false
	return cmd
}

func runCopies(cmd *cobra.Command, c *console, f *copiesFlags, folders []string) error {
	target, err := openTarget(c, &f.output, folders)
	if err != nil {
		return err
	}
	if os.Getenv("GOGC") == "" {
		// Hashing makes no garbage, and the lists of a large card are what
		// memory goes to: 100,000 files take 380 MB in place of the 560 MB that
		// main's setting makes of it, and as long.
		defer debug.SetGCPercent(debug.SetGCPercent(100))
	}
	r := &copiesResult{names: folders}
	switch {
	case len(folders) > 1:
		err = r.compare(cmd, c, f, folders)
	case f.manifest != "":
		err = r.checkManifest(cmd, c, f, folders)
	default:
		err = r.checkBags(cmd, c, f, folders)
	}
	if err != nil {
		return err
	}
	for _, p := range r.problems() {
		c.remark("%s", p)
	}
	var text bytes.Buffer
	if f.format == "json" {
		err = r.writeJSON(&text)
	} else {
		r.write(&text, c.textWidth(f.file != ""), f.quiet)
	}
	if err != nil {
		return err
	}
	if err := target.write(text.Bytes()); err != nil {
		return err
	}
	if r.unwritten != nil {
		return r.unwritten
	}
	if s := r.status(); s != statusGood {
		return s
	}
	return nil
}

// compare compares a card with copies, and writes the manifest.
func (r *copiesResult) compare(cmd *cobra.Command, c *console, f *copiesFlags, folders []string) error {
	manifest, err := newManifest(f.manifest, folders[0])
	if err != nil {
		return err
	}
	ctx := cmd.Context()
	if err := r.readShoot(ctx, c, f.quiet, folders[0]); err != nil {
		return err
	}
	r.Answer, err = resumable(ctx, c, f, folders, func(opt *copies.Options) (*copies.Answer, error) {
		return copies.Compare(ctx, folders[0], folders[1:], opt)
	})
	if err != nil {
		return err
	}
	if err := r.findGaps(ctx, c, f.quiet); err != nil {
		return err
	}
	if manifest == nil {
		return nil
	}
	if n := len(r.Unread()); n > 0 || len(r.Card.Problems) > 0 {
		c.remark("%s was not written: not all of the card could be read", f.manifest)
		return nil
	}
	var text bytes.Buffer
	if err := copies.WriteManifest(&text, r.Needed); err != nil {
		return err
	}
	was, err := os.ReadFile(manifest.path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return manifest.write(text.Bytes())
	case err != nil:
		r.unwritten = manifest.failed(err)
	case !bytes.Equal(was, text.Bytes()):
		r.unwritten = fmt.Errorf("%s was not written: it is there already, and the card held other files then: name another file", f.manifest)
	}
	return nil
}

// resumable does a comparison with its progress on the terminal, and has it go on
// where an earlier run was stopped.
func resumable(ctx context.Context, c *console, f *copiesFlags, folders []string, do func(*copies.Options) (*copies.Answer, error)) (*copies.Answer, error) {
	opt := &copies.Options{Journal: copiesJournal(c, folders)}
	if f.noResume && opt.Journal != "" {
		_ = os.Remove(opt.Journal) // or it is read by the next run
		opt.Journal = ""
	}
	line := c.newProgress(f.quiet, "comparing", "listing files")
	line.tellLeft = true
	opt.Progress = line.tellBytes
	answer, err := do(opt)
	line.end()
	if ctx.Err() != nil && opt.Journal != "" {
		c.remark("what was compared so far is kept for a day: the same command goes on from there")
	}
	return answer, err
}

// newManifest finds where a manifest can go; nil for none. What is there is never
// replaced: it may be what an archive relies on. A manifest may be there, as the same
// command is repeated when a copy is mended: it must turn out to have the same lines.
func newManifest(name, card string) (*target, error) {
	if name == "" {
		return nil, nil
	}
	if safefile.Within(name, card) {
		return nil, fmt.Errorf("cannot write %s: it lies on the card, to which nothing is written: name a file somewhere else", name)
	}
	if _, err := os.Lstat(name); !errors.Is(err, fs.ErrNotExist) {
		if _, err := readManifest(name); err != nil {
			return nil, fmt.Errorf("cannot write %s: it is there already, and is no manifest: name another file", name)
		}
	}
	if info, err := os.Stat(filepath.Dir(name)); err != nil || !info.IsDir() {
		return nil, fmt.Errorf("cannot write %s: there is no folder %s", name, filepath.Dir(name))
	}
	return &target{path: name}, nil
}

// readManifest reads a manifest; it returns *fs.PathError where the file cannot be read.
func readManifest(name string) ([]*copies.File, error) {
	file, err := safefile.Open(name)
	if err != nil {
		return nil, err
	}
	defer file.Close() // nothing was written that could get lost
	return copies.ReadManifest(file)
}

// checkManifest compares a folder with a manifest.
func (r *copiesResult) checkManifest(cmd *cobra.Command, c *console, f *copiesFlags, folders []string) error {
	listed, err := readManifest(f.manifest)
	switch _, unread := errors.AsType[*fs.PathError](err); {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("%s: no such file: to write it, name the card and its copies", f.manifest)
	case unread:
		return fmt.Errorf("%s: %s", f.manifest, plainError(err))
	case err != nil:
		return fmt.Errorf("%s cannot be used as a manifest: %w", f.manifest, err)
	}
	r.manifest = f.manifest
	r.Answer, err = resumable(cmd.Context(), c, f, folders, func(opt *copies.Options) (*copies.Answer, error) {
		return copies.CheckManifest(cmd.Context(), listed, folders, opt)
	})
	return err
}

// checkBags checks a folder that carries manifests of its own.
func (r *copiesResult) checkBags(cmd *cobra.Command, c *console, f *copiesFlags, folders []string) error {
	line := c.newProgress(f.quiet, "checking", "listing files")
	line.tellLeft = true
	defer line.end()
	var err error
	r.Answer, err = copies.CheckBags(cmd.Context(), folders, &copies.Options{Progress: line.tellBytes})
	if errors.Is(err, copies.ErrNoBag) {
		return &usageError{fmt.Errorf("%s has no manifests of its own: name the card and then each copy, or a --manifest", folders[0]), cmd.CommandPath()}
	}
	return err
}

// A journal that nothing has gone on from is deleted after this time. It is not
// trusted for as long.
const journalKept = 7 * 24 * time.Hour

var journalName = regexp.MustCompile(`^[0-9a-f]{32}\.journal$`)

// copiesJournal returns the file by which a check of these folders goes on;
// empty where there is no place for one.
func copiesJournal(c *console, folders []string) string {
	if c.cacheFolder == nil {
		return ""
	}
	base, err := c.cacheFolder()
	if err != nil {
		return ""
	}
	folder := filepath.Join(base, "prestrike", "copies")
	key := sha256.New()
	for _, f := range folders {
		if safefile.Within(folder, f) {
			return "" // nothing is written there
		}
		abs, err := filepath.Abs(f)
		if err != nil {
			return ""
		}
		fmt.Fprintf(key, "%q\n", abs)
	}
	deleteOld(folder, journalName, journalKept)
	return filepath.Join(folder, fmt.Sprintf("%x.journal", key.Sum(nil)[:16]))
}

// problems returns what could not be listed.
func (r *copiesResult) problems() []error {
	var list []error
	if r.Card != nil {
		list = append(list, r.Card.Problems...)
	}
	for _, c := range r.Copies {
		list = append(list, c.Problems...)
	}
	for _, b := range r.Bags {
		if r.Card == nil && len(r.Copies) == 0 {
			list = append(list, b.Folder.Problems...)
			break
		}
	}
	return list
}

// short returns the name that a folder is called by: its last part, or all of it
// where another folder has the same.
func (r *copiesResult) short(folder string) string {
	base := func(s string) string {
		if abs, err := filepath.Abs(s); err == nil {
			s = abs
		}
		return filepath.Base(s)
	}
	name := base(folder)
	for _, o := range r.names {
		if o != folder && strings.EqualFold(base(o), name) {
			return folder
		}
	}
	return name
}
