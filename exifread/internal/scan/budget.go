package scan

// What one file may have a container reader do, whatever it holds. Honest files
// stay far below: they have one Exif block, of some tens of kilobytes.
const (
	maxTries = 4       // places that are loaded or unpacked, because there may be Exif data
	maxBytes = 2 << 20 // of these: as stored, and again as unpacked
	maxSteps = 1 << 16 // boxes, chunks or segments
)

// A Budget is what is left for one file. All that grows with what a file claims
// is taken from it, so that a flood of small claims costs no more than a large
// one. The zero Budget is full.
type Budget struct {
	tries, steps int
	bytes        int64
}

// Step takes one box, chunk or segment, and reports whether it was left.
func (b *Budget) Step() bool {
	b.steps++
	return b.steps <= maxSteps
}

// Try takes one place to be loaded or unpacked, and reports whether it was left.
func (b *Budget) Try() bool {
	b.tries++
	return b.tries <= maxTries
}

// Take takes n bytes, and reports whether they were left. Where they were not,
// nothing is taken.
func (b *Budget) Take(n int64) bool {
	if n < 0 || n > b.Left() {
		return false
	}
	b.bytes += n
	return true
}

// Left returns the bytes that are left.
func (b *Budget) Left() int64 { return maxBytes - b.bytes }
