package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"

	"prestrike/audit/report"
	"prestrike/audit/safefile"
	"prestrike/audit/shoot"
	"prestrike/audit/words"
)

// What the folders of prestrike list hold.
const (
	linksSymbolic = "symbolic"
	linksHard     = "hard"
	linksNone     = "list"
)

const (
	// aboutName is the text file in DIR that explains what is there.
	aboutName = "about these folders.txt"
	// listName is the list of files in a folder where there are no links.
	listName = "files.txt"
)

// symlink is os.Symlink but in tests.
var symlink = os.Symlink

// A linkFolder is a folder to be made for one sequence.
type linkFolder struct {
	name  string
	of    *pickedSequence
	links []link
}

// A link leads to a file.
type link struct{ name, to string }

// planFolders names the folders and links, such that every file system takes them and
// no two are alike but for capitals.
func (f *listFlags) planFolders(p *pickedList) ([]linkFolder, error) {
	taken := map[string]bool{strings.ToLower(aboutName): true}
	var out []linkFolder
	for i := range p.sequences {
		q := &p.sequences[i]
		name := q.View
		if name == "" {
			name = q.ID + " " + q.Kind.String()
		}
		folder := linkFolder{name: unlike(taken, safefile.Portable(name)), of: q}
		names := make([]string, len(q.files))
		for k, file := range q.files {
			names[k] = safefile.Portable(file.Name())
		}
		if !inOrder(q.files, names) {
			digits := len(fmt.Sprint(len(names)))
			n, last := 0, ""
			for k, file := range q.files {
				// Raw file and JPEG of one frame stay beside each other.
				if stem := strings.TrimSuffix(file.Path, filepath.Ext(file.Path)); stem != last || k == 0 {
					n, last = n+1, stem
				}
				names[k] = fmt.Sprintf("%0*d %s", digits, n, names[k])
			}
		}
		own := map[string]bool{listName: true}
		for k, file := range q.files {
			to, err := f.path(file)
			if err != nil {
				return nil, err
			}
			folder.links = append(folder.links, link{unlike(own, names[k]), to})
		}
		out = append(out, folder)
	}
	return out, nil
}

// inOrder reports whether names that are sorted, as programs do, keep the order of the
// frames and differ.
func inOrder(files []*shoot.File, names []string) bool {
	for i := 1; i < len(names); i++ {
		a, b := strings.ToLower(names[i-1]), strings.ToLower(names[i])
		stemA, stemB := strings.TrimSuffix(a, filepath.Ext(a)), strings.TrimSuffix(b, filepath.Ext(b))
		sameFrame := stemA == stemB && filepath.Dir(files[i-1].Path) == filepath.Dir(files[i].Path)
		if a == b || stemA >= stemB && !sameFrame {
			return false
		}
	}
	return true
}

// unlike returns the name, or one made from it that is not taken, and takes it.
func unlike(taken map[string]bool, name string) string {
	stem, ext := strings.TrimSuffix(name, filepath.Ext(name)), filepath.Ext(name)
	for n := 2; taken[strings.ToLower(name)]; n++ {
		name = fmt.Sprintf("%s (%d)%s", stem, n, ext)
	}
	taken[strings.ToLower(name)] = true
	return name
}

// writeFolders makes the folders in DIR, and writes nothing over what is there.
func (f *listFlags) writeFolders(c *console, p *pickedList, folders []string) error {
	for _, folder := range folders {
		if safefile.Within(f.into, folder) {
			return fmt.Errorf("will not make links in %s: report would read them as frames of %s: name a folder elsewhere", f.into, folder)
		}
	}
	plan, err := f.planFolders(p)
	if err != nil {
		return err
	}
	made, err := f.mayMake(plan)
	if err != nil {
		return err
	}
	links := f.links
	for _, folder := range plan {
		at := filepath.Join(f.into, folder.name)
		if err := os.Mkdir(at, 0o777); err != nil {
			return f.broken(at, err)
		}
		for _, l := range folder.links {
			if links == linksNone {
				break
			}
			err := makeLink(links, l.to, filepath.Join(at, l.name))
			switch {
			case err == nil:
			case links == linksHard:
				return f.broken(filepath.Join(at, l.name), err)
			case noLinks(err):
				c.remark("%s cannot hold links (%s): each folder gets a list of its files instead, %s", f.into, systemWords(err), listName)
				links = linksNone
			default:
				return f.broken(filepath.Join(at, l.name), err)
			}
		}
		if links == linksNone {
			if err := writeNew(at, listName, fileList(folder)); err != nil {
				return f.broken(filepath.Join(at, listName), err)
			}
		}
	}
	if err := writeNew(f.into, aboutName, aboutFolders(plan, p, links, folders)); err != nil {
		return f.broken(filepath.Join(f.into, aboutName), err)
	}
	if f.quiet {
		return nil
	}
	for _, l := range p.leftOut() {
		c.remark("%s", l)
	}
	verb := "Made"
	if made {
		verb = "Made " + report.Visible(f.into) + " with"
	}
	return c.print(fmt.Appendf(nil, "%s %s of %s; %s explains.\n", verb, words.Count(len(plan), "folder", "folders"),
		map[string]string{linksSymbolic: "links", linksHard: "hard links", linksNone: "lists"}[links], report.Visible(filepath.Join(f.into, aboutName))))
}

