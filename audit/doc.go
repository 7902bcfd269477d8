// Package audit is what is judged: what a rule is, how rules are run over a
// session that was shot, what they find, and what comes of it. It knows no
// particular rule and no output form.
//
// [Judge] takes the files of a shoot, has them grouped by audit/shoot, has their
// pictures inspected, and runs the rules. [Live] does the same again and again
// while a folder fills.
package audit
