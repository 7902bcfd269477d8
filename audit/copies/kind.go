package copies

import (
	"path"
	"strings"

	"prestrike/audit/shoot"
)

// A Kind is what a file is to the comparison.
type Kind uint8

const (
	Content      Kind = iota // must be in each copy, byte for byte
	Sidecar                  // must be in each copy, but may have been edited there
	Housekeeping             // what a camera writes for its own use: need not be copied
	passedOver               // what operating systems keep: not listed at all
)

// String returns the word that JSON uses.
func (k Kind) String() string {
	return [...]string{"content", "sidecar", "housekeeping", "passed over"}[k]
}

// What a camera writes for its own use, in lower case: print orders (DPOF keeps
// them in the folder MISC), and lists by which it finds its files. They are common
// practice, from memory.
var (
	housekeepingFolders    = map[string]bool{"misc": true, "avf_info": true}
	housekeepingExtensions = map[string]bool{".ctg": true, ".ind": true, ".mrk": true}
)

// folderKind returns the kind of everything in a folder; rel is its path from
// the top. Content means "whatever the file is".
func folderKind(rel string) Kind {
	name := path.Base(rel)
	switch {
	case shoot.SystemFolder(name):
		return passedOver
	case housekeepingFolders[strings.ToLower(name)]:
		return Housekeeping
	}
	return Content
}

func fileKind(name string) Kind {
	switch {
	case shoot.SystemFile(name):
		return passedOver
	case housekeepingExtensions[path.Ext(strings.ToLower(name))]:
		return Housekeeping
	case shoot.Sidecar(name):
		return Sidecar
	}
	return Content
}
