package pictures_test

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/jpeg"
	"os"
	"path/filepath"
	"testing"

	"prestrike/audit/pictures"
	"prestrike/audit/shoot"
	"prestrike/audit/slate"
)

// cardPicture is a picture of a card with the code of a view, seen straight on.
func cardPicture(t *testing.T, view string, module int) []byte {
	t.Helper()
	code, err := slate.Code(view)
	if err != nil {
		t.Fatal(err)
	}
	m := image.NewYCbCr(image.Rect(0, 0, 1600, 1000), image.YCbCrSubsampleRatio420)
	for i := range m.Cb {
		m.Cb[i], m.Cr[i] = 128, 128
	}
	for y := range 1000 {
		for x := range 1600 {
			m.Y[y*m.YStride+x] = 210
			if i, j := (x-500)/module, (y-300)/module; x >= 500 && y >= 300 && i < slate.Modules && j < slate.Modules && code[j][i] {
				m.Y[y*m.YStride+x] = 25
			}
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: 85}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// framesWith writes pictures to a folder and returns their frames, by name.
func framesWith(t *testing.T, files map[string][]byte) map[string]*shoot.Frame {
	t.Helper()
	folder := t.TempDir()
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(folder, name), content, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	c, err := shoot.Collect(t.Context(), []string{folder}, nil)
	if err != nil {
		t.Fatal(err)
	}
	frames := map[string]*shoot.Frame{}
	for _, f := range c.Files {
		frames[f.Path] = &shoot.Frame{Files: []*shoot.File{f}}
	}
	return frames
}

type memoryCache map[string][]byte

func (c memoryCache) Get(key string) ([]byte, bool) { v, ok := c[key]; return v, ok }
func (c memoryCache) Put(key string, value []byte)  { c[key] = value }

func TestSlatesAreReadFromFrames(t *testing.T) {
	good := cardPicture(t, "front", 8)
	frames := framesWith(t, map[string][]byte{
		"BX1_0001.JPG": good, "BX1_0002.JPG": cardPicture(t, "front", 1), "BX1_0003.JPG": good[:len(good)/8], "BX1_0004.JPG": []byte("no picture"),
	})
	var list []*shoot.Frame
	for _, f := range frames {
		list = append(list, f)
	}
	cache := memoryCache{}
	told := 0
	p := &pictures.SlateReader{Progress: func(done, total int) { told = max(told, done) }}
	for _, round := range []string{"without a cache", "filling a cache", "from the cache"} {
		if round == "filling a cache" {
			p.Cache = cache
		}
		found, err := p.Read(t.Context(), list)
		if err != nil {
			t.Fatal(err)
		}
		if got := found[frames["BX1_0001.JPG"]]; got.Text != slate.Text("front") {
			t.Errorf("%s: the slate is not read: %+v", round, got)
		}
		if len(found) != 1 {
			t.Errorf("%s: %d frames show a slate, want 1", round, len(found))
		}
		if told != len(list) {
			t.Errorf("%s: progress ends at %d of %d", round, told, len(list))
		}
	}
	if len(cache) == 0 {
		t.Error("nothing was kept")
	}
	for key, text := range cache { // what another wrote is not believed
		cache[key] = append(bytes.TrimRight(text, "\n"), 'X')
	}
	if found, err := p.Read(t.Context(), list); err != nil || found[frames["BX1_0001.JPG"]].Text != slate.Text("front") {
		t.Errorf("with a spoilt cache: %v, %v", found, err)
	}
	stopped, stop := context.WithCancel(t.Context())
	stop()
	if _, err := p.Read(stopped, list); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped, it returns %v", err)
	}
	p.Progress = func(int, int) { panic("broken") }
	if _, err := p.Read(t.Context(), list); err == nil {
		t.Error("a failure of the program is not reported")
	}
}
