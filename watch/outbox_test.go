package watch

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
)

func TestOutboxMerges(t *testing.T) {
	e := func(k Kind, path string, size int64) Event { return Event{Kind: k, Path: path, Size: size} }
	tests := []struct {
		name   string
		pushed []Event
		want   []Event
	}{
		{"in order", []Event{e(Arrived, "b", 1), e(Found, "a", 2), e(CaughtUp, "", 0)}, []Event{e(Arrived, "b", 1), e(Found, "a", 2), e(CaughtUp, "", 0)}},
		{"arrived, then changed", []Event{e(Arrived, "a", 1), e(Changed, "a", 2)}, []Event{e(Arrived, "a", 2)}},
		{"found, then changed", []Event{e(Found, "a", 1), e(Changed, "a", 2)}, []Event{e(Found, "a", 2)}},
		{"came and went", []Event{e(Arrived, "a", 1), e(Found, "b", 1), e(Removed, "a", 0)}, []Event{e(Found, "b", 1)}},
		{"came, went and came", []Event{e(Arrived, "a", 1), e(Removed, "a", 0), e(Arrived, "a", 2)}, []Event{e(Arrived, "a", 2)}},
		{"went and came", []Event{e(Removed, "a", 0), e(Arrived, "a", 2)}, []Event{e(Changed, "a", 2)}},
		{"went, came, changed", []Event{e(Removed, "a", 0), e(Arrived, "a", 2), e(Changed, "a", 3)}, []Event{e(Changed, "a", 3)}},
		{"went, came and went", []Event{e(Removed, "a", 0), e(Arrived, "a", 2), e(Removed, "a", 0)}, []Event{e(Removed, "a", 0)}},
		{"changed, then went", []Event{e(Changed, "a", 2), e(Removed, "a", 0)}, []Event{e(Removed, "a", 0)}},
		{"a remark is told once", []Event{e(Overflow, "", 0), e(Overflow, "", 0)}, []Event{e(Overflow, "", 0)}},
		{"lost and back", []Event{e(FolderLost, "d", 0), e(FolderBack, "d", 0)}, []Event{e(FolderLost, "d", 0), e(FolderBack, "d", 0)}},
		{
			"lost, back, lost",
			[]Event{e(FolderLost, "d", 0), e(FolderBack, "d", 0), e(FolderLost, "d", 0)},
			[]Event{e(FolderLost, "d", 0)},
		},
		{"back, lost", []Event{e(FolderBack, "d", 0), e(FolderLost, "d", 0)}, nil},
		{"a folder and a file of one name", []Event{e(FolderLost, "d", 0), e(Arrived, "d", 1)}, []Event{e(FolderLost, "d", 0), e(Arrived, "d", 1)}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			var o outbox
			for _, e := range test.pushed {
				o.push(e)
			}
			var got []Event
			for {
				e, ok := o.peek()
				if !ok {
					break
				}
				got = append(got, e)
				o.pop()
			}
			if !slices.Equal(got, test.want) {
				t.Errorf("pushed %v, got %v, want %v", test.pushed, got, test.want)
			}
		})
	}
}

// Whatever comes and goes and however slow the receiver is, it ends with the
// truth, and the outbox never holds more than there are files.
func TestOutboxTruthAndSize(t *testing.T) {
	const names = 3000
	rnd := rand.New(rand.NewPCG(1, 2))
	var o outbox
	truth, received := map[string]int64{}, map[string]int64{}
	receive := func() {
		e, ok := o.peek()
		if !ok {
			return
		}
		o.pop()
		_, there := received[e.Path]
		switch e.Kind {
		case Arrived:
			if there {
				t.Fatalf("%v received, but it was there", e)
			}
			received[e.Path] = e.Size
		case Changed:
			if !there {
				t.Fatalf("%v received, but it was not there", e)
			}
			received[e.Path] = e.Size
		case Removed:
			if !there {
				t.Fatalf("%v received, but it was not there", e)
			}
			delete(received, e.Path)
		}
	}
	for i := range int64(300_000) {
		path := fmt.Sprint(rnd.IntN(names))
		switch _, there := truth[path]; {
		case !there:
			truth[path] = i
			o.push(Event{Kind: Arrived, Path: path, Size: i})
		case rnd.IntN(2) == 0:
			truth[path] = i
			o.push(Event{Kind: Changed, Path: path, Size: i})
		default:
			delete(truth, path)
			o.push(Event{Kind: Removed, Path: path})
		}
		if rnd.IntN(20) == 0 {
			receive()
		}
		if len(o.queue) > 4*names+2048 {
			t.Fatalf("%d waiting for %d names after %d events", len(o.queue), names, i)
		}
	}
	for len(o.queue) > 0 {
		if _, ok := o.peek(); !ok {
			break
		}
		receive()
	}
	if len(truth) != len(received) {
		t.Errorf("received %d files, want %d", len(received), len(truth))
	}
	for path, want := range truth {
		if got, ok := received[path]; !ok || got != want {
			t.Errorf("%s: received %d (%v), want %d", path, got, ok, want)
		}
	}
	if len(o.files) != 0 {
		t.Errorf("%d files still noted as waiting", len(o.files))
	}
}
