package audittest

import (
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

func read(t *testing.T, text string) *Text {
	t.Helper()
	s, err := Read(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestRead(t *testing.T) {
	s := read(t, `
## a comment
# planned 50
# want missing-frame reshoot 0003-0005
# want-not-judged iso-drift no ISO
DCIM/100BXCAM/BX1_0001..0003.NEF+JPG every 1.3s time=2026-03-04T10:11:12.34+01:00 t=1/125 f=5.6 iso=100 dist=0.4..0.2
DCIM/100BXCAM/BX1_0005.NEF after 2.6s iso=-
DCIM/100BXCAM/BX1_0006.NEF unreadable="empty file"
`)
	var names []string
	for _, f := range s.Files {
		names = append(names, strings.TrimPrefix(f.Path, "DCIM/100BXCAM/BX1_"))
	}
	want := "0001.NEF 0001.JPG 0002.NEF 0002.JPG 0003.NEF 0003.JPG 0005.NEF 0006.NEF"
	if got := strings.Join(names, " "); got != want {
		t.Fatalf("files %s, want %s", got, want)
	}
	start := time.Date(2026, 3, 4, 10, 11, 12, 340e6, time.UTC)
	for _, tt := range []struct {
		file int
		at   time.Time
		dist float64
		iso  exifread.Value[uint32]
	}{
		{0, start, 0.4, exifread.Of(uint32(100))},
		{2, start.Add(1300 * time.Millisecond), 0.3, exifread.Of(uint32(100))},
		{5, start.Add(2600 * time.Millisecond), 0.2, exifread.Of(uint32(100))},
		{6, start.Add(5200 * time.Millisecond), 0.2, exifread.Value[uint32]{}},
	} {
		m := s.Files[tt.file].Meta
		at, _ := m.Captured.Get()
		if !at.Wall.Equal(tt.at) || at.Resolution != 10*time.Millisecond || at.Offset != exifread.Of(time.Hour) {
			t.Errorf("%s: captured %+v, want %v to 10 ms", s.Files[tt.file].Path, at, tt.at)
		}
		if d, _ := m.SubjectDistance.Get(); d.Metres < tt.dist-1e-9 || d.Metres > tt.dist+1e-9 {
			t.Errorf("%s: distance %v, want %v", s.Files[tt.file].Path, d.Metres, tt.dist)
		}
		if m.Sensitivity != tt.iso {
			t.Errorf("%s: ISO %v, want %v", s.Files[tt.file].Path, m.Sensitivity, tt.iso)
		}
	}
	if m := s.Files[0].Meta; m.FNumber != exifread.Of(exifread.Rational{Num: 56, Den: 10}) || m.Format != exifread.FormatNEF {
		t.Errorf("f-number %v, format %v; want 56/10, NEF", m.FNumber, m.Format)
	}
	if f := s.Files[7]; f.Err == nil || f.Err.Error() != "empty file" || f.Meta.HasExif {
		t.Errorf("unreadable file: error %v, Exif %v", f.Err, f.Meta.HasExif)
	}
	if s.Options.PlannedFrames != 50 || len(s.Wants) != 1 || len(s.NotJudged) != 1 {
		t.Errorf("planned %d, wants %v, not judged %v", s.Options.PlannedFrames, s.Wants, s.NotJudged)
	}
}

func TestReadWholeSeconds(t *testing.T) {
	s := read(t, "a/BX1_0001..0004.JPG every 0.5s time=2026-03-04T10:11:12")
	var seconds []int
	for _, f := range s.Files {
		at, _ := f.Meta.Captured.Get()
		if at.Resolution != time.Second || at.Offset.Known() {
			t.Errorf("%s: captured %+v, want whole seconds without a zone", f.Path, at)
		}
		seconds = append(seconds, at.Wall.Second())
	}
	if want := [4]int{12, 12, 13, 13}; [4]int(seconds) != want {
		t.Errorf("seconds %v, want %v", seconds, want)
	}
}

// A mistake in a session must not pass for a session without faults.
func TestReadRefuses(t *testing.T) {
	for _, text := range []string{
		"# wnat iso-drift check 0001",
		"# want iso-drift terrible 0001",
		"# a comment with one sign",
		"a/BX1_0001.JPG",
		"a/BX1_0001.JPG time=yesterday",
		"a/BX1_0001.JPG time=2026-03-04T10:11:12 iso=high",
		"a/BX1_0001.JPG time=2026-03-04T10:11:12 colour=red",
		"a/BX1_0005..0001.JPG time=2026-03-04T10:11:12",
		`a/BX1_0001.JPG time=2026-03-04T10:11:12 torn="open`,
		"a/BX1_0001.JPG time=2026-03-04T10:11:12 every",
	} {
		if _, err := Read(strings.NewReader(text)); err == nil {
			t.Errorf("%q is read without an error", text)
		}
	}
}

func TestMismatches(t *testing.T) {
	frames := []*shoot.Frame{{Number: shoot.Number{Known: true, N: 3, Digits: 4}}, {Number: shoot.Number{Known: true, N: 5, Digits: 4}}}
	result := &audit.Result{Sessions: []*audit.Session{{Sequences: []*audit.Reviewed{{
		Findings:  []*audit.Finding{{Rule: "missing-frame", Severity: audit.Reshoot, Frames: frames}},
		NotJudged: []audit.NotJudged{{Rule: "iso-drift", Reason: "no ISO recorded"}},
	}}}}, Verdict: audit.VerdictReshoot}
	for _, tt := range []struct {
		name, text string
		want       int
	}{
		{"all as wanted", "# want missing-frame reshoot 0003-0005\n# want-not-judged iso-drift no ISO\n# want-verdict reshoot", 0},
		{"surplus finding", "# want-not-judged iso-drift no ISO", 1},
		{"missing finding", "# want missing-frame reshoot 0003-0005\n# want frame-turn check 0003\n# want-not-judged iso-drift no ISO", 1},
		{"other frames", "# want missing-frame reshoot 0003-0006\n# want-not-judged iso-drift no ISO", 2},
		{"other severity", "# want missing-frame check 0003-0005\n# want-not-judged iso-drift no ISO", 2},
		{"other reason", "# want missing-frame reshoot 0003-0005\n# want-not-judged iso-drift no f-number", 2},
		{"surplus not judged", "# want missing-frame reshoot 0003-0005", 1},
		{"other verdict", "# want missing-frame reshoot 0003-0005\n# want-not-judged iso-drift no ISO\n# want-verdict good", 1},
	} {
		if got := read(t, tt.text).Mismatches(result); len(got) != tt.want {
			t.Errorf("%s: %d mismatches, want %d: %q", tt.name, len(got), tt.want, got)
		}
	}
	if got := read(t, "# want missing-frame reshoot 0003-0005").Mismatches(result, "missing-frame"); len(got) != 0 {
		t.Errorf("only missing-frame compared: %q, want none", got)
	}
}
