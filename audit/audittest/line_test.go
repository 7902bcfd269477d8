package audittest

import (
	"path"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

func names(s *Text) string {
	var out []string
	for _, f := range s.Files {
		out = append(out, path.Base(f.Path))
	}
	return strings.Join(out, " ")
}

func TestReadNames(t *testing.T) {
	for _, tt := range []struct{ text, want string }{
		{"a/BX1_0001..0003.JPG reversed time=2026-03-04T10:11:12", "BX1_0003.JPG BX1_0002.JPG BX1_0001.JPG"},
		{"a/IMG_{20060102_150405}.JPG frames=2 every 2s time=2026-03-04T10:11:12", "IMG_20260304_101112.JPG IMG_20260304_101114.JPG"},
		{"a/IMG_{150405,000}.JPG frames=2 every 50ms time=2026-03-04T10:11:12.10", "IMG_101112100.JPG IMG_101112150.JPG"},
	} {
		if got := names(read(t, tt.text)); got != tt.want {
			t.Errorf("%s: files %s, want %s", tt.text, got, tt.want)
		}
	}
}

func TestReadTurns(t *testing.T) {
	s := read(t, `
a/BX1_0001..0004.NEF dead 0.5s time=2026-03-04T10:11:12.00 t=1,1/2 flash=fired,off
a/BX1_0005.NEF`)
	start := time.Date(2026, 3, 4, 10, 11, 12, 0, time.UTC)
	for i, want := range []struct {
		after, exposed float64
		fired          bool
	}{{0, 1, true}, {1.5, 0.5, false}, {2.5, 1, true}, {4, 0.5, false}, {5, 1, true}} {
		m := s.Files[i].Meta
		at, _ := m.Captured.Get()
		exposed, _ := m.ExposureTime.Get()
		flash, _ := m.Flash.Get()
		if at.Wall.Sub(start).Seconds() != want.after || exposed.Float() != want.exposed || flash.Fired() != want.fired {
			t.Errorf("frame %d: %v after the first, %v s, fired %v; want %+v", i+1, at.Wall.Sub(start), exposed.Float(), flash.Fired(), want)
		}
	}
}

func TestReadFilesOfFrames(t *testing.T) {
	s := read(t, `
a/BX1_0001..0002.NEF+JPG every 3s time=2026-03-04T10:11:13+01:00 t=1 jpegsize=2064x1376 bytes=7000000..9000000 modified=kept lensspec=24-70/2.8-4 composite=3
a/BX1_0003.JPG unreadable="empty file"
a/BX1_0004.JPG modified=2026-03-04T18:00:00Z lensspec=60-60/- jpegsize=-
b/BX1_0001..0002.NEF+JPG copyof=a/BX1_0001.NEF
a/BX1_0005.JPG`)
	raw, jpeg, unreadable := s.Files[0], s.Files[1], s.Files[4]
	if raw.Meta.Width != exifread.Of[uint32](8256) || jpeg.Meta.Width != exifread.Of[uint32](2064) || jpeg.Meta.CompositeImage != exifread.Of[uint16](3) {
		t.Errorf("raw %v wide, JPEG %v wide, composite %v", raw.Meta.Width, jpeg.Meta.Width, jpeg.Meta.CompositeImage)
	}
	if raw.Size < 7e6 || raw.Size > 9e6 || raw.Size == jpeg.Size || raw.Meta.Size != raw.Size {
		t.Errorf("sizes %d and %d, want two between 7 and 9 MB", raw.Size, jpeg.Size)
	}
	// Written after the exposure, at 10:11:14 local time, 09:11:14 UTC.
	if at := raw.Meta.Modified; !at.Equal(time.Date(2026, 3, 4, 9, 11, 14, 0, time.UTC)) {
		t.Errorf("modified %v", at)
	}
	if at := unreadable.Meta.Modified; !at.Equal(time.Date(2026, 3, 4, 9, 11, 20, 0, time.UTC)) {
		t.Errorf("unreadable file modified %v", at)
	}
	spec, _ := raw.Meta.LensSpecification.Get()
	if want := (exifread.LensSpecification{MinFocal: exifread.Of(24.), MaxFocal: exifread.Of(70.), MinFNumberMinFocal: exifread.Of(2.8), MinFNumberMaxFocal: exifread.Of(4.)}); spec != want {
		t.Errorf("lens %+v, want %+v", spec, want)
	}
	spec, _ = s.Files[5].Meta.LensSpecification.Get()
	if want := (exifread.LensSpecification{MinFocal: exifread.Of(60.), MaxFocal: exifread.Of(60.)}); spec != want {
		t.Errorf("lens %+v, want %+v", spec, want)
	}
	for i := range 4 {
		if a, b := s.Files[i], s.Files[6+i]; b.Path != "b"+a.Path[1:] || !reflect.DeepEqual(b.Meta, a.Meta) || b.Size != a.Size {
			t.Errorf("%s is no copy of %s", b.Path, a.Path)
		}
	}
	if at, _ := s.Files[10].Meta.Captured.Get(); at.Wall.Second() != 25 {
		t.Errorf("the frame after the copies is made at %v, want 3 s after the last", at.Wall)
	}
}

// A mark of what is open must not change the session.
func TestOpenChangesNothing(t *testing.T) {
	const line = "a/BX1_0001..0009.JPG every 3s jitter 20% time=2026-03-04T10:11:12.00"
	a, b := read(t, "## x\n"+line), read(t, "# open because\n## x\n"+line)
	if b.Open != "because" {
		t.Fatalf("open %q", b.Open)
	}
	if !slices.EqualFunc(a.Files, b.Files, func(x, y *shoot.File) bool { return x.Meta.Captured == y.Meta.Captured }) {
		t.Error("other times below a mark of what is open")
	}
}

func TestReadRefusesMore(t *testing.T) {
	for _, text := range []string{
		"a/BX1_0001..0003.JPG frames=3 time=2026-03-04T10:11:12",
		"a/IMG.JPG frames=2 time=2026-03-04T10:11:12",
		"a/BX1_0001.JPG copyof=b/BX1_0001.JPG",
		"a/BX1_0001.JPG time=2026-03-04T10:11:12\nb/BX1_0001..0002.JPG copyof=a/BX1_0001.JPG",
		"a/BX1_0001.JPG time=2026-03-04T10:11:12 lensspec=90",
		"a/BX1_0001.JPG time=2026-03-04T10:11:12 modified=yesterday",
		"# may iso-drift terrible 0001",
		"# want-sequence focus",
	} {
		if _, err := Read(strings.NewReader(text)); err == nil {
			t.Errorf("%q is read without an error", text)
		}
	}
}

func TestDifferences(t *testing.T) {
	const frames = "\na/BX1_0001..0009.NEF+JPG every 3s time=2026-03-04T10:11:12.00\nb/BX1_0001.NEF after 60s"
	judged := func(s *Text) *audit.Result {
		var list []*shoot.Frame
		for i := 0; i < 18; i += 2 {
			list = append(list, &shoot.Frame{Files: s.Files[i : i+2]})
		}
		return &audit.Result{Verdict: audit.VerdictCheck, Sessions: []*audit.Session{{
			Sequences: []*audit.Reviewed{{
				Sequence: &shoot.Sequence{Run: &shoot.Run{Frames: list}, Kind: shoot.Bracket, Support: shoot.Tripod},
				Findings: []*audit.Finding{
					{Rule: "iso-drift", Severity: audit.Check, Message: "ISO went up", Frames: list[3:5]},
					{Rule: "high-iso", Severity: audit.Note, Message: "ISO is high", Frames: list},
				},
				NotJudged: []audit.NotJudged{{Rule: "diffraction", Reason: "no sensor pitch"}},
			}},
		}}}
	}
	for _, tt := range []struct {
		name, text string
		want       int
	}{
		{"as wanted", "# want iso-drift|other check a/BX1_0004-0005\n# want-verdict check", 0},
		{"in a wider span", "# want iso-drift check+ a/BX1_0001-0009", 0},
		{"at the least", "# want iso-drift note+ a/BX1_0001-0009", 0},
		{"anywhere", "# want iso-drift check *", 0},
		{"surplus above a note", "", 1},
		{"what may be", "# may iso-drift check *", 0},
		{"elsewhere", "# want iso-drift check 0005", 2},
		{"milder", "# want iso-drift reshoot *", 2},
		{"not even a note", "# may iso-drift check *\n# never high-iso", 1},
		{"too often", "# may iso-drift check *\n# at-most high-iso 0", 1},
		{"seldom enough", "# may iso-drift check *\n# at-most high-iso 1", 0},
		{"words", "# may iso-drift check *\n# want-words iso-drift went up", 0},
		{"other words", "# may iso-drift check *\n# want-words iso-drift went down", 1},
		{"sequence", "# may iso-drift check *\n# want-sequence focus|bracket a/BX1_0001-0009 tripod", 0},
		{"sequences", "# may iso-drift check *\n# want-sequences 1", 0},
		{"more sequences", "# may iso-drift check *\n# want-sequences 2", 1},
		{"other kind", "# may iso-drift check *\n# want-sequence focus|series a/BX1_0001-0009", 1},
		{"other support", "# may iso-drift check *\n# want-sequence bracket a/BX1_0001-0009 handheld", 1},
		{"other ends", "# may iso-drift check *\n# want-sequence bracket a/BX1_0001-0008", 1},
		{"not judged", "# may iso-drift check *\n# want-not-judged diffraction pitch", 0},
		{"judged", "# may iso-drift check *\n# want-not-judged moved pitch", 1},
		{"verdict", "# may iso-drift check *\n# want-verdict good", 1},
		{"no such frame", "# may iso-drift check 0044", 1},
		{"two such frames", "# may iso-drift check 0001-0009", 1},
	} {
		s := read(t, tt.text+frames)
		if got := s.Differences(judged(s)); len(got) != tt.want {
			t.Errorf("%s: %d differences, want %d: %q", tt.name, len(got), tt.want, got)
		}
	}
}
