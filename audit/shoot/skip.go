package shoot

import (
	"path"
	"slices"
	"strings"

	"prestrike/exifread"
)

// PassedOver reports whether a file, or a folder, of this base name holds no
// frames to audit. A file is then counted at most and never opened, a folder
// never entered. It is the one list for folders that are read at once and for
// those that are followed while they fill.
func PassedOver(name string, folder bool) bool {
	lower := strings.ToLower(name)
	switch {
	case hidden(name):
		return true
	case folder:
		return SystemFolder(name) || path.Ext(lower) == ".download"
	default:
		return SystemFile(name) || Sidecar(name) || otherExtensions[path.Ext(lower)] || Unfinished(name)
	}
}

// Unfinished reports whether a file's name shows that a copy or a download is
// still being written. Its last name follows when it is complete.
func Unfinished(name string) bool {
	lower := strings.ToLower(name)
	return slices.ContainsFunc(unfinishedEndings, func(end string) bool { return strings.HasSuffix(lower, end) })
}

// UnfinishedFrame returns the last name of a frame whose copy is still being
// written, for the name that the copier gave it; empty where the file will be no
// frame. What ends in "~" is not taken for one: editors keep former versions so.
func UnfinishedFrame(name string) string {
	lower := strings.ToLower(name)
	for _, end := range unfinishedEndings {
		if frame := name[:max(0, len(name)-len(end))]; end != "~" && strings.HasSuffix(lower, end) && exifread.PictureExtension(frame) {
			return frame
		}
	}
	return ""
}

// unfinishedEndings are common practice of programs that copy and of browsers.
var unfinishedEndings = []string{
	"~", ".part", ".partial", ".filepart", ".tmp", ".temp", ".download", ".crdownload", ".opdownload",
}

// hidden reports whether the name is one that systems keep for themselves.
func hidden(name string) bool { return strings.HasPrefix(name, ".") }

// SystemFolder reports whether a folder of this base name holds what systems and
// network disks keep for themselves.
func SystemFolder(name string) bool { return systemFolders[strings.ToLower(name)] }

// SystemFile reports whether a file of this base name is one that systems keep
// for themselves in folders of anyone's: how a folder is shown, its thumbnails,
// the second half of a file.
func SystemFile(name string) bool {
	return systemFiles[strings.ToLower(name)] || strings.HasPrefix(name, "._")
}

// Sidecar reports whether a file of this base name holds what was decided about
// a picture on a computer, beside the picture: metadata in XMP (ISO 16684-1). What
// single programs keep beside pictures under endings of their own is read and
// passed over by its content.
func Sidecar(name string) bool { return path.Ext(strings.ToLower(name)) == ".xmp" }

// systemFolders hold what systems and network disks keep for themselves: bins,
// thumbnails, the second halves of files, what a repair of the disk found.
var systemFolders = map[string]bool{
	"system volume information": true, "$recycle.bin": true, "lost+found": true, "@eadir": true, "__macosx": true,
	".trashes": true, ".trash": true, ".spotlight-v100": true, ".fseventsd": true, ".temporaryitems": true,
}

var systemFiles = map[string]bool{"thumbs.db": true, "desktop.ini": true, ".ds_store": true}

// otherExtensions are those of small pictures beside films, databases of thumbnails, video, sound and text.
var otherExtensions = map[string]bool{
	".thm": true, ".db": true,
	".mov": true, ".mp4": true, ".m4v": true, ".avi": true, ".mts": true, ".m2ts": true, ".mxf": true, ".mpg": true, ".mpeg": true, ".3gp": true, ".lrv": true, ".mkv": true, ".webm": true,
	".wav": true, ".mp3": true, ".m4a": true, ".aac": true, ".flac": true, ".ogg": true,
	".txt": true, ".md": true, ".csv": true, ".json": true, ".xml": true, ".html": true, ".htm": true, ".pdf": true, ".log": true, ".ini": true, ".toml": true, ".yaml": true, ".yml": true,
	".ctg": true, ".dat": true, ".bin": true, ".bdm": true, ".cpi": true, ".mpl": true, ".bup": true, ".ifo": true, ".inp": true, ".int": true, ".sec": true,
	".zip": true, ".exe": true, ".dll": true, ".go": true, ".py": true, ".sh": true, ".svg": true, ".doc": true, ".docx": true, ".xls": true, ".xlsx": true, ".odt": true,
}
