package pixels

import "sync"

// A Memo keeps registrations by the fingerprints of the two pictures. Sequences that share
// one register no pair of pictures twice, which is what takes most of the time of tests that
// do one fault after the other to the same run. The zero value is ready for use, on several
// goroutines at once; a nil Memo keeps nothing.
type Memo struct{ motions sync.Map }

// pair is a registration: from a to b, beginning at near where that is known.
type pair struct {
	a, b   uint64
	near   Motion
	nearby bool
}

// motion returns what is kept of a pair, or else finds and keeps it.
func (m *Memo) motion(p pair, find func() Motion) Motion {
	if m == nil {
		return find()
	}
	if known, ok := m.motions.Load(p); ok {
		return known.(Motion)
	}
	mo := find()
	m.motions.Store(p, mo)
	return mo
}

// UseMemo has the sequence share registrations through m.
func (s *Sequence) UseMemo(m *Memo) { s.memo = m }
