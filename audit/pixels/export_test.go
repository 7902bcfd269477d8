package pixels

// Memo lets sequences share registrations, for tests that use pictures many times.
type Memo map[[2]uint64]Motion

// UseMemo sets the memo of a sequence.
func (s *Sequence) UseMemo(m Memo) { s.memo = m }
