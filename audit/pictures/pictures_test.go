package pictures

import (
	"context"
	"errors"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/pictures/picturestest"
	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
	"prestrike/audit/shoot"
	"prestrike/exifread"
	"prestrike/rules"
)

// TestPicturesMemory holds that pictures wait for memory while others hold it, and
// give it back whether they can be decoded or not.
func TestPicturesMemory(t *testing.T) {
	folder := picturestest.Camera{}.Shoot(t, picturestest.Covering()[:2])
	files := collect(t, folder)
	damaged, err := os.ReadFile(files[1].Abs)
	if err != nil {
		t.Fatal(err)
	}
	clear(damaged[len(damaged)/2 : len(damaged)-2])
	if err := os.WriteFile(files[1].Abs, damaged, 0o666); err != nil {
		t.Fatal(err)
	}
	synctest.Test(t, func(t *testing.T) {
		memory := newBudget(1000)
		memory.take(1)
		done := 0
		for _, f := range files {
			go func() {
				picturesIn(&shoot.Frame{Files: []*shoot.File{f}}).look(t.Context(), memory)
				memory.take(1)
				done++
				memory.give(1)
			}()
		}
		synctest.Wait()
		if done > 0 {
			t.Errorf("%d pictures were decoded without memory", done)
		}
		memory.give(1)
		synctest.Wait()
		if done != 2 || memory.used != 0 {
			t.Errorf("%d of 2 pictures were looked at, %d bytes not given back", done, memory.used)
		}
	})
}

// TestBudget holds that no more is taken than there is.
func TestBudget(t *testing.T) {
	b := newBudget(100)
	var mu sync.Mutex
	used, most := 0, 0
	var wg sync.WaitGroup
	for i := range 50 {
		wg.Go(func() {
			n := 10 + 7*i%50
			b.take(int64(n))
			mu.Lock()
			used += n
			most = max(most, used)
			mu.Unlock()
			mu.Lock()
			used -= n
			mu.Unlock()
			b.give(int64(n))
		})
	}
	wg.Wait()
	if most > 100 || b.used != 0 {
		t.Errorf("%d of 100 were taken at once, %d not given back", most, b.used)
	}
}

// withRaw gives each frame a raw file beside its JPEG file, with a preview of the
// given width in pixels, which is inspected before the JPEG file or behind it.
func withRaw(t *testing.T, jpegs []*shoot.File, width int) (raws []*shoot.File) {
	t.Helper()
	for _, f := range jpegs {
		data, err := os.ReadFile(f.Abs)
		if err != nil {
			t.Fatal(err)
		}
		raw, meta := *f, *f.Meta
		raw.Path = strings.TrimSuffix(f.Path, ".JPG") + ".NEF"
		raw.Abs = strings.TrimSuffix(f.Abs, ".JPG") + ".NEF"
		if err := os.WriteFile(raw.Abs, data, 0o666); err != nil {
			t.Fatal(err)
		}
		meta.Format = exifread.FormatNEF
		meta.Previews = []exifread.Preview{{Length: int64(len(data)), Width: width, Height: width * 2 / 3}}
		raw.Meta = &meta
		raws = append(raws, &raw)
	}
	return raws
}

func collect(t *testing.T, folder string) []*shoot.File {
	t.Helper()
	c, err := shoot.Collect(t.Context(), []string{folder}, nil)
	if err != nil {
		t.Fatal(err)
	}
	return c.Files
}

// looksOver is the options of an audit that inspects pictures, and how many it has
// inspected.
func looksOver(t *testing.T, p *Measurer) (opt *audit.Options, looks *int) {
	looks = new(int)
	p.Memo = &memo
	p.Progress = func(int, int) { *looks++ }
	return &audit.Options{Rules: rules.All(), Measure: p.Measure}, looks
}

