package pictures

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"prestrike/audit/pictures/picturestest"
	"prestrike/audit/pixels/pixelstest"
	"prestrike/audit/shoot"
	"prestrike/exifread"
)

// sequenceIn returns the first sequence of a folder as one of the given kind.
func sequenceIn(t *testing.T, folder string, kind shoot.Kind) *shoot.Sequence {
	t.Helper()
	q, _ := audited(t, folder)
	return &shoot.Sequence{Run: q.Run, ID: q.ID, Kind: kind}
}

// audited returns the first sequence of a folder with what was found in its pictures.
func audited(t *testing.T, folder string) (*shoot.Sequence, any) {
	t.Helper()
	result := lookAt(t, &Measurer{}, folder)
	q := result.Sessions[0].Sequences[0]
	return q.Sequence, q.Pictures
}

func proved(t *testing.T, p *Prover, q *shoot.Sequence, seen any) *Proof {
	t.Helper()
	out, err := p.Prove(t.Context(), q, seen)
	if err != nil {
		t.Fatal(err)
	}
	if len(out.Picture) > 0 {
		c, err := jpeg.DecodeConfig(bytes.NewReader(out.Picture))
		if err != nil || c.Width != out.Width || c.Height != out.Height {
			t.Errorf("the picture is %d x %d, said to be %d x %d: %v", c.Width, c.Height, out.Width, out.Height, err)
		}
	}
	return out
}

