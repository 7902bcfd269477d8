package main

import (
	"os"
	"runtime"
	"runtime/debug"
	"runtime/metrics"
	"time"
)

// collectAt has garbage looked for where this many percent were added to what is in use,
// unless GOGC decides it. It returns what brings back the share before.
func collectAt(percent int) (back func()) {
	if os.Getenv("GOGC") != "" {
		return func() {}
	}
	before := debug.SetGCPercent(percent)
	return func() { debug.SetGCPercent(before) }
}

const (
	// A watch looks for garbage at this share of what is in use, as it runs all day beside
	// other programs.
	watchGarbage = 25
	// While pictures are inspected: each is garbage as soon as it is measured. 500 frames of two
	// megapixels take 39 MB in place of the 51 MB that main's setting makes of it, and as long.
	// A watch of one run of 100 takes 45 MB in place of 50, and as long.
	pictureGarbage, watchPictureGarbage = 100, 8
)

// collectPictures has garbage looked for sooner while pictures are inspected. It returns what
// brings back the share before.
func collectPictures() (back func()) {
	now := []metrics.Sample{{Name: "/gc/gogc:percent"}}
	metrics.Read(now)
	switch share := now[0].Value.Uint64(); {
	case share > pictureGarbage:
		return collectAt(pictureGarbage)
	case share <= watchGarbage:
		return collectAt(watchPictureGarbage)
	}
	return func() {}
}

const (
	// A watch at rest for this long makes next to no garbage.
	restAfter = time.Minute
	// It may add this much before any is looked for.
	restGarbage = 32 << 20 // bytes
)

// A restingCollector keeps the runtime from looking for garbage while a watch rests. The
// runtime does so every two minutes even where none was made, and to go through what is
// kept of 50,000 frames costs more than all else that a watch does at rest.
type restingCollector struct {
	since time.Time // the beginning of the rest; zero where there is none
	back  func()    // ends it; nil where garbage is looked for as usual
}

// rests takes in whether the watch rests.
func (r *restingCollector) rests(yes bool, now time.Time) {
	switch {
	case !yes:
		r.since = time.Time{}
		if r.back != nil {
			r.back()
			r.back = nil
		}
	case r.since.IsZero():
		r.since = now
	case r.back == nil && now.Sub(r.since) >= restAfter:
		r.back = collectBeyond(restGarbage)
	}
}

// collectBeyond looks for garbage once, gives back to the system what is free, and has no
// more looked for until so many bytes were added, unless the environment decides it. It
// returns what ends that.
func collectBeyond(bytes int64) (back func()) {
	if os.Getenv("GOGC") != "" || os.Getenv("GOMEMLIMIT") != "" {
		return func() {}
	}
	debug.FreeOSMemory()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	limit := debug.SetMemoryLimit(int64(m.Sys-m.HeapReleased) + bytes)
	percent := debug.SetGCPercent(-1)
	return func() {
		debug.SetGCPercent(percent)
		debug.SetMemoryLimit(limit)
	}
}
