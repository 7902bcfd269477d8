package slate_test

import (
	"flag"
	"fmt"
	"image"
	"image/png"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"prestrike/audit/slate"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode/decoder"
	"github.com/makiuchi-d/gozxing/qrcode/encoder"
	"prestrike/audit/pixels/pixelstest"
)

var (
	shots = flag.Int("shots", 6, "how many pictures of slates to render; from 100 on, real pictures are tried in four views each")
	first = flag.Uint64("first", 1, "seed of the first picture")
	save  = flag.String("save", "", "write the pictures that are not read to this folder")
)

// rate renders pictures and returns how many were read, seen and not read, and read
// wrong.
func rate(t *testing.T, n int, how func(r *rand.Rand) shot) (read, unread, wrong int) {
	for i := range n {
		r := rand.New(rand.NewPCG(*first+uint64(i), 77))
		s := how(r)
		m := s.render(t, r)
		got := slate.Read(m)
		switch {
		case got.Text == slate.Text(s.view):
			read++
		case got.Text != "":
			wrong++
		case got.Unread:
			unread++
		}
		if got.Text == "" {
			t.Logf("%d: %+v: %+v", *first+uint64(i), s, got)
			if *save != "" {
				write(t, filepath.Join(*save, strings.ReplaceAll(t.Name(), "/", "-")+fmt.Sprint(i)+".png"), m)
			}
		}
	}
	return read, unread, wrong
}

func write(t *testing.T, name string, m image.Image) {
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := (&png.Encoder{CompressionLevel: png.BestSpeed}).Encode(f, m); err != nil {
		t.Fatal(err)
	}
}

// What is promised: the slate of a careful photographer is read, and never wrong.
func TestCarefulShotsAreRead(t *testing.T) {
	pixelstest.Long(t)
	t.Parallel()
	read, unread, wrong := rate(t, *shots, careful)
	t.Logf("read %d of %d, seen and not read %d, wrong %d", read, *shots, unread, wrong)
	if read*100 < *shots*98 || wrong > 0 {
		t.Errorf("read %d of %d, wrong %d: want 98 %% and none", read, *shots, wrong)
	}
}

// Beyond what is promised: nothing is read wrong, and the blur of one and a half
// modules, the tilt of 45 degrees and the largest angle are read nearly always.
func TestHarderShotsAreNeverWrong(t *testing.T) {
	if *shots < 100 {
		t.Skip("renders many pictures: .ci/run slates does")
	}
	t.Parallel()
	for _, row := range []struct {
		name  string
		least int // percent read
		how   func(r *rand.Rand) shot
	}{
		{"blur of 1.5 modules", 90, func(r *rand.Rand) shot { s := careful(r); s.blur, s.motion = 1.5, 0; return s }},
		{"tilt of 45 degrees", 90, func(r *rand.Rand) shot { s := careful(r); s.tilt = 45; return s }},
		{"upside down or on its side", 95, func(r *rand.Rand) shot { s := careful(r); s.roll = 360 * r.Float64(); return s }},
		{"blur of 2.5 modules", 0, func(r *rand.Rand) shot { s := careful(r); s.blur = 2.5; return s }},
		{"glare over a third", 0, func(r *rand.Rand) shot { s := careful(r); s.glare = 0.33; return s }},
		{"a twentieth of the width", 0, func(r *rand.Rand) shot { s := careful(r); s.width = 0.05; return s }},
	} {
		t.Run(row.name, func(t *testing.T) {
			n := max(1, *shots/6)
			read, unread, wrong := rate(t, n, row.how)
			t.Logf("read %d of %d, seen and not read %d, wrong %d", read, n, unread, wrong)
			if read*100 < n*row.least-100 || wrong > 0 {
				t.Errorf("read %d of %d, wrong %d: want %d %% and none", read, n, wrong, row.least)
			}
		})
	}
}

// Pictures without a slate show none.
func TestNoSlateInOtherPictures(t *testing.T) {
	pixelstest.Long(t)
	t.Parallel()
	r := rand.New(rand.NewPCG(*first, 3))
	for i := range 4 {
		m := image.NewGray(image.Rect(0, 0, 1200, 800))
		for j := range m.Pix {
			switch i {
			case 0: // noise
				m.Pix[j] = uint8(r.IntN(256))
			case 1: // a checkerboard
				m.Pix[j] = uint8(255 * ((j/1200/8 + j%1200/8) % 2))
			case 2: // bars as wide as those of a finder
				m.Pix[j] = uint8(255 * []int{1, 0, 1, 0, 0, 0, 1, 0}[j%1200/6%8])
			}
		}
		if got := slate.Read(m); got != (slate.Reading{}) {
			t.Errorf("made-up picture %d: %+v", i, got)
		}
	}
	folders := []string{filepath.Join("..", "..", "testdata"), filepath.Join("..", "..", "..", "shared", "data")}
	if out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/bep/imagemeta").Output(); err == nil {
		folders = append(folders, strings.TrimSpace(string(out)))
	}
	turns := 1
	if *shots >= 100 {
		turns = 4
	}
	pictures, views, doubtful := 0, 0, 0
	for _, folder := range folders {
		if _, err := os.Stat(folder); err != nil {
			t.Logf("%s is absent: its pictures are not tried", folder)
		}
		eachPicture(folder, 600, func(path string, m *gray) bool {
			pictures++
			for turn := range turns {
				views++
				got := slate.Read(turned(m, turn))
				if got.Text != "" {
					t.Errorf("%s, view %d: read %q", path, turn, got.Text)
				}
				if got.Unread {
					doubtful++
					t.Logf("%s, view %d: a code is suspected", path, turn)
				}
			}
			return *shots >= 100 || pictures < 40
		})
	}
	t.Logf("%d real pictures in %d views: none read, a code suspected in %d", pictures, views, doubtful)
	if doubtful*200 > views {
		t.Errorf("a code is suspected in %d of %d views, want 0.5 %% at most", doubtful, views)
	}
}

