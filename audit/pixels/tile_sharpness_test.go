package pixels

import (
	"bytes"
	"image"
	"math/rand/v2"
	"testing"
)

// greyNoise is a picture of noise that differs from place to place.
func greyNoise(w, h int, seed uint64) *image.Gray {
	img := image.NewGray(image.Rect(0, 0, w, h))
	rng := rand.New(rand.NewPCG(seed, 2))
	for i := range img.Pix {
		img.Pix[i] = uint8(rng.IntN(1 + i%w*255/w + i/w*7%90))
	}
	return img
}

// TestTileSharpness: the sharpness of tiles is that of the picture as a whole, summed over each
// of them, up to the last row, although only some rows of sums are kept.
func TestTileSharpness(t *testing.T) {
	for _, size := range [][2]int{{400, 300}, {413, 311}, {256, 64}} {
		img := greyNoise(size[0], size[1], 1)
		m, err := Measure(img)
		if err != nil {
			t.Fatal(err)
		}
		g := newGrid(m)
		for _, place := range []Motion{{}, {ShiftX: 3.3, ShiftY: -8}, {ShiftY: 9.7, Scale: -0.04, Rotation: 0.03}, {Scale: 0.07}} {
			s := g.sharpnessOf(analysed(img, 1), place, true)
			inside := 0
			hold := func(k, edge int, got []float32) {
				whole := sharpnessSum(size[0], size[1], 2<<k, func(x, y int) float32 { return float32(img.Pix[y*size[0]+x]) })
				half := float64(edge) * g.cellPx * (1 + place.Scale) / 2
				for tile, v := range got {
					x, y := g.centreOf(tile, edge, place)
					if want := whole.mean(x-half, y-half, x+half, y+half); v != want {
						t.Errorf("%v, scale %d, %+v: tile %d of %d cells is %v, want %v", size, k, place, tile, edge, v, want)
					}
					if v > 0 {
						inside++
					}
				}
			}
			for k, got := range s.scales {
				hold(k, g.edge, got)
			}
			hold(0, fineEdge, s.fine)
			if inside < len(s.fine)/2 {
				t.Errorf("%v, %+v: only %d tiles lie within the picture", size, place, inside)
			}
		}
	}
}

// TestAnalysed: reduced pictures are means, rounded.
func TestAnalysed(t *testing.T) {
	img := greyNoise(65, 67, 2)
	p := analysed(img, 3)
	if p.w != 21 || p.h != 22 {
		t.Fatalf("%d x %d", p.w, p.h)
	}
	for y := range p.h {
		for x, got := range p.row(y) {
			sum := 0.0
			for i := range 9 {
				sum += float64(img.GrayAt(3*x+i%3, 3*y+i/3).Y)
			}
			if want := uint8(sum/9 + 0.5); got != want {
				t.Fatalf("at %d, %d: %d, want %d", x, y, got, want)
			}
		}
	}
}

// TestPatchBlocks: a patch shows what the picture showed in which it was taken, whatever was
// taken and given up behind it, and what no patch shows is not kept.
func TestPatchBlocks(t *testing.T) {
	const w, h, side, frames = 203, 157, 40, 12
	rng := rand.New(rand.NewPCG(3, 4))
	var k patchBlocks
	patches := make([]patch, 60)
	want := make([][]byte, len(patches))
	most := 0
	for f := range frames {
		img := greyNoise(w, h, uint64(f))
		changed := make([]bool, f+1)
		for i := range patches {
			if f > 0 && rng.IntN(3) > 0 || f == 5 { // the sixth frame is nowhere the sharpest
				continue
			}
			q := &patches[i]
			changed[q.frame], changed[f] = true, true
			*q = patch{energy: 1, frame: f, x: rng.IntN(w - side + 1), y: rng.IntN(h - side + 1)}
			want[i] = nil
			for y := range side {
				want[i] = append(want[i], img.Pix[(q.y+y)*w+q.x:][:side]...)
			}
		}
		k.keep(analysed(img, 1), patches, side, changed)
		shown := map[[3]int]bool{}
		for i, q := range patches {
			if !bytes.Equal(k.read(q, side), want[i]) {
				t.Fatalf("behind frame %d patch %d, of frame %d, shows something else", f, i, q.frame)
			}
			for n := range side * side {
				shown[[3]int{q.frame, (q.x + n%side) / blockEdge, (q.y + n/side) / blockEdge}] = true
			}
		}
		most = max(most, len(shown))
		if got := len(k.chunks)*chunkBlocks - len(k.free); got != len(shown) {
			t.Errorf("behind frame %d %d blocks are kept, and %d are shown", f, got, len(shown))
		}
	}
	if k.frames[5] != nil {
		t.Error("an index is kept of a frame of which nothing is")
	}
	if got := len(k.chunks); got > most/chunkBlocks+1 {
		t.Errorf("%d blocks were allocated, where %d were in use at most", got*chunkBlocks, most)
	}
}