// TestPicturesPairs holds that a folder that fills with raw and JPEG files has each
// frame inspected once, or twice where the better picture comes second, and comes
// to the same as one inspection at the end.
func TestPicturesPairs(t *testing.T) {
	pixelstest.Long(t)
	jpegs := collect(t, picturestest.Camera{Every: 1300 * time.Millisecond}.Shoot(t, pixelstest.Brighten(picturestest.Covering()[9:], 7, 1, -2)))
	for _, c := range []struct {
		name  string
		width int // of the raw files' previews
		first int // 0 where raw files come first, 1 where JPEG files do
		want  int // inspections of a frame
	}{
		{"raw first, looked at", 600, 0, 1},
		{"JPEG first, looked at", 100, 1, 1},
		{"raw first, the JPEG better", 100, 0, 2},
		{"JPEG first, the raw better", 600, 1, 2},
	} {
		raws := withRaw(t, jpegs, c.width)
		opt, _ := looksOver(t, &Measurer{})
		once, err := audit.Judge(t.Context(), &shoot.Collection{Files: append(slices.Clone(raws), jpegs...)}, opt)
		if err != nil {
			t.Fatal(err)
		}
		opt, looks := looksOver(t, &Measurer{})
		live := audit.NewLive(opt)
		for i := range jpegs {
			pair := []*shoot.File{raws[i], jpegs[i]}
			for _, f := range []*shoot.File{pair[c.first], pair[1-c.first]} {
				live.Put(f.Path, f, time.Now())
				if _, err := live.Look(t.Context(), time.Now(), false, false); err != nil {
					t.Fatal(err)
				}
			}
		}
		got, want := audittest.Told(live.Result()), audittest.Told(once)
		if !slices.Equal(got, want) || len(want) == 0 {
			t.Errorf("%s: file by file:\n%q\nat once:\n%q", c.name, got, want)
		}
		if *looks > c.want*len(jpegs) {
			t.Errorf("%s: %d looks at %d frames", c.name, *looks, len(jpegs))
		}
	}
}

// TestPicturesLateFrame holds that a frame that comes behind the one after it does
// not have the whole sequence inspected again.
func TestPicturesLateFrame(t *testing.T) {
	files := collect(t, picturestest.Camera{Every: 1300 * time.Millisecond}.Shoot(t, picturestest.Covering()[9:]))
	opt, _ := looksOver(t, &Measurer{})
	once, err := audit.Judge(t.Context(), &shoot.Collection{Files: files}, opt)
	if err != nil {
		t.Fatal(err)
	}
	opt, looks := looksOver(t, &Measurer{})
	live := audit.NewLive(opt)
	for i := range files {
		at := i
		if i >= 6 && i < 14 {
			at ^= 1 // 7, 6, 9, 8, ...
		}
		live.Put(files[at].Path, files[at], time.Now())
		if _, err := live.Look(t.Context(), time.Now(), false, false); err != nil {
			t.Fatal(err)
		}
	}
	if got, want := audittest.Told(live.Result()), audittest.Told(once); !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	if *looks > 2*len(files) {
		t.Errorf("%d looks at %d frames", *looks, len(files))
	}
}

// TestPicturesSecondFile holds that the second file of a frame is inspected where
// the first shows nothing.
func TestPicturesSecondFile(t *testing.T) {
	jpegs := collect(t, picturestest.Camera{Every: 1300 * time.Millisecond}.Shoot(t, picturestest.Covering()[9:]))
	raws := withRaw(t, jpegs, 600)
	last := len(raws) - 1
	if err := os.WriteFile(raws[last].Abs, make([]byte, raws[last].Size), 0o666); err != nil {
		t.Fatal(err)
	}
	opt, looks := looksOver(t, &Measurer{})
	live := audit.NewLive(opt)
	missing := func(files []*shoot.File) string {
		for _, f := range files {
			live.Put(f.Path, f, time.Now())
		}
		if _, err := live.Look(t.Context(), time.Now(), false, false); err != nil {
			t.Fatal(err)
		}
		return live.Result().Sessions[0].Sequences[0].Pictures.(*pixels.Seen).Missing[last]
	}
	if got := missing(raws); got != pixels.DamagedFile {
		t.Errorf("without the second file: %q, want %q", got, pixels.DamagedFile)
	}
	*looks = 0
	if got := missing(jpegs); got != "" || *looks == 0 {
		t.Errorf("with the second file, after %d looks: %q", *looks, got)
	}
}

