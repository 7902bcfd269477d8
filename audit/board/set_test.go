package board_test

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/board"
	"prestrike/audit/shoot"
	"prestrike/rules"

	"github.com/google/go-cmp/cmp"
)

// A shooting is a session that is put in frame by frame, by the time at which each was
// made, on a clock of its own.
type shooting struct {
	t     *testing.T
	live  *audit.Live
	set   *board.Set
	files []*shoot.File // that are still to come
	now   time.Time
	heard []board.Sound
}

func begin(t *testing.T, text string) *shooting {
	t.Helper()
	session, err := audittest.Read(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	opt := session.Options
	opt.Rules, opt.Expected = rules.All(), rules.ExpectedFrames
	s := &shooting{t: t, live: audit.NewLive(&opt), files: session.Files}
	s.set = board.New(s.live)
	s.now = made(session.Files[0])
	return s
}

func made(f *shoot.File) time.Time {
	at, _ := f.Meta.Captured.Get()
	return at.Wall
}

// until plays on to so long after the frame of a label came, and returns the state.
func (s *shooting) until(label string, after time.Duration) board.State {
	s.t.Helper()
	end := time.Time{}
	for ; end.IsZero() || !s.now.After(end); s.now = s.now.Add(time.Second / 5) {
		for len(s.files) > 0 && !made(s.files[0]).After(s.now) {
			f := s.files[0]
			s.live.Put(f.Path, f, s.now)
			if strings.Contains(f.Path, label) {
				end = s.now.Add(after)
			}
			s.files = s.files[1:]
		}
		s.look(false)
		if end.IsZero() && len(s.files) == 0 {
			end = s.now.Add(after)
		}
	}
	return s.set.State(s.now)
}

func (s *shooting) look(closeAll bool) {
	s.t.Helper()
	events, err := s.live.Look(s.t.Context(), s.now, closeAll, false)
	if err != nil {
		s.t.Fatal(err)
	}
	for _, e := range events {
		s.set.Report(e, s.now)
	}
	if sound := s.set.Sound(s.now); sound != board.Silence {
		s.heard = append(s.heard, sound)
	}
}

func (s *shooting) wants(state board.State, headline string, heard ...board.Sound) {
	s.t.Helper()
	if got := state.Headline(); got != headline {
		s.t.Errorf("%q is shown, want %q", got, headline)
	}
	if diff := cmp.Diff(heard, s.heard); diff != "" {
		s.t.Errorf("%s: heard (-want +got):\n%s", headline, diff)
	}
	s.heard = nil
}

const (
	planned = "# planned 20\n"
	first   = "DCIM/100BXCAM/BX1_0001..0020.NEF every 1.3s time=2026-03-04T10:11:12.34 t=1/60 f=8 iso=100 mm=90 serial=4711\n"
	second  = "DCIM/100BXCAM/BX1_0021..0040.NEF after 40s every 1.3s t=1/60 f=8 iso=100 mm=90 serial=4711\n"
)

func TestGoodRun(t *testing.T) {
	s := begin(t, planned+first)
	if got := s.set.State(s.now); got.Phase != board.Idle || got.Sequence != nil {
		t.Errorf("at the start: %+v", got)
	}
	s.wants(s.until("0012", 0), "shooting 12 of 20")
	// It has all its frames: nothing is waited for.
	s.wants(s.until("0020", 0), "good: 1.1", board.SoundGood)
	state := s.until("nothing", 10*time.Minute)
	s.wants(state, "good: 1.1")
	if len(state.Closed) != 1 || state.Closed[0].ID != "1.1" || state.Closed[0].First != "0001" || state.Closed[0].Last != "0020" {
		t.Errorf("closed are %+v", state.Closed)
	}
	if state.Last == nil || !strings.HasSuffix(state.Last.Path, "0020.NEF") {
		t.Errorf("the newest frame is %+v", state.Last)
	}
}

func TestStalledRun(t *testing.T) {
	s := begin(t, planned+"DCIM/100BXCAM/BX1_0001..0012.NEF every 1.3s time=2026-03-04T10:11:12.34 t=1/60 f=8 iso=100 mm=90 serial=4711\n")
	s.wants(s.until("0012", 5*time.Second), "shooting 12 of 20")
	s.wants(s.until("nothing", 2*time.Second), "stalled at 12 of 20", board.SoundStalled)
	// Nobody comes: it is closed with its verdict, which is not good.
	state := s.until("nothing", 3*time.Minute)
	s.wants(state, "shoot 1.1 again", slices.Repeat([]board.Sound{board.SoundAgain}, len(s.heard))...)
	if state.Do != "shoot the sequence again to its end" || !slices.Equal(state.Again, []string{"1.1"}) || len(state.Findings) != 1 {
		t.Errorf("to do: %q, again %q, findings %v", state.Do, state.Again, state.Findings)
	}
}

// A run that stalled and goes on is as if nothing had been.
func TestStalledRunGoesOn(t *testing.T) {
	s := begin(t, planned+first)
	s.files = s.files[:12]
	s.wants(s.until("nothing", 8*time.Second), "stalled at 12 of 20", board.SoundStalled)
	session, _ := audittest.Read(strings.NewReader(first))
	for _, f := range session.Files[12:] {
		s.live.Put(f.Path, f, s.now)
		s.now = s.now.Add(time.Second)
	}
	s.look(false)
	s.wants(s.set.State(s.now), "good: 1.1", board.SoundGood)
}

// What no frame to come can take back is shown and heard while frames come.
func TestCertainAtOnce(t *testing.T) {
	s := begin(t, first+"DCIM/100BXCAM/BX1_0021..0040.NEF iso=800\n")
	at := s.until("0021", 0)
	s.wants(at, "inspect 1.1", board.SoundInspect)
	if !strings.Contains(at.Do, "shoot the sequence again") {
		t.Errorf("to do: %q", at.Do)
	}
}

// What must be shot again sounds until it was.
func TestRetakeSettles(t *testing.T) {
	text := planned + `
DCIM/100BXCAM/BX1_0001..0009.NEF every 1.3s time=2026-03-04T10:11:12.34 t=1/60 f=8 iso=100 mm=90 serial=4711
DCIM/100BXCAM/BX1_0012..0020.NEF after 3.9s every 1.3s
DCIM/100BXCAM/BX1_0021..0040.NEF after 40s every 1.3s
`
	s := begin(t, text)
	s.until("0020", 10*time.Second)
	s.wants(s.set.State(s.now), "shoot 1.1 again", board.SoundAgain)
	// The retake begins: it sounds no more while that runs.
	s.until("0026", 0)
	s.heard = nil
	s.wants(s.until("0039", 0), "shooting 19 of 20")
	s.wants(s.until("0040", 0), "good: 1.2", board.SoundGood)
	s.wants(s.until("nothing", 5*time.Minute), "good: 1.2")
}

// What must be shot again sounds every 20 s until somebody takes note of it.
func TestSilence(t *testing.T) {
	s := begin(t, planned+`
DCIM/100BXCAM/BX1_0001..0009.NEF every 1.3s time=2026-03-04T10:11:12.34 t=1/60 f=8 iso=100 mm=90 serial=4711
DCIM/100BXCAM/BX1_0012..0020.NEF after 3.9s every 1.3s
`)
	s.until("0020", 10*time.Second)
	s.until("nothing", time.Minute)
	s.wants(s.set.State(s.now), "shoot 1.1 again", board.SoundAgain, board.SoundAgain, board.SoundAgain, board.SoundAgain)
	if !s.set.Silence() || s.set.Silence() {
		t.Error("there is one thing to silence, once")
	}
	state := s.until("nothing", time.Minute)
	s.wants(state, "shoot 1.1 again")
	if !state.Silenced {
		t.Error("it is not silenced")
	}
}

func TestLostAndBack(t *testing.T) {
	s := begin(t, planned+first)
	s.until("0008", 0)
	s.set.Lost("tethered", s.now)
	s.live.Gone("")
	rest := s.files
	s.files = nil
	s.wants(s.until("nothing", 50*time.Second), "no folder", board.SoundLost, board.SoundLost, board.SoundLost)
	s.set.Silence()
	s.wants(s.until("nothing", time.Minute), "no folder")
	s.set.Back("tethered", s.now)
	s.live.Back("", s.now)
	s.wants(s.until("nothing", time.Second), "shooting 8 of 20", board.SoundBack)
	for _, f := range rest {
		s.live.Put(f.Path, f, s.now)
	}
	s.look(false)
	s.wants(s.set.State(s.now), "good: 1.1", board.SoundGood)
}

// At a start on what must be shot again that is shown and sounds once.
func TestStartOnWhatIsThere(t *testing.T) {
	s := begin(t, planned+`
DCIM/100BXCAM/BX1_0001..0009.NEF every 1.3s time=2026-03-04T10:11:12.34 t=1/60 f=8 iso=100 mm=90 serial=4711
DCIM/100BXCAM/BX1_0012..0020.NEF after 3.9s every 1.3s
`)
	for _, f := range s.files {
		s.live.Put(f.Path, f, s.now)
	}
	s.files = nil
	if _, err := s.live.Look(t.Context(), s.now, false, true); err != nil {
		t.Fatal(err)
	}
	s.set.Start(s.now)
	s.wants(s.until("nothing", time.Minute), "shoot 1.1 again", board.SoundAgain)
}

func TestRoom(t *testing.T) {
	s := begin(t, planned+strings.Replace(first, "serial", "bytes=25000000 serial", 1))
	s.set.Free(900_000_000)
	state := s.until("0010", 0)
	if state.Room == nil || *state.Room != 1.8 {
		t.Errorf("room for %v sequences of 20 frames of 25 MB in 900 MB, want 1.8", state.Room)
	}
}

// The names in JSON are those that other programs read.
func TestStateAsJSON(t *testing.T) {
	s := begin(t, planned+first)
	state := s.until("0012", 0)
	text, err := json.Marshal(state)
	if err != nil {
		t.Fatal(err)
	}
	var back board.State
	if err := json.Unmarshal(text, &back); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(state, back); diff != "" {
		t.Errorf("written and read again (-want +got):\n%s", diff)
	}
	for _, name := range []string{`"state":"shooting"`, `"frame_count":12`, `"expected_count":20`, `"last_frame":{`, `"closed":`, `"room_sequences":null`} {
		if !strings.Contains(string(text), name) {
			t.Errorf("%s is not in %s", name, text)
		}
	}
}
