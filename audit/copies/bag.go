package copies

import (
	"bufio"
	"cmp"
	"context"
	"crypto/md5"
	"crypto/sha1"
	"crypto/sha256"
	"crypto/sha512"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"golang.org/x/text/unicode/norm"
)

// A Bag is a folder that carries manifests of its own files, as RFC 8493 (the
// BagIt file packaging format) has it.
type Bag struct {
	Folder *Folder
	Path   string     // from the top of the folder; "." for the folder itself
	Files  int        // listed in its manifests
	Faults []BagFault // by path

	strict bool // version 1.0 or newer: each manifest lists each file of the payload
	listed []bagEntry
}

// A BagFault is what does not agree with a bag's manifests.
type BagFault struct {
	Path    string // from the top of the bag
	Problem string
}

// A bagEntry is a line of a manifest.
type bagEntry struct {
	manifest string
	path     string // from the top of the bag
	file     *File  // nil where it is not there
	sum      []byte
	made     hash.Hash // of the file, where it is not SHA-256
}

// bagHashes are the checksums by the names that manifests carry (RFC 8493,
// section 2.4).
var bagHashes = map[string]func() hash.Hash{
	"md5": md5.New, "sha1": sha1.New, "sha224": sha256.New224, "sha256": sha256.New, "sha384": sha512.New384, "sha512": sha512.New,
}

var (
	bagVersion  = regexp.MustCompile(`^\x{FEFF}?BagIt-Version: *([0-9]+)\.[0-9]+ *\r?\n`)
	bagEncoding = regexp.MustCompile(`\nTag-File-Character-Encoding: *([^\r\n]*)`)
	bagManifest = regexp.MustCompile(`^(tag)?manifest-([a-z0-9]+)\.txt$`)
)

// findBags finds the bags in the folders, and reads their manifests.
func (a *Answer) findBags(folders []*Folder) {
	for _, f := range folders {
		for _, file := range f.Files {
			if path.Base(file.Path) != "bagit.txt" || file.Size > endBytes {
				continue
			}
			text, err := f.text(file)
			version := bagVersion.FindSubmatch(text)
			if err != nil || version == nil {
				continue // not a bag, or the file is reported as unreadable where it matters
			}
			b := &Bag{Folder: f, Path: path.Dir(file.Path), strict: string(version[1]) != "0"}
			if e := bagEncoding.FindSubmatch(text); e != nil && !strings.EqualFold(strings.TrimSpace(string(e[1])), "UTF-8") {
				b.fault("bagit.txt", "its names are in %s, which is not read: the manifests were not checked", e[1])
			} else {
				b.read()
			}
			a.Bags = append(a.Bags, b)
		}
	}
}

func (f *Folder) text(file *File) ([]byte, error) {
	r, err := openFile(f.abs(file))
	if err != nil {
		return nil, err
	}
	defer r.Close() // nothing was written that could get lost
	return io.ReadAll(io.LimitReader(r, endBytes))
}

func (b *Bag) fault(name, format string, args ...any) {
	b.Faults = append(b.Faults, BagFault{name, fmt.Sprintf(format, args...)})
}

// read reads the manifests of a bag.
func (b *Bag) read() {
	inside := map[string]*File{} // by path from the top of the bag
	composed := map[string]*File{}
	var manifests []*File
	payload := false
	for _, file := range b.Folder.Files {
		at, ok := file.Path, true
		if b.Path != "." {
			at, ok = strings.CutPrefix(file.Path, b.Path+"/")
		}
		if !ok {
			continue
		}
		inside[at] = file
		composed[norm.NFC.String(at)] = file // systems differ in how they write accents
		if bagManifest.MatchString(at) {
			manifests = append(manifests, file)
			payload = payload || !strings.HasPrefix(at, "tag")
		}
	}
	if !payload {
		b.fault("bagit.txt", "there is no manifest of the payload beside it")
	}
	lists := map[string]map[*File]bool{} // of the payload, by manifest
	for _, m := range manifests {
		name := path.Base(m.Path)
		parts := bagManifest.FindStringSubmatch(name)
		tag, algorithm := parts[1] != "", parts[2]
		if bagHashes[algorithm] == nil {
			b.fault(name, "its kind of checksum is not known: it was not checked")
			continue
		}
		entries, err := b.entries(m, algorithm, tag)
		if err != nil {
			b.fault(name, "it cannot be read: %v", err)
		}
		if !tag {
			lists[name] = map[*File]bool{}
		}
		for _, e := range entries {
			e.file = inside[e.path]
			if e.file == nil {
				e.file = composed[norm.NFC.String(e.path)]
			}
			if e.file == nil {
				e.file = b.Folder.passed(path.Join(b.Path, e.path))
			}
			if algorithm != "sha256" {
				e.made = bagHashes[algorithm]()
			}
			if !tag {
				lists[name][e.file] = true
			}
			b.listed = append(b.listed, e)
		}
		b.Files = max(b.Files, len(entries))
	}
	b.unlisted(inside, lists)
}

