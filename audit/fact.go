package audit

import "prestrike/audit/shoot"

// A Fact is something that several rules need to know of a sequence, or of a
// whole session. It is computed when the first rule asks, and kept while that
// sequence or session is reviewed, so that its cost does not grow with the
// number of rules or sequences that ask.
type Fact[T any] struct {
	compute func(*Review) T
	session bool
}

// SequenceFact makes a fact of the sequence under review. compute reads the review
// and reports nothing: what it returns must not depend on which rule asks, so it
// takes parameters by [Review.ParamOf].
func SequenceFact[T any](compute func(*Review) T) *Fact[T] { return &Fact[T]{compute: compute} }

// SessionFact makes a fact of the whole session; the Sequence of the review that
// compute gets is nil.
func SessionFact[T any](compute func(*Review) T) *Fact[T] {
	return &Fact[T]{compute: compute, session: true}
}

// Of returns the fact for the review's sequence or session.
func (f *Fact[T]) Of(v *Review) T {
	about, pictures := v.Sequence, v.Pictures
	if f.session {
		about, pictures = nil, nil
	}
	if v.facts == nil {
		v.facts = facts{}
	}
	key := factKey{f, about}
	if known, ok := v.facts[key]; ok {
		return known.(T)
	}
	computed := f.compute(&Review{Session: v.Session, Sequence: about, Pictures: pictures, Options: v.Options, Pictured: v.Pictured, facts: v.facts})
	v.facts[key] = computed
	return computed
}

// facts are those computed so far in the review of one session.
type facts map[factKey]any

type factKey struct {
	fact  any             // the *Fact
	about *shoot.Sequence // nil for the session
}

// forget drops what is known of one sequence: no rule asks for it again.
func (k facts) forget(q *shoot.Sequence) {
	for key := range k {
		if key.about == q {
			delete(k, key)
		}
	}
}
