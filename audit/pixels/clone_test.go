package pixels_test

import (
	"image"
	"reflect"
	"testing"

	"github.com/google/go-cmp/cmp"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

// TestClone holds that what is added to a clone does not show in the sequence, and
// that both go on as if there were no other.
func TestClone(t *testing.T) {
	scene := pixelstest.Scene{Seed: 5, Width: 288, Height: 192, Shape: pixelstest.Relief, Depth: 24, Contrast: 1, PSF: 0.6, Breathing: 0.03, Quality: 90}.Build()
	var run []*pixels.FrameMeasure
	for _, s := range pixelstest.Run(3, 16, 0, 1, 0.04) {
		run = append(run, measure(t, scene.Shoot(s)))
	}
	black := measure(t, image.NewGray(image.Rect(0, 0, 288, 192)))
	judge := func(frames ...*pixels.FrameMeasure) *pixels.Judgement {
		var s pixels.Sequence
		for _, m := range frames {
			s.Add(m)
		}
		return s.Judge(pixels.DefaultThresholds(), nil)
	}
	var s pixels.Sequence
	for i, m := range run {
		// A frame that shows nothing and the next have the sequence take back
		// what it made of the frames before.
		c := s.Clone()
		c.Add(black)
		c.Add(m)
		frames := append(append([]*pixels.FrameMeasure{}, run[:i]...), black, m)
		if diff := cmp.Diff(judge(frames...), c.Judge(pixels.DefaultThresholds(), nil)); diff != "" {
			t.Errorf("clone of %d frames (-without +with): %s", i, diff)
		}
		s.Add(m)
	}
	if diff := cmp.Diff(judge(run...), s.Judge(pixels.DefaultThresholds(), nil)); diff != "" {
		t.Errorf("the sequence (-without +with clones): %s", diff)
	}
}

// TestCloneKnowsTheFields fails where a field was added of which a copy of the
// struct shares the content: Clone must copy it, or it must never change.
func TestCloneKnowsTheFields(t *testing.T) {
	known := map[string]bool{"frames": true, "links": true, "memo": true, "composite": true, "paused": true, "sensor": true, "stills": true}
	s := reflect.TypeFor[pixels.Sequence]()
	for i := range s.NumField() {
		switch f := s.Field(i); f.Type.Kind() {
		case reflect.Slice, reflect.Map, reflect.Pointer:
			if !known[f.Name] {
				t.Errorf("Clone does not know %s", f.Name)
			}
		}
	}
}

func measure(t testing.TB, img image.Image) *pixels.FrameMeasure {
	t.Helper()
	m, err := pixels.Measure(img)
	if err != nil {
		t.Fatal(err)
	}
	return m
}