// turned returns the picture as it is, turned by a right angle, mirrored, or both.
func turned(m *image.Gray, turn int) *image.Gray {
	w, h := m.Rect.Dx(), m.Rect.Dy()
	if turn%2 == 1 {
		w, h = h, w
	}
	out := image.NewGray(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			sx, sy := x, y
			if turn >= 2 {
				sx = w - 1 - x
			}
			if turn%2 == 1 {
				sx, sy = sy, w-1-sx
			}
			out.Pix[y*out.Stride+x] = m.Pix[sy*m.Stride+sx]
		}
	}
	return out
}

func TestText(t *testing.T) {
	text := slate.Text("front, raking light")
	if !slate.Valid(text) || len(text) > 35 {
		t.Errorf("%q is not valid, or longer than the 35 characters of a version 3-H code", text)
	}
	for _, same := range []string{"Front, raking light", " front,  raking\tlight "} {
		if slate.Text(same) != text {
			t.Errorf("%q has another text", same)
		}
	}
	if slate.Text("caf\u00e9") != slate.Text("cafe\u0301") {
		t.Error("one name, composed in two ways, has two texts")
	}
	if slate.Text("front, raking light 2") == text {
		t.Error("two names have one text")
	}
	for i := range text {
		wrong := []byte(text)
		wrong[i] ^= 1
		if slate.Valid(string(wrong)) {
			t.Errorf("%q is valid with character %d changed", wrong, i)
		}
	}
	for _, other := range []string{"", "SLATE 1 ", "https://example.org", text + "A", text[:len(text)-1]} {
		if slate.Valid(other) {
			t.Errorf("%q is valid", other)
		}
	}
}

// A code with another text, such as that of a parcel, is no slate; that something is
// there which is not read is reported.
func TestOtherCodesAreNoSlates(t *testing.T) {
	code, err := encoder.Encoder_encode("PARCEL 0815", decoder.ErrorCorrectionLevel_H, map[gozxing.EncodeHintType]any{gozxing.EncodeHintType_QR_VERSION: 3})
	if err != nil {
		t.Fatal(err)
	}
	m := image.NewGray(image.Rect(0, 0, 1200, 800))
	for y := range 800 {
		for x := range 1200 {
			m.Pix[y*m.Stride+x] = 200
			if i, j := (x-400)/8, (y-200)/8; x >= 400 && y >= 200 && i < slate.Modules && j < slate.Modules && code.GetMatrix().Get(i, j) == 1 {
				m.Pix[y*m.Stride+x] = 20
			}
		}
	}
	if got := slate.Read(m); got.Text != "" || !got.Unread {
		t.Errorf("got %+v", got)
	}
}

// An outside reader reads the codes that are made here.
func TestOutsideReader(t *testing.T) {
	pixelstest.Long(t)
	if _, err := exec.LookPath("zbarimg"); err != nil {
		t.Skip("zbarimg is not installed: codes are not read by an outside reader")
	}
	t.Parallel()
	read, n := 0, max(2, *shots/5)
	for i := range n {
		r := rand.New(rand.NewPCG(*first+uint64(i), 5))
		s := careful(r)
		s.width, s.blur, s.motion, s.tilt, s.noise = 0.25, 0.3, 0, 10*r.Float64(), 1
		name := filepath.Join(t.TempDir(), "slate.png")
		write(t, name, s.render(t, r))
		out, err := exec.Command("zbarimg", "-q", "--raw", name).Output()
		if err == nil && strings.TrimSpace(string(out)) == slate.Text(s.view) {
			read++
		}
	}
	t.Logf("the outside reader reads %d of %d easy pictures", read, n)
	if read*10 < n*9 {
		t.Errorf("the outside reader reads %d of %d", read, n)
	}
}

func BenchmarkReadWithout(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	s := careful(r)
	s.width = 0.01 // too small to be seen
	m := s.render(b, r)
	for b.Loop() {
		slate.Read(m)
	}
}

func BenchmarkRead(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	m := careful(r).render(b, r)
	for b.Loop() {
		slate.Read(m)
	}
}
