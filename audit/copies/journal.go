package copies

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"prestrike/audit/safefile"
)

// A journal keeps what was read, so that a check that was stopped can go on. It
// is trusted for the same folders only, within a day, and for files of which
// nothing has changed; it is deleted when a check ends. A later check reads
// everything again.
type journal struct {
	mu    sync.Mutex
	f     *os.File
	names map[*Folder]int
}

const (
	journalVersion = 1
	// A stopped check goes on within this time: for later, the medium has to
	// be read again.
	journalLife = 24 * time.Hour
	// longestLine bounds what is read back at once: the longest path there is,
	// with every byte escaped.
	longestLine = 64 << 10
)

type journalHead struct {
	Version int
	Began   time.Time
	Folders []string
}

type journalLine struct {
	Folder            int
	Mount             string
	Path              []byte // JSON text cannot hold every name
	Dev, Ino          uint64
	Size              int64
	Modified, Changed int64
	Sum               []byte
	Cached            bool
}

// openJournal takes over what an earlier run of the same check has read, and
// goes on writing to its file. It returns nil where nothing can be kept.
func openJournal(name string, folders []*Folder, now time.Time) *journal {
	if name == "" || os.MkdirAll(filepath.Dir(name), 0o700) != nil {
		return nil
	}
	j := &journal{names: map[*Folder]int{}}
	head := journalHead{Version: journalVersion, Began: now}
	for i, f := range folders {
		j.names[f] = i
		head.Folders = append(head.Folders, f.root)
	}
	goesOn := takeOver(name, head, folders)
	flags := os.O_RDWR | os.O_APPEND
	if !goesOn {
		// A new file, as what has the name may be a link to something else,
		// which must not be emptied. O_EXCL follows none.
		_ = os.Remove(name)
		flags |= os.O_CREATE | os.O_EXCL
	}
	f, err := os.OpenFile(name, flags, 0o600)
	if err != nil {
		return nil
	}
	j.f = f
	if goesOn {
		j.end() // of a line that was torn
	} else {
		j.write(head)
	}
	return j
}

// takeOver reads a journal into the folders, and reports whether it is one of
// this check.
func takeOver(name string, want journalHead, folders []*Folder) bool {
	f, err := safefile.Open(name)
	if err != nil {
		return false
	}
	defer f.Close() // nothing was written that could get lost
	lines := bufio.NewScanner(f)
	lines.Buffer(nil, longestLine)
	var head journalHead
	if !lines.Scan() || parseLine(lines.Text(), &head) != nil || head.Version != want.Version || len(head.Folders) != len(want.Folders) {
		return false
	}
	for i := range head.Folders {
		if head.Folders[i] != want.Folders[i] {
			return false
		}
	}
	if age := want.Began.Sub(head.Began); age < 0 || age > journalLife {
		return false
	}
	files := make([]map[string]*File, len(folders))
	for i, f := range folders {
		files[i] = make(map[string]*File, len(f.Files))
		for _, file := range f.Files {
			files[i][file.Path] = file
		}
	}
	for lines.Scan() {
		var l journalLine
		if parseLine(lines.Text(), &l) != nil || l.Folder < 0 || l.Folder >= len(folders) || len(l.Sum) != len(Sum{}) {
			continue // torn, or not ours
		}
		if file := files[l.Folder][string(l.Path)]; file != nil && l.holds(folders[l.Folder], file) {
			file.Sum, file.Read, file.Cached, file.Kept = Sum(l.Sum), true, l.Cached, true
		}
	}
	return true
}

// holds reports whether the line is about the file as it is now. Some file
// systems give files other numbers each time, and round their times so that two
// disks may agree: there only the same mount is proof of the same disk.
func (l *journalLine) holds(folder *Folder, file *File) bool {
	if !file.id.known || file.id.key() != (key{l.Dev, l.Ino}) || file.id.changed == 0 || file.id.changed != l.Changed ||
		file.Size != l.Size || file.modified != l.Modified {
		return false
	}
	if folder.mount != "" && file.id.dev == folder.dev {
		return folder.mount == l.Mount
	}
	return file.id.changed%int64(10*time.Millisecond) != 0
}

// add keeps a file that was read. Nothing that goes wrong with it is reported:
// the file is read again.
func (j *journal) add(folder *Folder, file *File) {
	if j == nil || !file.id.known || file.id.changed == 0 {
		return
	}
	j.write(journalLine{
		Folder: j.names[folder], Mount: folder.mount, Path: []byte(file.Path),
		Dev: file.id.dev, Ino: file.id.ino, Size: file.Size, Modified: file.modified, Changed: file.id.changed,
		Sum: file.Sum[:], Cached: file.Cached,
	})
}

func (j *journal) write(line any) {
	text, err := json.Marshal(line)
	if err != nil {
		return
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	fmt.Fprintf(j.f, "%s %08x\n", text, crc32.ChecksumIEEE(text))
}

func (j *journal) end() {
	j.mu.Lock()
	defer j.mu.Unlock()
	io.WriteString(j.f, "\n")
}

func parseLine(line string, to any) error {
	at := strings.LastIndexByte(line, ' ')
	if at < 0 || line[at+1:] != fmt.Sprintf("%08x", crc32.ChecksumIEEE([]byte(line[:at]))) {
		return errors.New("not a line of a journal")
	}
	return json.Unmarshal([]byte(line[:at]), to)
}

// close ends the journal, and deletes it where the check is finished.
func (j *journal) close(finished bool) {
	if j == nil {
		return
	}
	j.f.Close()
	if finished {
		_ = os.Remove(j.f.Name())
	}
}
