package pixels_test

import (
	"bytes"
	"image"
	"image/jpeg"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

// preview is what a body embeds: a colour JPEG of two megapixels.
func preview(b *testing.B, focus float64) []byte {
	b.Helper()
	scene := pixelstest.Scene{Seed: 5, Width: 1728, Height: 1152, Shape: pixelstest.Relief, Depth: 30, Contrast: 1, PSF: 0.6, Breathing: 0.02, Quality: 90}.Build()
	data, err := pixelstest.Encode(pixelstest.Tint(scene.Shoot(pixelstest.Shot{Focus: focus, Noise: uint64(1000 * focus)})), 90)
	if err != nil {
		b.Fatal(err)
	}
	return data
}

// Looking at a picture is to cost at most as much as decoding it, half of that
// by the budget: compare Decode with Measure and Add together.
func BenchmarkDecode(b *testing.B) {
	data := preview(b, 0.4)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := jpeg.Decode(bytes.NewReader(data)); err != nil {
			b.Fatal(err)
		}
	}
}

func decoded(b *testing.B, focus float64) image.Image {
	b.Helper()
	img, err := jpeg.Decode(bytes.NewReader(preview(b, focus)))
	if err != nil {
		b.Fatal(err)
	}
	return img
}

func BenchmarkMeasure(b *testing.B) {
	img := decoded(b, 0.4)
	b.ReportAllocs()
	for b.Loop() {
		m, err := pixels.Measure(img)
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(m.Bytes()), "B-kept")
	}
}

func BenchmarkAdd(b *testing.B) {
	var m [2]*pixels.FrameMeasure
	for i, focus := range []float64{0.4, 0.44} {
		var err error
		if m[i], err = pixels.Measure(decoded(b, focus)); err != nil {
			b.Fatal(err)
		}
	}
	var s pixels.Sequence
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		if s.Len() == 100 {
			s = pixels.Sequence{}
		}
		s.Add(m[i%2])
	}
}

func BenchmarkJudge(b *testing.B) {
	d := pixelstest.Random(6)
	built := d.Build()
	var s pixels.Sequence
	for _, shot := range d.Shots() {
		m, err := pixels.Measure(built.Shoot(shot))
		if err != nil {
			b.Fatal(err)
		}
		s.Add(m)
	}
	b.ReportAllocs()
	for b.Loop() {
		s.Judge(pixels.DefaultThresholds(), nil)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(s.Len()), "ns/frame")
}

// What a run costs that is inspected again for its step, beside decoding its frames.
func BenchmarkStep(b *testing.B) {
	scene := pixelstest.Scene{Seed: 5, Width: 1728, Height: 1152, Shape: pixelstest.Relief, Depth: 30, Contrast: 1, PSF: 0.6, Breathing: 0.02, Quality: 90}.Build()
	var pictures []image.Image
	for _, shot := range pixelstest.Run(3, 16, -0.1, 1.1, 0.02) {
		pictures = append(pictures, scene.Picture(shot))
	}
	b.ReportAllocs()
	for b.Loop() {
		var r pixels.TestRun
		for _, img := range pictures {
			r.Add(img)
		}
		if g := r.StepGrowth(pixels.DefaultThresholds()); g.Answer != pixels.Found {
			b.Fatalf("%+v", g)
		}
	}
}
