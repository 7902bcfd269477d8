// Package shoot is what was shot: files, frames, bodies, sequences and sessions.
// It knows no rule, no finding and no verdict.
//
// Files are read ([Collect]), paired into frames, ordered by body and cut into runs
// ([Runs]). What each run was made for and what held the camera is decided once, from
// all that is known, the pictures too ([Sessions]).
package shoot
