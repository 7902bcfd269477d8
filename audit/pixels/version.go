package pixels

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"io/fs"
	"runtime"
	"strings"
	"sync"
)

// sources are those of this package, tests too, as the pattern takes them all.
//
//go:embed *.go
var sources embed.FS

// Version returns a word that changes whenever the same pictures may be measured or
// judged otherwise: with the code of this package, with the thresholds that stand in
// it, or with the standard library that decodes pictures and does the arithmetic.
var Version = sync.OnceValue(func() string { return VersionOf(sources) })

// VersionOf returns a word that changes with the sources of a package, those of its tests
// left out, and with the Go version.
func VersionOf(sources embed.FS) string {
	h := sha256.New()
	h.Write([]byte(runtime.Version() + " " + runtime.GOARCH))
	entries, err := fs.ReadDir(sources, ".") // sorted by name
	for _, e := range entries {
		if strings.HasSuffix(e.Name(), "_test.go") {
			continue
		}
		var text []byte
		if text, err = sources.ReadFile(e.Name()); err != nil {
			break
		}
		h.Write([]byte(e.Name()))
		h.Write(text)
	}
	if err != nil { // what is part of the program can always be read
		panic(err)
	}
	return hex.EncodeToString(h.Sum(nil))
}
