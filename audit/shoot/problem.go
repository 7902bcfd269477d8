package shoot

// A ProblemKind is what a [Problem] means for the frames.
type ProblemKind uint8

// The kinds of problem.
const (
	LinkElsewhere ProblemKind = iota // a link that is not followed: what it leads to is another folder, or no frame
	HasRule                          // a file that is there and cannot be read: a rule finds it
	NotFound                         // it is not there
	NotRead                          // it is there, and what is in it is not known
	Empty                            // a folder that was named, without a picture in it
)

// A Problem is a folder or a file that could not be inspected.
type Problem struct {
	Kind ProblemKind
	Path string // as in reports; of a folder that was named, as it was named
	Err  error  // in plain words, with the path to open
}

// Error returns the problem in plain words.
func (p *Problem) Error() string { return p.Err.Error() }

// Unwrap returns the error of the system.
func (p *Problem) Unwrap() error { return p.Err }

// Missed reports whether frames may have been missed, which no rule can find.
func (p *Problem) Missed() bool { return p.Kind >= NotFound }