// TestProveFocus holds what the proof of a focus sequence consists of, with a dark frame and
// one that is damaged, and that it is made once.
func TestProveFocus(t *testing.T) {
	shots := picturestest.Covering()[6:] // begins inside the relief
	folder := picturestest.Camera{Every: 1300 * time.Millisecond}.Shoot(t, pixelstest.Brighten(shots, 8, 1, -3))
	q, seen := audited(t, folder)
	if q.Kind != shoot.Focus {
		t.Fatalf("the sequence is %v", q.Kind)
	}
	p := &Prover{Cache: &memory{values: map[string][]byte{}}}
	out := proved(t, p, q, seen)
	if out.Width != 576 || out.Height != 384 {
		t.Errorf("the proof is %d x %d", out.Width, out.Height)
	}
	m, err := png.Decode(bytes.NewReader(out.Map))
	if err != nil || m.Bounds().Dx() != 288 {
		t.Errorf("the map is %v: %v", m, err)
	}
	if want := fmt.Sprintf("Merged from %d frames, for inspection only: sharp wherever one of them is.", len(shots)-1); out.Caption != want {
		t.Errorf("the caption is %q, want %q", out.Caption, want)
	}
	notes := strings.Join(out.Notes, "\n")
	for _, want := range []string{"Left out: frame 0009, as it has no picture that matches the others.", "Sharpest in the first frame, 0001: "} {
		if !strings.Contains(notes, want) {
			t.Errorf("the notes %q lack %q", notes, want)
		}
	}
	if strings.Contains(notes, "last frame") {
		t.Errorf("the notes %q name the last frame, behind the relief", notes)
	}
	var texts []string
	for _, k := range out.Key {
		texts = append(texts, k.Text)
	}
	if got := strings.Join(texts, "; "); !strings.HasPrefix(got, "frames 0001 and 0002; ") || !strings.Contains(got, "sharpest in the first frame") {
		t.Errorf("the key is %q", got)
	}

	// From the cache: the files may be gone, as long as they were the same.
	again := proved(t, &Prover{Cache: p.Cache}, q, nil)
	if !bytes.Equal(again.Picture, out.Picture) || again.Caption != out.Caption {
		t.Error("the proof was made again, and differs")
	}
	// Without a measurement it comes out the same.
	if fresh := proved(t, &Prover{}, q, nil); !bytes.Equal(fresh.Picture, out.Picture) {
		t.Error("a proof without a measurement differs")
	}
	// Another file: another proof.
	if err := os.Chtimes(q.Frames[3].Files[0].Abs, time.Now(), time.Now().Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if proofKey(q) == "" || len(p.Cache.(*memory).values) != 1 {
		t.Errorf("%d proofs are kept", len(p.Cache.(*memory).values))
	}
	proved(t, p, q, seen)
	if n := len(p.Cache.(*memory).values); n != 2 {
		t.Errorf("%d proofs are kept after a file changed", n)
	}
}

// Runs of which focus stands, and the pace of a timer.
var (
	standing = pixelstest.Run(4, 30, 0.4, 0.4, 0)
	every    = picturestest.Camera{Every: 10 * time.Second}
)

// TestProveTimeLapse holds the strip and the curve of a time-lapse.
func TestProveTimeLapse(t *testing.T) {
	q, seen := audited(t, every.Shoot(t, pixelstest.Brighten(standing, 20, 10, 0.5)))
	out := proved(t, &Prover{}, q, seen)
	if len(out.Small) != 12 || out.Small[0].Frame != 0 || out.Small[11].Frame != 29 || out.Small[11].Label != "0030" {
		t.Errorf("the strip has %d frames, to %d", len(out.Small), out.Small[len(out.Small)-1].Frame)
	}
	if len(out.Curve) != 30 || out.Curve[0].Interval != nil || *out.Curve[1].Interval != 10 {
		t.Fatalf("the curve is %+v", out.Curve)
	}
	if jump := *out.Curve[20].EV - *out.Curve[19].EV; jump < 0.4 || jump > 0.6 {
		t.Errorf("the brightness jumps by %.2f EV, want 0.5", jump)
	}
}

// TestProveBracket holds that a bracket is merged, with what each frame clips.
func TestProveBracket(t *testing.T) {
	shots := pixelstest.Run(4, 3, 0.4, 0.4, 0)
	for i, ev := range []float64{-7, 0, 4} {
		shots[i].EV = ev
	}
	bracketing := picturestest.Camera{Every: time.Second, Change: func(i int, m *exifread.Metadata) {
		m.ExposureTime = exifread.Of(exifread.Rational{Num: 1 << (5 * i), Den: 4000})
	}}
	out := proved(t, &Prover{}, sequenceIn(t, bracketing.Shoot(t, shots), shoot.Bracket), nil)
	if len(out.Ends) != 3 {
		t.Fatalf("ends of %d frames", len(out.Ends))
	}
	if out.Ends[0].Low < 0.3 || out.Ends[0].High > 0 || out.Ends[2].High < 0.5 || out.Ends[2].Low > 0 {
		t.Errorf("the ends are %+v", out.Ends)
	}
	if want := "Merged from 3 frames, for inspection only: each place from the frames that expose it well."; out.Caption != want {
		t.Errorf("the caption is %q", out.Caption)
	}
}

// TestProveBurst holds the order of a burst.
func TestProveBurst(t *testing.T) {
	shots := pixelstest.Run(4, 6, 0.4, 0.4, 0)
	for i := range shots {
		if i != 3 {
			shots = pixelstest.Shake(shots, i, 2+float64(i), 1)
		}
	}
	out := proved(t, &Prover{}, sequenceIn(t, picturestest.Camera{Every: 100 * time.Millisecond}.Shoot(t, shots), shoot.Burst), nil)
	var order []int
	for _, r := range out.Ranked {
		order = append(order, r.Frame)
	}
	if got := fmt.Sprint(order); got != "[3 0 1 2 4 5]" {
		t.Errorf("the order is %v", got)
	}
	if out.Ranked[0].Sharpness != 1 || len(out.Small) != 3 || out.Small[0].Frame != 3 || out.PartFrame != 3 || out.Part == nil {
		t.Errorf("the best are %+v, part %v of %d", out.Ranked, out.Part, out.PartFrame)
	}
}

// TestProveSingle holds that a frame is shown upright, with its sharpest part.
func TestProveSingle(t *testing.T) {
	folder := picturestest.Camera{Every: time.Second, Change: func(_ int, m *exifread.Metadata) { m.Orientation = exifread.Of[uint16](6) }}.Shoot(t, standing[:1])
	q, _ := audited(t, folder)
	out := proved(t, &Prover{}, q, nil)
	if out.Width != 384 || out.Height != 576 {
		t.Errorf("the upright picture is %d x %d", out.Width, out.Height)
	}
	if out.Part == nil || out.Part.X0 != 0 || out.Part.X1 != 1 || out.Caption != "Frame 0001." {
		t.Errorf("the part is %v, the caption %q", out.Part, out.Caption)
	}
}

// TestProveNoPicture holds what is reported where no frame has a picture.
func TestProveNoPicture(t *testing.T) {
	folder := every.Shoot(t, standing[:6])
	q := sequenceIn(t, folder, shoot.Focus)
	for _, f := range q.Frames {
		if err := os.WriteFile(f.Files[0].Abs, []byte("nothing of a picture"), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	for _, kind := range []shoot.Kind{shoot.Single, shoot.Focus, shoot.Bracket, shoot.TimeLapse, shoot.Burst} {
		q.Kind = kind
		if out := proved(t, &Prover{}, q, nil); out.Picture != nil || out.Caption != "No frame has a picture that can be shown." {
			t.Errorf("%v: %d bytes of a picture, %q", kind, len(out.Picture), out.Caption)
		}
	}
}

// TestProveStops holds that a proof ends soon after it is stopped, gives its memory back and
// keeps nothing.
func TestProveStops(t *testing.T) {
	folder := picturestest.Camera{Every: time.Second}.Shoot(t, picturestest.Covering())
	q, seen := audited(t, folder)
	ctx, stop := context.WithCancel(t.Context())
	stop()
	cache := &memory{values: map[string][]byte{}}
	p := &Prover{Cache: cache}
	if out, err := p.Prove(ctx, q, seen); !errors.Is(err, context.Canceled) || out != nil {
		t.Errorf("stopped: %v, %v", out, err)
	}
	if len(cache.values) != 0 || p.memory.used != 0 {
		t.Errorf("%d proofs kept, %d bytes not given back", len(cache.values), p.memory.used)
	}
	// One file that cannot be read at the moment: the proof is made, and not kept.
	path := q.Frames[2].Files[0].Abs
	if err := os.Rename(path, filepath.Join(t.TempDir(), "away")); err != nil {
		t.Fatal(err)
	}
	out := proved(t, p, q, seen)
	if len(cache.values) != 0 || !strings.Contains(strings.Join(out.Notes, " "), "Left out: frame 0003") {
		t.Errorf("%d proofs kept, notes %q", len(cache.values), out.Notes)
	}
}
