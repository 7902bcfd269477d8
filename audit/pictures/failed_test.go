package pictures

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/pictures/picturestest"
	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// TestFailedFrame holds that a picture at which the program fails is reported as such.
func TestFailedFrame(t *testing.T) {
	memory := newBudget(1000)
	g := framePictures{{preview: exifread.Preview{Length: 1}}}.look(t.Context(), memory) // no file
	if g.why != failedHere || g.measure != nil || memory.used != 0 {
		t.Errorf("%+v, %d bytes not given back; want %q", g, memory.used, failedHere)
	}
}

// TestFailedSequence holds that a sequence at which the program fails is not judged by
// its pictures, which is an error and is not kept for the next run, and that the other
// sequences are judged.
func TestFailedSequence(t *testing.T) {
	every := picturestest.Camera{Every: 1300 * time.Millisecond}
	files := collect(t, every.Shoot(t, picturestest.Covering()[9:]))
	other := every
	other.Change = func(_ int, m *exifread.Metadata) { m.BodySerial = exifread.Of("4712") }
	others := collect(t, other.Shoot(t, pixelstest.Brighten(picturestest.Covering()[9:], 7, 1, -2)))
	for _, f := range others {
		f.Path = "second/" + f.Path
	}
	kept := &memory{values: map[string][]byte{}}
	p := &Measurer{Cache: kept}
	opt, _ := looksOver(t, p)
	if _, err := audit.Judge(t.Context(), &shoot.Collection{Files: files[:10]}, opt); err != nil {
		t.Fatal(err)
	}
	p.open[0].whole = nil // to which nothing can be added
	puts := kept.puts
	for again := range 2 {
		result, err := audit.Judge(t.Context(), &shoot.Collection{Files: slices.Concat(files, others)}, opt)
		failed, ok := errors.AsType[*exifread.PanicError](err)
		if ok != (again == 0) || ok && (failed.Place == "" || !strings.Contains(err.Error(), "BX1_0001.JPG to ")) {
			t.Errorf("error %v", err)
		}
		if told := audittest.Told(result); !slices.ContainsFunc(told, func(s string) bool { return strings.Contains(s, "dark-frame") }) {
			t.Errorf("of the other sequence: %q", told)
		}
		for _, q := range result.Sessions[0].Sequences {
			dark := slices.ContainsFunc(q.NotJudged, func(n audit.NotJudged) bool { return n.Rule == "dark-frame" && n.Reason == failedHere })
			if broken := !strings.HasPrefix(q.Frames[0].Path(), "second/"); dark != broken {
				t.Errorf("%s: not judged %+v", q.Frames[0].Path(), q.NotJudged)
			}
		}
	}
	if kept.puts != puts+1 {
		t.Errorf("%d kept for the next run, want that of the other sequence", kept.puts-puts)
	}
}

// TestFailedJudging holds the same of a sequence whose measures cannot be judged.
func TestFailedJudging(t *testing.T) {
	r := &shoot.Run{Frames: []*shoot.Frame{nil, nil}} // no settings
	j := &job{runs: []*shoot.Run{r}, begins: []int{0}, keys: []string{"a", "b"}, on: &looking{chain: newChain(nil), taken: make([]glance, 2)}}
	j.judge(t.Context(), newBudget(decodingBytes))
	if _, ok := errors.AsType[*exifread.PanicError](j.failed); !ok || !j.passing || j.on != nil {
		t.Errorf("%+v", j)
	}
	if len(j.found) != 1 || len(j.found[0].Missing) != 2 || j.found[0].Judgement.Dark.Answer != pixels.CannotTell {
		t.Errorf("found %+v", j.found)
	}
}

// TestFailedProgress holds that what fails beside the pictures ends the inspection, with
// an error and not with the program.
func TestFailedProgress(t *testing.T) {
	files := collect(t, picturestest.Camera{Every: 1300 * time.Millisecond}.Shoot(t, picturestest.Covering()[9:]))
	for _, at := range []int{1, 5, len(files)} {
		p := &Measurer{}
		looks := 0
		p.Progress = func(int, int) {
			if looks++; looks == at {
				panic("no terminal")
			}
		}
		_, err := audit.Judge(t.Context(), &shoot.Collection{Files: files}, &audit.Options{Measure: p.Measure})
		if failed, ok := errors.AsType[*exifread.PanicError](err); !ok || failed.Cause != "no terminal" {
			t.Errorf("at frame %d: error %v", at, err)
		}
	}
}
