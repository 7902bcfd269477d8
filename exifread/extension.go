package exifread

import (
	"path/filepath"
	"strings"
)

// Names are what a file claims to be; they only count where its content cannot
// be read. The lists hold what is read and the old or rare raw files that a
// photographer would miss if they were passed over in silence.

// PictureExtension reports whether a file of that name claims to be a picture,
// raw or finished.
func PictureExtension(name string) bool {
	_, ok := extensions[extension(name)]
	return ok
}

// RawExtension reports whether a file of that name claims to be raw.
func RawExtension(name string) bool { return extensions[extension(name)] == rawFile }

func extension(name string) string { return strings.ToLower(filepath.Ext(name)) }

type claim uint8

const (
	finished claim = iota
	rawFile
)

var extensions = claims(map[claim]string{
	finished: ".jpg .jpeg .jpe .jfif .mpo .tif .tiff .btf .tf8 .heic .heif .hif .avif .png .webp .jxl",
	rawFile: ".3fr .arw .cr2 .cr3 .crw .dcr .dng .erf .fff .gpr .iiq .kdc .mef .mos .mrw .nef .nrw .orf .ori .pef .raf .raw " +
		".rw2 .rwl .sr2 .srf .srw .x3f",
})

func claims(lists map[claim]string) map[string]claim {
	all := map[string]claim{}
	for c, list := range lists {
		for _, e := range strings.Fields(list) {
			all[e] = c
		}
	}
	return all
}
