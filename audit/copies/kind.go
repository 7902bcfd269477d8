package copies

import (
	"path"
	"strings"
)

// A Kind says what a file is to the comparison.
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

// Lists of names, in lower case. They are common practice, from memory: no
// standard names them, but for the folder MISC (CIPA DC-009, DCF).
var (
	systemFolders = map[string]bool{
		"system volume information": true, "$recycle.bin": true, "lost+found": true,
		".trashes": true, ".trash": true, ".spotlight-v100": true, ".fseventsd": true, ".temporaryitems": true,
	}
	systemFiles = map[string]bool{".ds_store": true, "thumbs.db": true, "desktop.ini": true}

	// Sidecars hold what was decided about a picture on a computer. Those that
	// a camera writes beside a film are content.
	sidecarExtensions = map[string]bool{
		".xmp": true, ".pp3": true, ".dop": true, ".cos": true, ".on1": true, ".acr": true,
	}

	// Print orders, and lists by which a camera finds its own files.
	housekeepingFolders    = map[string]bool{"misc": true, "avf_info": true}
	housekeepingExtensions = map[string]bool{".ctg": true, ".ind": true, ".mrk": true}
)

// folderKind returns the kind of everything in a folder; rel is its path from
// the top. Content stands for "whatever the file is".
func folderKind(rel string) Kind {
	name := strings.ToLower(path.Base(rel))
	switch {
	case systemFolders[name]:
		return passedOver
	case housekeepingFolders[name]:
		return Housekeeping
	}
	return Content
}

func fileKind(name string) Kind {
	lower := strings.ToLower(name)
	ext := path.Ext(lower)
	switch {
	case systemFiles[lower], strings.HasPrefix(name, "._"):
		return passedOver
	case housekeepingExtensions[ext]:
		return Housekeeping
	case sidecarExtensions[ext]:
		return Sidecar
	}
	return Content
}