// mayMake makes DIR where it is not there, and reports whether it did. An error names
// what is in the way before anything is made.
func (f *listFlags) mayMake(plan []linkFolder) (made bool, err error) {
	info, err := os.Stat(f.into)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if err := os.Mkdir(f.into, 0o777); err != nil {
			return false, notWritten(f.into, err, "make the folder above it first, or name another", "name a folder that you may write to")
		}
		return true, nil
	case err != nil:
		return false, notWritten(f.into, err, "name another folder", "name a folder that you may write to")
	case !info.IsDir():
		return false, fmt.Errorf("cannot make folders in %s: it is a file: name a folder", f.into)
	}
	there, err := os.ReadDir(f.into)
	if err != nil {
		return false, notWritten(f.into, err, "name another folder", "name a folder that you may write to")
	}
	for _, e := range there {
		wants := func(name string) bool { return strings.EqualFold(name, e.Name()) }
		if wants(aboutName) || slices.ContainsFunc(plan, func(l linkFolder) bool { return wants(l.name) }) {
			return false, fmt.Errorf("will not write over %s: name a new folder", filepath.Join(f.into, e.Name()))
		}
	}
	return false, nil
}

// broken reports an error after which DIR is not whole.
func (f *listFlags) broken(at string, err error) error {
	what := "what was made in " + f.into + " is not whole: delete it, then name another folder"
	if errors.Is(err, syscall.EXDEV) {
		what = "hard links need one file system: leave out --links hard, and delete what was made in " + f.into
	}
	return notWritten(at, err, what, what)
}

// makeLink makes one link. Where something is there already, that is an error.
func makeLink(kind, to, at string) error {
	if kind == linksHard {
		return os.Link(to, at)
	}
	return symlink(to, at)
}

// privilegeNotHeld is the error of Windows where an account may make no symbolic links
// (winerror.h, ERROR_PRIVILEGE_NOT_HELD).
const privilegeNotHeld = syscall.Errno(1314)

// noLinks reports whether an error means that a file system, a system or an account has
// no symbolic links.
func noLinks(err error) bool {
	return errors.Is(err, errors.ErrUnsupported) || errors.Is(err, syscall.EPERM) || errors.Is(err, privilegeNotHeld)
}

// writeNew writes a file that is not there yet.
func writeNew(folder, name string, content []byte) error {
	out, err := os.OpenFile(filepath.Join(folder, name), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return err
	}
	_, err = out.Write(content)
	return errors.Join(err, out.Close())
}

// fileList names the files of a folder, one a line; those whose name would break a line
// are shown escaped.
func fileList(f linkFolder) []byte {
	var b bytes.Buffer
	for _, l := range f.links {
		name := l.to
		if strings.ContainsAny(name, "\n\r") {
			name = report.Visible(name)
		}
		b.WriteString(name + "\n")
	}
	return b.Bytes()
}

// aboutFolders writes what the folders are, and why something is absent.
func aboutFolders(plan []linkFolder, p *pickedList, links string, folders []string) []byte {
	var b bytes.Buffer
	say := func(format string, args ...any) {
		report.Paragraph(&b, "", 0, fmt.Sprintf(format, args...), report.DefaultWidth)
	}
	var from []string
	for _, f := range folders {
		if abs, err := filepath.Abs(f); err == nil {
			f = abs
		}
		from = append(from, f)
	}
	say("Made by prestrike list from %s: a folder for each sequence, in the order of focus or time.", words.List(from, 4))
	switch links {
	case linksHard:
		say("They hold hard links: further names of the frames themselves. A program that changes such a file changes the frame. Deleting one deletes no frame.")
	case linksNone:
		say("They hold no frames: %s in each folder names the files.", listName)
	default:
		say("They hold links and no copies: the frames stay where they are, and a program that changes a file changes the frame. Deleting these folders deletes no frame. Where the frames are moved, the links lead nowhere.")
	}
	b.WriteByte('\n')
	for _, f := range plan {
		say("%s: %s, %s, %s", f.name, words.Count(len(f.of.Frames), "frame", "frames"), words.Count(len(f.links), "file", "files"), f.of.Verdict)
	}
	if left := p.leftOut(); len(left) > 0 {
		b.WriteString("\nNot here:\n")
		for _, l := range left {
			report.Paragraph(&b, "  ", 4, l, report.DefaultWidth)
		}
	}
	return b.Bytes()
}
