package pictures

import (
	"bytes"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"runtime/metrics"
	"sync"
	"testing"
	"time"

	"prestrike/audit/pictures/picturestest"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// heap is how many bytes hold objects, in use or not collected.
func heap() int64 {
	sample := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}}
	metrics.Read(sample)
	return int64(sample[0].Value.Uint64())
}

// TestDecodingPeak holds that what all pictures take together, garbage and the work
// of measuring included, stays near the budget, with no help of the collector.
func TestDecodingPeak(t *testing.T) {
	const (
		w, h, looks  = 2048, 1536, 40
		most         = 32 << 20
		work         = 12 << 20 // what measuring takes beside the picture, of two workers
		claimed      = w * h * 3 / 2
		untilTooMuch = looks * claimed
	)
	if untilTooMuch < 2*(most+work) {
		t.Fatal("too few looks to show anything")
	}
	name := filepath.Join(t.TempDir(), "BX1_0001.JPG")
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := jpeg.Encode(f, image.NewRGBA(image.Rect(0, 0, w, h)), nil); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	file := shoot.ReadFile(t.Context(), name, "BX1_0001.JPG")
	if p, err := file.Meta.Picture(); err != nil || p.Width != w {
		t.Fatalf("%+v, %v", p, err)
	}
	frame := picturesIn(&shoot.Frame{Files: []*shoot.File{file}})

	defer debug.SetGCPercent(debug.SetGCPercent(-1))
	runtime.GC()
	base, peak := heap(), int64(0)
	stop, stopped := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(stopped)
		for {
			peak = max(peak, heap()-base)
			select {
			case <-stop:
				return
			case <-time.After(time.Millisecond):
			}
		}
	}()
	memory := newBudget(most)
	var wg sync.WaitGroup
	for range 2 {
		wg.Go(func() {
			for range looks / 2 {
				if g := frame.look(t.Context(), memory); g.why != "" && g.why != smallPreview {
					t.Errorf("not looked at: %s", g.why)
				}
			}
		})
	}
	wg.Wait()
	close(stop)
	<-stopped
	t.Logf("%d MiB at most, of %d MiB that were taken in all", peak>>20, int64(untilTooMuch)>>20)
	if peak > most+work {
		t.Errorf("%d MiB were held at once, more than %d", peak>>20, (most+work)>>20)
	}
	if memory.used != 0 {
		t.Errorf("%d bytes not given back", memory.used)
	}
}

// TestHugePicture holds that a picture above the limit is not inspected, and why.
func TestHugePicture(t *testing.T) {
	name := filepath.Join(t.TempDir(), "BX1_0001.JPG")
	header := []byte("\xFF\xD8\xFF\xC0\x00\x0B\x08\x4E\x20\x4E\x20\x01\x01\x11\x00\xFF\xDA\x00\x08\x01\x01\x00\x00\x3F\x00") // 20,000 x 20,000, grey
	if err := os.WriteFile(name, append(header, make([]byte, 1<<20)...), 0o666); err != nil {
		t.Fatal(err)
	}
	list := framePictures{{file: &shoot.File{Abs: name}, preview: exifread.Preview{Length: 1 << 20}}}
	if g := list.look(t.Context(), newBudget(decodingBytes)); g.why != hugePicture {
		t.Errorf("%q, want %q", g.why, hugePicture)
	}
}