// unlisted finds files of the payload that no manifest lists, or in a newer bag
// not each of them (RFC 8493, section 3).
func (b *Bag) unlisted(inside map[string]*File, lists map[string]map[*File]bool) {
	for at, file := range inside {
		if !strings.HasPrefix(at, "data/") {
			continue
		}
		n := 0
		for _, list := range lists {
			if list[file] {
				n++
			}
		}
		if n == 0 || b.strict && n < len(lists) {
			b.fault(at, "it is in the bag, and not in each manifest")
		}
	}
}

// entries reads the lines of a manifest: the checksum, blanks and the path, in
// which a percent sign, a carriage return and a line feed are written %25, %0D
// and %0A (RFC 8493, section 2.1.3).
func (b *Bag) entries(m *File, algorithm string, tag bool) ([]bagEntry, error) {
	r, err := openFile(b.Folder.abs(m))
	if err != nil {
		return nil, plain(err)
	}
	defer r.Close() // nothing was written that could get lost
	name := path.Base(m.Path)
	var entries []bagEntry
	decode := strings.NewReplacer("%0A", "\n", "%0a", "\n", "%0D", "\r", "%0d", "\r", "%25", "%")
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, longestLine)
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSuffix(lines.Text(), "\r")
		if strings.TrimSpace(line) == "" {
			continue
		}
		at := strings.IndexAny(line, " \t")
		sum, err := hex.DecodeString(line[:max(at, 0)])
		if err != nil || len(sum) != bagHashes[algorithm]().Size() {
			b.fault(name, "line %d is not a checksum and a path", n)
			continue
		}
		file := decode.Replace(strings.TrimPrefix(strings.TrimLeft(line[at:], " \t"), "*"))
		if !filepath.IsLocal(filepath.FromSlash(file)) || strings.HasPrefix(file, "~") || strings.HasPrefix(path.Clean(file), "data/") == tag {
			b.fault(name, "line %d names a file that is no part of what it lists", n)
			continue
		}
		entries = append(entries, bagEntry{manifest: name, path: path.Clean(file), sum: sum})
	}
	return entries, lines.Err()
}

// passed returns a file that a listing passes over; nil where there is none.
func (f *Folder) passed(rel string) *File {
	abs := filepath.Join(f.root, filepath.FromSlash(rel))
	real, err := filepath.EvalSymlinks(abs)
	if err != nil || real != abs { // a link may lead anywhere
		return nil
	}
	info, err := os.Lstat(abs)
	if err != nil || !info.Mode().IsRegular() {
		return nil
	}
	return &File{Path: rel, Size: info.Size(), Kind: passedOver, modified: info.ModTime().UnixNano(), id: identify(abs, info)}
}

// withBags adds to the jobs what the bags need.
func (a *Answer) withBags(jobs []job) []job {
	if len(a.Bags) == 0 {
		return jobs
	}
	at := map[*File]int{}
	for i, j := range jobs {
		at[j.file] = i
	}
	for _, b := range a.Bags {
		for _, e := range b.listed {
			if e.file == nil {
				continue
			}
			i, ok := at[e.file]
			if !ok {
				i = len(jobs)
				at[e.file] = i
				jobs = append(jobs, job{folder: b.Folder, file: e.file})
			}
			if e.made != nil {
				e.file.Read, e.file.Kept = false, false // only SHA-256 is kept
				jobs[i].also = append(jobs[i].also, e.made)
			}
		}
	}
	return jobs
}

// judge compares what was read with the manifests.
func (b *Bag) judge() {
	for _, e := range b.listed {
		switch {
		case e.file == nil:
			b.fault(e.path, "%s lists it, and it is not there", e.manifest)
		case e.file.Err != nil:
			b.fault(e.path, "it cannot be read: %v", e.file.Err)
		default:
			sum := e.file.Sum[:]
			if e.made != nil {
				sum = e.made.Sum(nil)
			}
			if !slices.Equal(sum, e.sum) {
				b.fault(e.path, "it has other bytes than when %s was written", e.manifest)
			}
		}
	}
	b.listed = nil
	slices.SortFunc(b.Faults, func(x, y BagFault) int {
		return cmp.Or(cmp.Compare(x.Path, y.Path), cmp.Compare(x.Problem, y.Problem))
	})
}

// ErrNoBag means that a folder holds no bag.
var ErrNoBag = errors.New("no bag in it")

// CheckBags checks the bags in folders, and nothing else of them.
func CheckBags(ctx context.Context, dirs []string, opt *Options) (*Answer, error) {
	folders, err := listAll(ctx, dirs)
	if err != nil {
		return nil, err
	}
	a := &Answer{}
	a.findBags(folders)
	if len(a.Bags) == 0 {
		return nil, ErrNoBag
	}
	r := &reader{progress: opt.Progress}
	if err := r.read(ctx, a.withBags(nil)); err != nil {
		return nil, err
	}
	for _, b := range a.Bags {
		b.judge()
	}
	return a, nil
}
