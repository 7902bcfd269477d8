package shoot

import (
	"path"
	"strings"

	"prestrike/exifread"
)

// Torn reports whether a picture can be read from the file whose image data
// ends early.
func (f *File) Torn() bool {
	return f.Err == nil && f.Meta.Integrity.State == exifread.IntegrityTorn
}

// raw reports whether the file is raw, by content, or by name where the
// content is not known.
func (f *File) raw() bool {
	if f.Err == nil {
		return f.Meta.Format.Raw()
	}
	return rawExtensions[strings.ToLower(path.Ext(f.Path))]
}

// rawExtensions are the usual extensions of raw files; they only matter where
// the content cannot be read.
var rawExtensions = map[string]bool{
	".3fr": true, ".arw": true, ".cr2": true, ".cr3": true, ".crw": true, ".dng": true, ".erf": true, ".fff": true,
	".iiq": true, ".kdc": true, ".mef": true, ".mos": true, ".mrw": true, ".nef": true, ".nrw": true, ".orf": true,
	".pef": true, ".raf": true, ".raw": true, ".rw2": true, ".rwl": true, ".sr2": true, ".srf": true, ".srw": true, ".x3f": true,
}