// manyPictures writes so many JPEG files of 1024 x 768 pixels, which take bytes each to decode.
func manyPictures(t *testing.T, n int) (files []*shoot.File, bytes int64) {
	t.Helper()
	const w, h = 1024, 768
	folder := t.TempDir()
	for i := range n {
		name := filepath.Join(folder, fmt.Sprintf("BX1_%04d.JPG", i+1))
		f, err := os.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if err := jpeg.Encode(f, image.NewRGBA(image.Rect(0, 0, w, h)), nil); err != nil {
			t.Fatal(err)
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
		files = append(files, shoot.ReadFile(t.Context(), name, filepath.Base(name)))
	}
	return files, w * h * 3 / 2
}

// What one call left behind may not be collected when the next one begins, as while a
// folder is followed: both take from one budget.
func TestBudgetOutlivesACall(t *testing.T) {
	const more = oneByOne + 1 // in each call: so many are not decoded one by one
	files, one := manyPictures(t, 2*more)
	m := &Measurer{All: true}
	for _, part := range [][]*shoot.File{files[:more], files[more:]} {
		if _, err := m.Measure(t.Context(), shoot.Runs(part, 0)); err != nil {
			t.Fatal(err)
		}
	}
	if got := m.memory.dead; got < 2*more*one {
		t.Errorf("%d bytes are known to be garbage after both calls, want those of all %d pictures, %d", got, 2*more, 2*more*one)
	}
}

// TestFewPicturesTakeTurns: of a few pictures, as they come to an open run, the last one alone
// may be garbage behind them where little else is in use, and more where much is.
func TestFewPicturesTakeTurns(t *testing.T) {
	files, one := manyPictures(t, 5)
	for _, tt := range []struct {
		inUse int64
		want  int64 // pictures
	}{{0, 1}, {5 * one * garbageShare, 5}} {
		ballast := make([]byte, tt.inUse)
		runtime.GC()
		if tt.inUse == 0 && inUse() > 2*one*garbageShare {
			t.Skipf("%d bytes are in use by other tests", inUse())
		}
		m := &Measurer{All: true}
		if _, err := m.Measure(t.Context(), shoot.Runs(files, 0)); err != nil {
			t.Fatal(err)
		}
		if got := m.memory.dead; got != tt.want*one {
			t.Errorf("with %d bytes in use %d are garbage, want %d", tt.inUse, got, tt.want*one)
		}
		runtime.KeepAlive(ballast)
	}
}

// TestOpenRunMemory holds what stays in use of a run of pictures of two megapixels while it may
// grow: the last pictures, in several states that it can go back to, and what is kept of each
// frame.
func TestOpenRunMemory(t *testing.T) {
	const w, h, frames = 1600, 1200, 10
	img := image.NewGray(image.Rect(0, 0, w, h))
	noise := rand.New(rand.NewPCG(1, 2))
	for y := range h {
		for x := range w {
			img.Pix[y*w+x] = uint8(128 + 60*math.Sin(float64(x)/9)*math.Cos(float64(y)/7) + 8*noise.Float64())
		}
	}
	files := collect(t, picturestest.Camera{Every: 1300 * time.Millisecond}.Write(t, frames, func(i int) []byte {
		img.Pix[i] = 255 // each file is another
		var b bytes.Buffer
		if err := jpeg.Encode(&b, img, nil); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}))
	collected := func() int64 {
		runtime.GC()
		runtime.GC() // what was in a sync.Pool goes with the second
		return heap()
	}
	before := collected()
	m := &Measurer{}
	for n := 4; n <= frames; n++ {
		if _, err := m.Measure(t.Context(), shoot.Runs(files[:n], 0)); err != nil {
			t.Fatal(err)
		}
	}
	held := collected() - before
	if len(m.open) != 1 || len(m.open[0].taken) != frames || len(m.open[0].before) != stepsBack {
		t.Fatalf("not one open run of %d frames: %+v", frames, m.open)
	}
	t.Logf("%.1f MiB", float64(held)/(1<<20))
	// Four pictures of half the size, 0.46 MiB each, as many pyramids, 0.27 MiB, three composites
	// of 12 bytes a small pixel, 0.6 MiB, and 60 KB a frame are 5.3.
	if held > 6<<20 {
		t.Errorf("%d KiB are in use, more than 6 MiB", held>>10)
	}
	runtime.KeepAlive(m)
}

// What a picture that cannot be decoded took is given back before the next is tried, or
// that one would wait for memory that nobody gives back.
func TestDamagedPictureHoldsNothing(t *testing.T) {
	const w, h = 1024, 768
	var sound bytes.Buffer
	if err := jpeg.Encode(&sound, image.NewGray(image.Rect(0, 0, w, h)), nil); err != nil {
		t.Fatal(err)
	}
	length := int64(sound.Len())
	name := filepath.Join(t.TempDir(), "BX1_0001.JPG")
	damaged := bytes.Clone(sound.Bytes())
	clear(damaged[length*3/4:])
	if err := os.WriteFile(name, append(damaged, sound.Bytes()...), 0o666); err != nil {
		t.Fatal(err)
	}
	file := &shoot.File{Abs: name}
	list := framePictures{
		{file: file, preview: exifread.Preview{Length: length}},
		{file: file, preview: exifread.Preview{Offset: length, Length: length}},
	}
	memory := newBudget(decodingBytes)
	img, held, _, err := list.decode(t.Context(), memory, 0, 0)
	if img == nil || err != nil {
		t.Fatalf("no picture: %v", err)
	}
	if held != w*h || memory.used != held {
		t.Errorf("%d bytes are taken for a picture of %d, and %d are to be given back", memory.used, w*h, held)
	}
}
