// Package board is what is to be shown of a set while it is shot: one state, from which
// the line on the terminal, the board, the sounds, the page and the messages are all
// written, so that they never differ.
//
// A [Set] takes in what an [audit.Live] reports and what became of the folder, and
// returns a [State] for any moment: plain values, which may be handed on to other
// goroutines and written as JSON. It knows no form and no device.
package board

import (
	"fmt"
	"time"
)

// A Phase is what a set is doing, in one word.
type Phase uint8

// The phases, in the order of their urgency.
const (
	Idle     Phase = iota // nothing was shot since the start
	Good                  // the last sequence is good
	Shooting              // frames come
	Inspect               // the sequence must be inspected before the set changes
	Stalled               // frames stopped coming before the sequence was complete
	Again                 // the sequence must be shot again
	Lost                  // the folder cannot be read, so that nothing is known
)

var phaseNames = [...]string{Idle: "idle", Good: "good", Shooting: "shooting", Inspect: "inspect", Stalled: "stalled", Again: "again", Lost: "lost"}

// String returns the word for the phase in JSON.
func (p Phase) String() string { return phaseNames[p] }

// MarshalText writes the word.
func (p Phase) MarshalText() ([]byte, error) { return []byte(p.String()), nil }

// UnmarshalText reads the word.
func (p *Phase) UnmarshalText(text []byte) error {
	for i, name := range phaseNames {
		if name == string(text) {
			*p = Phase(i)
			return nil
		}
	}
	return fmt.Errorf("%q is no phase of a set", text)
}

// A State is what is to be shown of a set at a moment. Its texts may come from files: a
// form shows them escaped. Its slices are its own.
type State struct {
	Phase Phase `json:"state"`
	// Since is when the phase began, At the moment of the state.
	Since time.Time `json:"since"`
	At    time.Time `json:"at"`
	// Sequence is the one that the phase is about: nil while idle. Where the folder is
	// lost it is the open one, if there is one.
	Sequence *Sequence `json:"sequence"`
	// Do is the one thing to do now: an instruction without capital and full stop, empty
	// where there is nothing to do but go on.
	Do string `json:"do"`
	// Silenced reports that the photographer took note of what must be shot again, or of
	// the loss, so that it sounds no longer.
	Silenced bool `json:"silenced"`
	// Findings are those of check and reshoot that nothing has settled yet, of the latest
	// sequence first; Again are the sequences among them that must be shot again.
	Findings []Finding `json:"findings"`
	Again    []string  `json:"again"`
	// Closed are the sequences that closed last since the start, the latest first, at most
	// [MostClosed].
	Closed []Closed `json:"closed"`
	// Next is the view of the shot list that is to be shot next, Views how far the list
	// is; empty where there is none.
	Next  string `json:"next"`
	Views string `json:"views"`
	// Last is the newest frame; nil before the first.
	Last *Frame `json:"last_frame"`
	// Room is how many more sequences of the running kind the disk of the folder holds;
	// nil where that is not known.
	Room *float64 `json:"room_sequences"`
	// Leaves is when the subject leaves, Time what that means for the open views; nil and
	// empty where it is not declared.
	Leaves *time.Time `json:"subject_leaves"`
	Time   string     `json:"time_left"`
	// Gone are the folders that cannot be read for now.
	Gone []string `json:"gone"`
}

// A Sequence is what is shown of the sequence that a phase is about.
type Sequence struct {
	// Key is the path of its first frame, which stays the same while IDs may change.
	Key      string   `json:"key"`
	ID       string   `json:"id"`
	Kind     string   `json:"kind"`
	View     string   `json:"view"`
	Verdict  string   `json:"verdict"`
	Frames   int      `json:"frame_count"`
	Expected int      `json:"expected_count"` // 0 where nothing shows it
	Cadence  *float64 `json:"cadence_s"`      // nil where there is none
	Open     bool     `json:"open"`
}

// A Frame is the newest frame.
type Frame struct {
	Path string    `json:"path"`
	Came time.Time `json:"came"` // when its latest file was put in
}

// A Finding is what is open on a sequence.
type Finding struct {
	Sequence string `json:"sequence"` // its ID; empty in a finding of a session
	Key      string `json:"key"`      // of the sequence
	Rule     string `json:"rule"`
	Title    string `json:"title"`
	Severity string `json:"severity"`
	Message  string `json:"message"`
	Action   string `json:"action"`
	// Frames are the paths of those that show it best.
	Frames []string `json:"frames"`
}

// A Closed is a sequence that closed.
type Closed struct {
	Sequence
	First string    `json:"first"` // label of its first frame, "0002"
	Last  string    `json:"last"`
	At    time.Time `json:"closed"` // when it closed
	// Retaken is the ID of the sequence that repeats it; empty where none does.
	Retaken string `json:"superseded_by"`
}

// MostClosed is how many closed sequences a state names, MostFindings how many findings.
const (
	MostClosed   = 8
	MostFindings = 50
)
