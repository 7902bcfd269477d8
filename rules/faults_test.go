package rules

import (
	"slices"
	"testing"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/shoot"
)

// faultFloors are the shares of faults, in percent, that are to be found today;
// they are raised when the program gets better, never lowered. The goal is 99.
var faultFloors = map[string]float64{
	"missing-frame": 97, "iso-drift": 99, "exposure-drift": 99, "aperture-drift": 99, "focal-length-drift": 99, "frame-turn": 99,
	"size-change": 99, "torn-file": 99, "unreadable-file": 99, "interval-gap": 90, "flash-missed": 99,
}

// consequences are what else is true of a sequence with a fault: half the exposure
// time of a flash picture may be shorter than the shutter syncs.
var consequences = map[string][]string{"exposure-drift": {"sync-speed"}}

// Every fault done to a made-up shoot is to be found in its sequence, by no other
// rule, and not to be settled by another one.
func TestFaultsAreFound(t *testing.T) {
	n := *seeds / 3
	if testing.Short() {
		n /= 10
	}
	stated := !testing.Short() && *seeds == statedSeeds && *seedsAt == 2_000_000
	for _, kind := range audittest.Faults {
		t.Run(kind, func(t *testing.T) {
			done, found, settled, split := 0, 0, 0, 0
			for seed := *seedsAt; seed < *seedsAt+uint64(n); seed++ {
				made := audittest.Random(seed)
				if !made.Clean {
					continue
				}
				fault, ok := made.Break(kind, seed)
				if !ok {
					continue
				}
				done++
				o := judgeFault(t, seed, made, fault)
				if o.settled {
					settled++
				}
				if o.found {
					found++
				} else {
					t.Logf("seed %d: not found in %s, %d frames from %s, whole %v", seed, fault.What, len(fault.Sequence), fault.Sequence[0], o.whole)
				}
				if !o.whole {
					split++
				}
			}
			if floor, ok := faultFloors[kind]; !ok || stated && share(found, done) < floor {
				t.Errorf("%s found, want %.0f %% (stated: %v)", rate(found, done), floor, ok)
			}
			t.Logf("%d done, %d found, %d settled by another sequence, %d not grouped exactly", done, found, settled, split)
		})
	}
}

// A faultOutcome is what an audit makes of a shoot with one fault.
type faultOutcome struct {
	found   bool // above a note, in a sequence that no retake settles
	settled bool // found in one that a retake settles
	whole   bool // the frames of the faulty sequence are one sequence
}

// judgeFault audits a shoot with a fault, which no other rule is to find.
func judgeFault(t *testing.T, seed uint64, made *audittest.Shoot, fault audittest.Fault) faultOutcome {
	t.Helper()
	result, err := audit.Judge(t.Context(), &shoot.Collection{Files: made.Files}, &audit.Options{Rules: All()})
	if err != nil {
		t.Fatal(err)
	}
	surplus := func(id string, f *audit.Finding) {
		if f.Severity > audit.Note {
			t.Errorf("seed %d: %s in %s: %s", seed, f.Rule, id, f.Message)
		}
	}
	var o faultOutcome
	for _, session := range result.Sessions {
		for _, f := range session.Findings {
			surplus(session.ID, f)
		}
		for _, q := range session.Sequences {
			var paths []string
			for _, f := range q.Frames {
				paths = append(paths, f.Path())
			}
			own := slices.Contains(fault.Sequence, paths[0])
			o.whole = o.whole || slices.Equal(paths, fault.Sequence)
			for _, f := range q.Findings {
				switch {
				case own && f.Rule == fault.Rule && f.Severity > audit.Note:
					o.found = o.found || q.SupersededBy == nil
					o.settled = o.settled || q.SupersededBy != nil
				case own && slices.Contains(consequences[fault.Rule], f.Rule):
				default:
					surplus(q.ID, f)
				}
			}
		}
	}
	return o
}