// TestPicturesNotRead holds that a file that cannot be read for now is reported as such,
// and inspected when it can.
func TestPicturesNotRead(t *testing.T) {
	files := collect(t, picturestest.Camera{Every: 1300 * time.Millisecond}.Shoot(t, picturestest.Covering()[9:]))
	kept := &memory{values: map[string][]byte{}}
	opt, _ := looksOver(t, &Measurer{Cache: kept})
	missing := func() map[int]string {
		result, err := audit.Judge(t.Context(), &shoot.Collection{Files: files}, opt)
		if err != nil {
			t.Fatal(err)
		}
		return result.Sessions[0].Sequences[0].Pictures.(*pixels.Seen).Missing
	}
	// A folder in place of the file, which seems the same from outside.
	name := files[4].Abs
	info, err := os.Stat(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(os.Rename(name, name+"-away"), os.Mkdir(name, 0o777), os.Chtimes(name, info.ModTime(), info.ModTime())); err != nil {
		t.Fatal(err)
	}
	if got := missing(); len(got) != 1 || got[4] != unreadPicture {
		t.Errorf("without the file: %v, want %q", got, unreadPicture)
	}
	if kept.puts > 0 {
		t.Error("it was kept for the next run that the file was not there")
	}
	if err := errors.Join(os.Remove(name), os.Rename(name+"-away", name)); err != nil {
		t.Fatal(err)
	}
	if got := missing(); len(got) > 0 {
		t.Errorf("with the file again: %v", got)
	}
	if kept.puts != 1 {
		t.Errorf("%d kept once all could be read, want 1", kept.puts)
	}
}

// TestPicturesTakePlace holds that a sequence that changes again and again leaves
// room for others that grow.
func TestPicturesTakePlace(t *testing.T) {
	every := picturestest.Camera{Every: 1300 * time.Millisecond}
	files := collect(t, every.Shoot(t, picturestest.Covering()[9:]))
	other := every
	other.Change = func(_ int, m *exifread.Metadata) { m.BodySerial = exifread.Of("4712") }
	others := collect(t, other.Shoot(t, picturestest.Covering()[9:]))
	for _, f := range others {
		f.Path = "second/" + f.Path
	}
	opt, looks := looksOver(t, &Measurer{})
	look := func(files []*shoot.File) int {
		*looks = 0
		if _, err := audit.Judge(t.Context(), &shoot.Collection{Files: files}, opt); err != nil {
			t.Fatal(err)
		}
		return *looks
	}
	look(slices.Concat(files, others[:10]))
	for n := range growing + 1 {
		later := time.Now().Add(time.Duration(n) * time.Hour)
		if err := os.Chtimes(files[5].Abs, later, later); err != nil {
			t.Fatal(err)
		}
		look(slices.Concat(files, others[:10]))
	}
	if n := look(slices.Concat(files, others[:11])); n != 1 {
		t.Errorf("%d looks for one frame more", n)
	}
}

// TestPicturesForget holds that what was found in sequences that are no more is
// not held.
func TestPicturesForget(t *testing.T) {
	files := collect(t, picturestest.Camera{Every: 1300 * time.Millisecond}.Shoot(t, picturestest.Covering()[9:]))
	p := &Measurer{}
	opt, _ := looksOver(t, p)
	for n := range 4 { // other frames each time
		if _, err := audit.Judge(t.Context(), &shoot.Collection{Files: files[2*n : 2*n+6]}, opt); err != nil {
			t.Fatal(err)
		}
	}
	if len(p.judged) != 1 || len(p.open) > growing {
		t.Errorf("%d sequences judged and %d kept to grow, of one", len(p.judged), len(p.open))
	}
}

// TestPicturesGoOn holds that an inspection that was stopped loses nothing: what is known
// is still reported, and the next inspection goes on from there.
func TestPicturesGoOn(t *testing.T) {
	files := collect(t, picturestest.Camera{Every: 1300 * time.Millisecond}.Shoot(t, pixelstest.Brighten(picturestest.Covering(), 13, 1, -2)))
	opt, _ := looksOver(t, &Measurer{})
	result, err := audit.Judge(t.Context(), &shoot.Collection{Files: files}, opt)
	if err != nil {
		t.Fatal(err)
	}
	want := audittest.Told(result)

	p := &Measurer{}
	ctx, stop := context.WithCancel(t.Context())
	looks := 0
	p.Progress = func(int, int) {
		if looks++; looks == 5 {
			stop()
		}
	}
	stopped := &audit.Options{Rules: rules.All(), Measure: func(_ context.Context, runs []*shoot.Run) ([]shoot.Seen, error) {
		return p.Measure(ctx, runs)
	}}
	if _, err := audit.Judge(ctx, &shoot.Collection{Files: files}, stopped); !errors.Is(err, context.Canceled) {
		t.Fatalf("stopped after %d frames: error %v", looks, err)
	}
	opt.Measure = p.Measure
	result, err = audit.Judge(t.Context(), &shoot.Collection{Files: files}, opt)
	if got := audittest.Told(result); err != nil || !slices.Equal(got, want) {
		t.Errorf("after a stop: %q, error %v; want %q", got, err, want)
	}
	if looks != len(files) {
		t.Errorf("%d looks at %d frames", looks, len(files))
	}
	result, err = audit.Judge(t.Context(), &shoot.Collection{Files: files}, stopped) // there is nothing left to inspect
	if got := audittest.Told(result); err != nil || !slices.Equal(got, want) {
		t.Errorf("of what is known: %q, error %v; want %q", got, err, want)
	}
}
