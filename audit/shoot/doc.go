// Package shoot is what was shot: files, frames, bodies, sequences and sessions.
// It knows no rule, no finding and no verdict.
//
// Files are read ([Collect]), paired into frames, ordered by body, cut into runs,
// and gathered into sequences and sessions ([Group]).
package shoot
