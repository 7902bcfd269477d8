// Package audit is the domain of prestrike and its driver: frames, sequences,
// sessions, how frames are grouped, what a rule is, and how rules are run over
// a session. It knows no particular rule and no output form.
//
// Data flows one way: files are read ([Collect]), paired into frames, ordered
// by body, grouped into sequences and sessions, reviewed by rules, and given a
// verdict ([Judge]).
package audit
