package pixels_test

import (
	"bytes"
	"image/jpeg"
	"testing"

	"prestrike/audit/pixels"
	"prestrike/audit/pixels/pixelstest"
)

// TestSizesAgree renders clean runs, focus sequences and standing ones, as files of
// three sizes and qualities: nothing but wide steps and notes is found in any, and
// whether focus walks is not answered wrongly at any, but for one run in fifty.
// Steps are in pixels of each size. Ends are notes, and not held to agree: at half the
// size of these small pictures a tile covers four times the area of the subject.
func TestSizesAgree(t *testing.T) {
	pixelstest.Long(t)
	t.Parallel()
	seeds, wrong := uint64(1), 0
	if *seedCount > 1 { // the long run
		seeds = uint64(*seedCount)
	}
	forms := []struct {
		share   float64 // of the rendered width
		quality int
	}{{1, 92}, {0.75, 85}, {0.5, 75}}
	for seed := range seeds {
		d := pixelstest.Random(*seedFirst + 2*seed)
		b := d.Build()
		for name, shots := range map[string][]pixelstest.Shot{
			"focus": d.Shots(), "standing": pixelstest.Run(d.Seed+500, 16, 0.4, 0.4, 0),
		} {
			sizes := make([]pixels.Sequence, len(forms))
			for _, s := range shots {
				whole := b.Shoot(s)
				for k, form := range forms {
					img := pixelstest.Shrink(whole, int(form.share*float64(d.Width)))
					data, err := pixelstest.Encode(img, form.quality)
					if err != nil {
						t.Fatal(err)
					}
					read, err := jpeg.Decode(bytes.NewReader(data))
					if err != nil {
						t.Fatal(err)
					}
					sizes[k].Add(measure(t, read))
				}
			}
			walks := map[pixels.Answer]bool{}
			var all []string
			for k := range sizes {
				j := sizes[k].Judge(pixels.DefaultThresholds(), nil)
				all = append(all, summary(j))
				walks[j.Walk.Answer] = true
				for _, question := range []string{"moved", "dark", "brightness", "jump", "stall", "order"} {
					if verdicts(j)[question].Answer == pixels.Found {
						t.Errorf("seed %d, %s at %.2f of its size: %s found; %s", d.Seed, name, forms[k].share, question, all[k])
					}
				}
			}
			if walks[pixels.Found] && walks[pixels.Fine] || name == "standing" && walks[pixels.Found] || name == "focus" && walks[pixels.Fine] {
				wrong++
				t.Logf("seed %d, %s: walk\n%s\n%s\n%s", d.Seed, name, all[0], all[1], all[2])
			}
		}
	}
	if lo, _ := wilson(wrong, 2*int(seeds)); lo > 0.02 {
		t.Errorf("whether focus walks is answered wrongly in %d of %d runs", wrong, 2*seeds)
	}
}
