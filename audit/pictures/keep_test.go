package pictures

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
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
	"prestrike/rules"
)

// memo keeps the registrations of all tests: most inspect the same run.
var memo pixels.Memo

// lookAt audits a folder with its pictures.
func lookAt(t testing.TB, p *Measurer, folder string) *audit.Result {
	t.Helper()
	p.Memo = &memo
	c, err := shoot.Collect(t.Context(), []string{folder}, nil)
	if err != nil {
		t.Fatal(err)
	}
	result, err := audit.Judge(t.Context(), c, &audit.Options{
		Rules:   rules.All(),
		Measure: p.Measure,
	})
	if err != nil {
		t.Fatal(err)
	}
	return result
}

// memory is a cache that counts.
type memory struct {
	values     map[string][]byte
	hits, puts int
}

func (m *memory) Get(key string) ([]byte, bool) {
	v, ok := m.values[key]
	if ok {
		m.hits++
	}
	return v, ok
}

func (m *memory) Put(key string, value []byte) {
	m.puts++
	m.values[key] = value
}

// TestPicturesKeep holds that what is kept gives the same as inspecting again, and
// that a changed file is inspected again.
func TestPicturesKeep(t *testing.T) {
	folder := picturestest.Camera{Every: 1300 * time.Millisecond}.Shoot(t, picturestest.Covering()[9:])
	kept := &memory{values: map[string][]byte{}}
	first := audittest.Told(lookAt(t, &Measurer{Cache: kept}, folder))
	if len(first) == 0 || kept.puts != 1 || kept.hits != 0 {
		t.Fatalf("%d findings, %d kept, %d found kept; want some, 1, 0", len(first), kept.puts, kept.hits)
	}
	if size := len(kept.values[keys(kept)[0]]); size > 8192*15 {
		t.Errorf("%d bytes kept of 15 frames, want 8 KiB a frame at most", size)
	}
	looks := 0
	again := &Measurer{Cache: kept, Progress: func(int, int) { looks++ }}
	if second := audittest.Told(lookAt(t, again, folder)); !slices.Equal(first, second) || kept.hits != 1 || looks != 0 {
		t.Errorf("from what was kept, after %d looks:\n%q\nwant\n%q", looks, second, first)
	}
	key := keys(kept)[0]
	whole := kept.values[key]
	changed := func(from, to string) []byte {
		out := bytes.Replace(whole, []byte(from), []byte(to), 1)
		if bytes.Equal(out, whole) {
			t.Fatalf("no %s in %s", from, whole)
		}
		return out
	}
	_, content, _ := bytes.Cut(whole, []byte("\n"))
	for name, garbage := range map[string][]byte{ // is no answer
		"empty":                       {},
		"nothing found":               []byte(`{"Judgement":{}}`),
		"nothing found, in its form":  encode(key, []*pixels.Seen{{Judgement: &pixels.Judgement{}}}),
		"no judgement":                encode(key, []*pixels.Seen{{}}),
		"nothing in a list":           encode(key, []*pixels.Seen{nil}),
		"without checksum":            content,
		"cut":                         whole[:len(whole)-1],
		"a frame that is not there":   changed(`"First":{"Answer":2,"Reason":"","Frame":0`, `"First":{"Answer":2,"Reason":"","Frame":99`),
		"found, and no place":         changed(`"Order":{"Answer":1`, `"Order":{"Answer":2`),
		"what was found in fewer":     encode(key, []*pixels.Seen{{Judgement: &pixels.Judgement{Frames: 3, PerFrame: make([]pixels.FrameSummary, 3)}}}),
		"of another sequence":         encode(checksum("another"), decode(key, whole, []*shoot.Run{{Frames: make([]*shoot.Frame, 15)}})),
		"of a checksum and no object": []byte("prestrike pictures " + checksum(key, "[]") + "\n[]"),
	} {
		kept.values[key] = garbage
		if second := audittest.Told(lookAt(t, &Measurer{Cache: kept}, folder)); !slices.Equal(first, second) {
			t.Errorf("from garbage, %s:\n%q\nwant\n%q", name, second, first)
		}
	}
	name := filepath.Join(folder, "BX1_0003.JPG")
	later := time.Now().Add(time.Hour)
	if err := os.Chtimes(name, later, later); err != nil {
		t.Fatal(err)
	}
	puts := kept.puts
	lookAt(t, &Measurer{Cache: kept}, folder)
	if kept.puts != puts+1 {
		t.Error("a file changed and was not looked at again")
	}
}

