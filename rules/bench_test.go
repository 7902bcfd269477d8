package rules

import (
	"bytes"
	"image/jpeg"
	"os"
	"runtime"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"prestrike/audit/pictures"
	"prestrike/audit/pictures/picturestest"
	"prestrike/audit/pixels/pixelstest"
	"prestrike/audit/shoot"
)

// BenchmarkPictures inspects a run of 60 pictures of two megapixels;
// BenchmarkPicturesDecoded only decodes them, on as many processors. The first is
// to take at most 1.3 times as long.
func BenchmarkPictures(b *testing.B) {
	folder := largeRun(b)
	for b.Loop() {
		result := lookAt(b, &pictures.Measurer{}, folder)
		if n := len(result.Sessions[0].Sequences[0].Frames); n != 60 {
			b.Fatalf("%d frames", n)
		}
	}
}

func BenchmarkPicturesDecoded(b *testing.B) {
	c, err := shoot.Collect(b.Context(), []string{largeRun(b)}, nil)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		var next atomic.Int64
		var wg sync.WaitGroup
		for range runtime.GOMAXPROCS(0) {
			wg.Go(func() {
				for {
					i := int(next.Add(1)) - 1
					if i >= len(c.Files) {
						return
					}
					data, err := os.ReadFile(c.Files[i].Abs)
					if err != nil {
						b.Error(err)
						return
					}
					if _, err := jpeg.Decode(bytes.NewReader(data)); err != nil {
						b.Error(err)
					}
				}
			})
		}
		wg.Wait()
	}
}

// largeRun writes a run of 60 frames, of six different pictures.
func largeRun(b *testing.B) string {
	b.Helper()
	large := pixelstest.Scene{
		Seed: 5, Width: 1728, Height: 1152, Shape: pixelstest.Relief, Depth: 24, Contrast: 1, PSF: 0.6, Breathing: 0.03, Quality: 90,
	}.Build()
	var six [][]byte
	for _, s := range pixelstest.Run(3, 6, 0.1, 0.4, 0.04) {
		data, err := pixelstest.Encode(pixelstest.Tint(large.Shoot(s)), 90)
		if err != nil {
			b.Fatal(err)
		}
		six = append(six, data)
	}
	return picturestest.Camera{Every: 1300 * time.Millisecond}.Write(b, 60, func(i int) []byte { return six[i%len(six)] })
}
