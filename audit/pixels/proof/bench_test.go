package proof

import (
	"bytes"
	"image"
	"image/jpeg"
	"runtime"
	"testing"

	"prestrike/audit/pixels/pixelstest"
)

// previews are colour JPEG pictures of two megapixels, as a body embeds them, of a run of
// focus that breathes.
func previews(b *testing.B, n int) (list []image.Image, run Run) {
	b.Helper()
	scene := pixelstest.Scene{Seed: 5, Width: 1728, Height: 1152, Shape: pixelstest.Relief, Depth: 30, Contrast: 1, PSF: 0.6, Breathing: 0.02, Quality: 90}.Build()
	for _, s := range pixelstest.Run(3, n, -0.05, 1.05, 0.03) {
		data, err := pixelstest.Encode(pixelstest.Tint(scene.Shoot(s)), 90)
		if err != nil {
			b.Fatal(err)
		}
		img, err := jpeg.Decode(bytes.NewReader(data))
		if err != nil {
			b.Fatal(err)
		}
		list = append(list, img)
	}
	return list, RunOf(measured(b, list))
}

// BenchmarkFocus merges runs of 12 frames of two megapixels, beyond decoding and measuring;
// ms/frame is the time of processors.
func BenchmarkFocus(b *testing.B) {
	list, run := previews(b, 12)
	b.ReportAllocs()
	frames := 0
	before := cpuTime()
	for b.Loop() {
		f := Focus(run, listed(list))
		frames += len(f.Used)
	}
	b.ReportMetric(float64((cpuTime()-before).Microseconds())/1000/float64(frames), "ms/frame")
	runtime.KeepAlive(list)
}