// TestPicturesSwapped holds that what was found in one sequence is not believed of
// another, which would hide what is wrong with that.
func TestPicturesSwapped(t *testing.T) {
	shots := picturestest.Covering()[9:]
	camera := picturestest.Camera{Every: 1300 * time.Millisecond}
	dark, clean := camera.Shoot(t, pixelstest.Brighten(shots, 7, 1, -2)), camera.Shoot(t, shots)
	kept := &memory{values: map[string][]byte{}}
	want := audittest.Told(lookAt(t, &Measurer{Cache: kept}, dark))
	other := audittest.Told(lookAt(t, &Measurer{Cache: kept}, clean))
	list := keys(kept)
	if len(list) != 2 || slices.Equal(want, other) {
		t.Fatalf("%d kept, and the same found in both: %v", len(list), slices.Equal(want, other))
	}
	kept.values[list[0]], kept.values[list[1]] = kept.values[list[1]], kept.values[list[0]]
	if got := audittest.Told(lookAt(t, &Measurer{Cache: kept}, dark)); !slices.Equal(got, want) {
		t.Errorf("after two entries changed places: %q, want %q", got, want)
	}
}

// TestKeyHoldsWhatTheAnswerDependsOn holds that the key changes with the frames, their
// order and the thresholds, so that what was found otherwise is not asked for.
func TestKeyHoldsWhatTheAnswerDependsOn(t *testing.T) {
	thresholds := pixels.DefaultThresholds()
	now := measuring(thresholds)
	if !strings.Contains(now, pixels.Version()) || len(pixels.Version()) != 64 {
		t.Errorf("%q does not hold the version of the code, %q", now, pixels.Version())
	}
	thresholds.EdgeShare += 1e-9
	seen := map[string]bool{}
	for _, key := range []string{
		keyOf(now, []string{"a", "b"}), keyOf(now, []string{"b", "a"}), keyOf(now, []string{"ab"}), keyOf(now, []string{"a", "b", ""}),
		keyOf(measuring(thresholds), []string{"a", "b"}),
	} {
		if seen[key] || !entryName.MatchString(key+entryEnd) {
			t.Errorf("key %q comes twice, or is no name", key)
		}
		seen[key] = true
	}
}

func keys(m *memory) []string {
	var out []string
	for k := range m.values {
		out = append(out, k)
	}
	return out
}

// TestPicturesGrow holds that a folder that fills frame by frame comes to the same
// as one inspection at the end, and that each frame is inspected once.
func TestPicturesGrow(t *testing.T) {
	shots := picturestest.Covering()[9:]
	folder := picturestest.Camera{Every: 1300 * time.Millisecond}.Shoot(t, shots)
	want := audittest.Told(lookAt(t, &Measurer{}, folder))
	c, err := shoot.Collect(t.Context(), []string{folder}, nil)
	if err != nil {
		t.Fatal(err)
	}
	looks := 0
	p := &Measurer{Progress: func(int, int) { looks++ }}
	live := audit.NewLive(&audit.Options{
		Rules: rules.All(), Measure: p.Measure,
	})
	now := time.Now()
	for _, f := range c.Files {
		live.Put(f.Path, f, now)
		if _, err := live.Look(t.Context(), now, false, false); err != nil {
			t.Fatal(err)
		}
	}
	if got := audittest.Told(live.Result()); !slices.Equal(got, want) {
		t.Errorf("frame by frame:\n%q\nat once:\n%q", got, want)
	}
	if looks != len(shots) {
		t.Errorf("%d looks at %d frames", looks, len(shots))
	}
}

func TestPicturesStop(t *testing.T) {
	folder := picturestest.Camera{Every: 1300 * time.Millisecond}.Shoot(t, picturestest.Covering())
	c, err := shoot.Collect(t.Context(), []string{folder}, nil)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	p := &Measurer{Progress: func(done, _ int) {
		if done == 5 {
			stop()
		}
	}}
	result, err := audit.Judge(ctx, c, &audit.Options{Measure: p.Measure})
	if !errors.Is(err, context.Canceled) || result != nil {
		t.Errorf("stopped after 5 frames: error %v, result %v; want that of the context, and none", err, result)
	}
}
