package proof

import (
	"embed"
	"sync"

	"prestrike/audit/pixels"
)

// sources are those of this package, tests too, as the pattern takes them all.
//
//go:embed *.go
var sources embed.FS

// Version returns a word that changes whenever the same pictures may give another proof:
// with the code of this package, or of audit/pixels.
var Version = sync.OnceValue(func() string { return pixels.Version() + pixels.VersionOf(sources) })
