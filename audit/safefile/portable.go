package safefile

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// longestName is the most bytes of a name that [Portable] returns. The file systems in
// use take 255 bytes or UTF-16 units; what is left over is for an addition of the caller.
const longestName = 120

// Portable returns a name for a file or folder that every file system in use takes, as
// near to the one given as can be; never an empty one. It has no path separators, no
// control characters, nothing that FAT, exFAT or NTFS refuse, no blanks and dots at its
// end, and is none of the names that one system keeps for its devices.
//
// Source: Microsoft, "Naming Files, Paths, and Namespaces"; POSIX.1-2017, 3.170 Filename.
func Portable(name string) string {
	var b strings.Builder
	for _, r := range name {
		switch {
		case r == utf8.RuneError, strings.ContainsRune(`<>:"/\|?*`, r), unicode.IsControl(r), !unicode.IsPrint(r):
			r = '_'
		}
		if b.Len()+utf8.RuneLen(r) > longestName {
			break
		}
		b.WriteRune(r)
	}
	out := strings.TrimLeft(strings.TrimRight(b.String(), " ."), " ")
	if rest, ok := strings.CutPrefix(out, "-"); ok {
		out = "_" + rest // no program is to take it for a flag
	}
	stem, _, _ := strings.Cut(out, ".")
	if device(strings.ToUpper(strings.TrimRight(stem, " "))) {
		out = "_" + out
	}
	if out == "" || strings.HasPrefix(out, ".") { // a hidden one would not be seen
		out = "_" + out
	}
	return out
}

// device reports whether a system keeps the name, in capitals, for a device.
func device(name string) bool {
	switch name {
	case "CON", "PRN", "AUX", "NUL", "CONIN$", "CONOUT$":
		return true
	}
	for _, port := range []string{"COM", "LPT"} {
		if n, ok := strings.CutPrefix(name, port); ok && len([]rune(n)) == 1 && strings.ContainsAny(n, "0123456789¹²³") {
			return true
		}
	}
	return false
}
