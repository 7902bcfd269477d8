package exifread_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"runtime/metrics"
	"slices"
	"strings"
	"testing"
	"time"

	"prestrike/exifread"
	"prestrike/exifread/exifwrite"
)

// What one file may cost, whatever its bytes.
const (
	maxAlloc = 16 << 20 // bytes in all, let go or not
	maxTime  = time.Second
	maxExtra = 16 << 20 // bytes read beyond the file's own size
)

// check reads b and fails the test where what comes out cannot be true of it.
func check(t testing.TB, name string, b []byte) (*exifread.Metadata, error) {
	t.Helper()
	size := int64(len(b))
	c := &counting{r: bytes.NewReader(b)}
	before := allocated()
	m, err := exifread.Read(t.Context(), c, size)
	if n := allocated() - before; n > maxAlloc {
		t.Errorf("%s: %d bytes were allocated", name, n)
	}
	if c.bytes > 3*size+maxExtra {
		t.Errorf("%s: %d bytes were read of %d", name, c.bytes, size)
	}
	if m == nil {
		t.Fatalf("%s: no Metadata", name)
	}
	_, isFormat := errors.AsType[*exifread.FormatError](err)
	_, isUnsupported := errors.AsType[*exifread.UnsupportedError](err)
	if err != nil && !isFormat && !isUnsupported && !errors.Is(err, exifread.ErrNotPicture) {
		t.Errorf("%s: error of a foreign type %T: %v", name, err, err)
	}
	if err == nil && m.Format == exifread.FormatUnknown {
		t.Errorf("%s: neither a format nor an error", name)
	}
	if err == nil && (m.Integrity.State == exifread.IntegrityWhole) != (m.Integrity.Reason == "") {
		t.Errorf("%s: integrity %+v", name, m.Integrity)
	}
	checkQuotients(t, name, m)
	for _, p := range m.Previews {
		if p.Offset < 0 || p.Length <= 0 || p.Offset > size-p.Length {
			t.Errorf("%s: preview %+v outside %d bytes", name, p, size)
		}
	}
	if len(m.Problems) > 31 || len(m.Previews) > 16 {
		t.Errorf("%s: %d problems, %d previews", name, len(m.Problems), len(m.Previews))
	}
	again, errAgain := readBytes(b)
	if !reflect.DeepEqual(m, again) || !reflect.DeepEqual(err, errAgain) {
		t.Errorf("%s: read twice, two results:\n%+v, %v\n%+v, %v", name, m, err, again, errAgain)
	}
	return m, err
}

// checkQuotients holds the quotients of metadata to what makes sense.
func checkQuotients(t testing.TB, name string, m *exifread.Metadata) {
	t.Helper()
	for _, q := range []exifread.Value[exifread.Rational]{
		m.ExposureTime, m.FNumber, m.FocalLength, m.MaxApertureValue, m.ExposureBias, m.FocalPlaneXResolution, m.FocalPlaneYResolution,
	} {
		if r, ok := q.Get(); ok && r.Den == 0 {
			t.Errorf("%s: a recorded quotient of %s", name, r)
		}
	}
	for _, q := range []exifread.Value[exifread.Rational]{m.ExposureTime, m.FNumber, m.FocalLength} {
		if r, ok := q.Get(); ok && r.Float() <= 0 {
			t.Errorf("%s: %s where only more than 0 makes sense", name, r)
		}
	}
}

// allocated is how many bytes the program has allocated so far. Unlike
// runtime.ReadMemStats it does not stop the world, which fuzzing would feel.
func allocated() uint64 {
	sample := []metrics.Sample{{Name: "/gc/heap/allocs:bytes"}}
	metrics.Read(sample)
	return sample[0].Value.Uint64()
}

// timed is check with the limit on time, taken as the best of three: the
// machine may be busy.
func timed(t testing.TB, name string, b []byte) (*exifread.Metadata, error) {
	t.Helper()
	if best := quickest(func() { _, _ = readBytes(b) }); best > slowdown*maxTime {
		t.Errorf("%s: took %v", name, best)
	}
	return check(t, name, b)
}

// quickest returns how much time of a processor f takes, at the best of three.
func quickest(f func()) time.Duration {
	best := time.Hour
	for range 3 {
		start := cpuTime()
		f()
		best = min(best, cpuTime()-start)
		if best < slowdown*maxTime {
			break
		}
	}
	return best
}

func TestSharedHostileFiles(t *testing.T) {
	files := sharedFiles(t, "hostile")
	if len(files) < 100 {
		t.Fatalf("only %d files", len(files))
	}
	for _, path := range files {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		timed(t, filepath.Base(path), b)
	}
}

// A damaged entry stands beside a model and an f-number, which must survive.
func TestDamagedEntryKeepsItsNeighbours(t *testing.T) {
	for name, e := range map[string]exifwrite.Entry{
		"count 0":                            exifwrite.Raw(0x9003, 2, 0, 8),
		"count FFFFFFFF":                     exifwrite.Raw(0x9003, 2, 0xFFFFFFFF, 8),
		"LONG whose size wraps to 4":         exifwrite.Raw(0x8827, 4, 0x40000001, 8),
		"SHORT whose size wraps to 4":        exifwrite.Raw(0x8827, 3, 0x80000002, 8),
		"RATIONAL whose size wraps to 8":     exifwrite.Raw(0x829A, 5, 0x20000001, 8),
		"DOUBLE whose size wraps to 8":       exifwrite.Raw(0x829A, 12, 0x20000001, 8),
		"type 0":                             exifwrite.Raw(0x8827, 0, 1, 100),
		"type 14":                            exifwrite.Raw(0x8827, 14, 1, 100),
		"type FFFF":                          exifwrite.Raw(0x8827, 0xFFFF, 1, 100),
		"value past the end":                 exifwrite.Raw(0x829A, 5, 1, 0x00FFFFFF),
		"value at FFFFFFFF":                  exifwrite.Raw(0x829A, 5, 1, 0xFFFFFFFF),
		"value across the end":               exifwrite.Raw(0xA434, 2, 4000, 40),
		"quotient of a negative time":        exifwrite.SRational(0x829A, [2]int32{-1, 60}),
		"text for a number":                  exifwrite.ASCII(0x8827, "four hundred"),
		"orientation 9":                      exifwrite.Short(0x0112, 9),
		"sensitivity below 0":                exifwrite.Raw(0x8827, 9, 1, 0xFFFFFF00),
		"lens of three numbers":              exifwrite.Rational(0xA432, [2]uint32{1, 1}, [2]uint32{1, 1}, [2]uint32{1, 1}),
		"Exif IFD whose offset is no number": exifwrite.ASCII(0x8769, "here"),
		"40 MB of bytes for a time":          exifwrite.Raw(0x829A, 7, 40<<20, 8),
	} {
		ifd0 := []exifwrite.Entry{e, exifwrite.ASCII(0x0110, "Borealis BX-1"), exifwrite.Rational(0x829D, [2]uint32{56, 10})}
		block := exifwrite.Block{IFD0: ifd0}
		m, err := timed(t, name, insert(t, plainJPEG(t, 16, 16), encode(t, &block)))
		if err != nil || m.FNumber.String() != "56/10" || m.Model.Or("") != "Borealis BX-1" {
			t.Errorf("%s: %v; f-number %v, model %v", name, err, m.FNumber, m.Model)
		}
		if len(m.Problems) == 0 {
			t.Errorf("%s: no problem is listed", name)
		}
		for _, p := range m.Problems {
			if p.What == "" || p.Where == "" {
				t.Errorf("%s: %+v", name, p)
			}
		}
	}
}

// tiffOf is a little-endian TIFF of directories, one after the other from
// byte 8 on.
func tiffOf(dirs ...[]byte) []byte {
	return concat(append([][]byte{[]byte("II*\x00\x08\x00\x00\x00")}, dirs...)...)
}

// dir is one directory that claims count entries and has those given (tag,
// type, count, value).
func dir(count uint16, next uint32, entries ...[4]uint32) []byte {
	b := binary.LittleEndian.AppendUint16(nil, count)
	for _, e := range entries {
		b = binary.LittleEndian.AppendUint16(b, uint16(e[0]))
		b = binary.LittleEndian.AppendUint16(b, uint16(e[1]))
		b = binary.LittleEndian.AppendUint32(b, e[2])
		b = binary.LittleEndian.AppendUint32(b, e[3])
	}
	return binary.LittleEndian.AppendUint32(b, next)
}

func TestAttacks(t *testing.T) {
	width, height := [4]uint32{0x100, 4, 1, 60}, [4]uint32{0x101, 4, 1, 40}
	one := dir(2, 0, width, height)                                                // 30 bytes
	many := bytes.Repeat([]byte{0x0F, 0x01, 2, 0, 0, 16, 0, 0, 8, 0, 0, 0}, 65535) // Make, 4,096 bytes, again and again
	big := func(b ...byte) []byte {
		return append([]byte("II+\x00\x08\x00\x00\x00\x10\x00\x00\x00\x00\x00\x00\x00"), b...)
	}
	ff := bytes.Repeat([]byte{0xFF}, 64)
	frame := plainJPEG(t, 16, 16)
	raf := append([]byte("FUJIFILMCCD-RAW 0201"), make([]byte, 64)...)

	for name, tc := range map[string]struct {
		bytes []byte
		want  string // part of the error or of a problem; none where empty
	}{
		"directory that follows itself":    {tiffOf(dir(2, 8, width, height)), "circle"},
		"two directories in a circle":      {tiffOf(dir(2, 38, width, height), dir(2, 8, width, height)), "circle"},
		"Exif IFD that is IFD0":            {tiffOf(dir(3, 0, width, height, [4]uint32{0x8769, 4, 1, 8})), "circle"},
		"SubIFDs that are all IFD0":        {tiffOf(dir(3, 0, width, height, [4]uint32{0x14A, 4, 16, 50}), bytes.Repeat([]byte{8, 0, 0, 0}, 16)), "circle"},
		"a million SubIFDs":                {tiffOf(dir(3, 0, width, height, [4]uint32{0x14A, 4, 1 << 20, 8}), make([]byte, 5<<20)), "too large"},
		"SubIFDs past the end":             {tiffOf(dir(3, 0, width, height, [4]uint32{0x14A, 4, 1, 0xFFFFFFF0})), "past the end"},
		"65,535 entries":                   {append([]byte("II*\x00\x08\x00\x00\x00\xFF\xFF"), many...), "65535 entries"},
		"65,535 entries claimed":           {append([]byte("II*\x00\x08\x00\x00\x00\xFF\xFF"), one[2:]...), "cut"},
		"first directory at FFFFFFFF":      {[]byte("II*\x00\xFF\xFF\xFF\xFF"), "past the end"},
		"first directory at 0":             {[]byte("II*\x00\x00\x00\x00\x00"), ""},
		"strips without number":            {tiffOf(dir(4, 0, width, height, [4]uint32{0x111, 4, 0xFFFFFFFF, 8}, [4]uint32{0x117, 4, 0xFFFFFFFF, 8})), "past the end"},
		"strips of type text":              {tiffOf(dir(4, 0, width, height, [4]uint32{0x111, 2, 2, 8}, [4]uint32{0x117, 2, 2, 8})), "whole numbers"},
		"preview of 4 GB":                  {tiffOf(dir(4, 0, width, height, [4]uint32{0x201, 4, 1, 8}, [4]uint32{0x202, 4, 1, 0xFFFFFFFF})), ""},
		"preview that is no JPEG":          {tiffOf(dir(4, 0, width, height, [4]uint32{0x201, 4, 1, 8}, [4]uint32{0x202, 4, 1, 20})), ""},
		"BigTIFF of FF":                    {big(ff...), "cut"},
		"BigTIFF with 2^60 entries":        {big(append([]byte{0, 0, 0, 0, 0, 0, 0, 0x10}, make([]byte, 40)...)...), "entries"},
		"BigTIFF with odd offsets":         {[]byte("II+\x00\x04\x00\x00\x00\x10\x00\x00\x00\x00\x00\x00\x00"), "8 bytes"},
		"BigTIFF count that overflows":     {big(concat([]byte{1, 0, 0, 0, 0, 0, 0, 0, 0x00, 0x01, 16, 0}, ff[:16], make([]byte, 8))...), "too large"},
		"JPEG segment of length 0":         {[]byte{0xFF, 0xD8, 0xFF, 0xE1, 0, 0, 1, 2, 3, 4}, "damaged"},
		"JPEG of start markers":            {bytes.Repeat([]byte{0xFF, 0xD8}, 50_000), "no end"},
		"JPEG of FF":                       {append([]byte{0xFF, 0xD8}, bytes.Repeat([]byte{0xFF}, 1<<20)...), "no end"},
		"JPEG of empty segments":           {append([]byte{0xFF, 0xD8}, bytes.Repeat([]byte{0xFF, 0xE5, 0, 2}, 100_000)...), "no end"},
		"JPEG of Exif segments":            {concat(frame[:2], bytes.Repeat(append([]byte{0xFF, 0xE1, 0, 16}, "Exif\x00\x00II*\x00\x08\x00\x00\x00"...), 3000), frame[2:]), "cannot be read"},
		"JPEG with 8 MB of FF in the scan": {concat(frame[:len(frame)-2], bytes.Repeat([]byte{0xFF}, 8<<20), []byte("x")), ""},
		"JPEG with 8 MB of tables":         {concat(frame[:len(frame)-2], bytes.Repeat([]byte{0xFF, 0xC4, 0, 0}, 2<<20), []byte("x")), ""},
		"RAF of FF":                        {append(raf, ff...), "ends before"},
		"RAF of zeros":                     {append(raf, make([]byte, 64)...), "no embedded picture"},
		"ISO media box of 2^63":            {append([]byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic\x00\x00\x00\x01meta\x7F"), ff...), ""},
	} {
		m, err := timed(t, name, tc.bytes)
		var said []string
		if err != nil {
			said = append(said, err.Error())
		}
		for _, p := range m.Problems {
			said = append(said, p.What)
		}
		if all := strings.Join(said, "; "); !strings.Contains(all, tc.want) || tc.want != "" && all == "" {
			t.Errorf("%s: said %q, want %q", name, all, tc.want)
		}
	}
}

// The front of an RW2 file whose embedded picture is the file itself.
func TestEmbeddedPictureThatIsTheFile(t *testing.T) {
	b := tiffOf(dir(1, 0, [4]uint32{0x2E, 7, 26, 0}))
	copy(b, "IIU\x00")
	timed(t, "RW2 within itself", b)
}

// Every frame of the repository, cut at many places and with bytes changed.
func TestDamagedFrames(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	inputs := map[string][]byte{"frame.jpg": cameraJPEG(t, 30_000), "frame.dng": cameraRaw(t)[:30_000]}
	for _, path := range filesUnder(t, framesDir) {
		if filepath.Ext(path) == ".md" {
			continue
		}
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		inputs[filepath.Base(path)] = b
	}
	for name, b := range inputs {
		for range 40 {
			check(t, name+", cut", b[:rng.IntN(len(b))])
			damaged := bytes.Clone(b)
			for range 1 + rng.IntN(20) {
				damaged[rng.IntN(min(len(b), 2000))] = byte(rng.Uint32())
			}
			check(t, name+", changed", damaged)
		}
	}
}

// seeds are the small frames with one of the extensions; all where none is
// given. Long seeds would leave the fuzzer no time but for making them shorter.
func seeds(f *testing.F, extensions ...string) {
	const most = 1000
	for _, path := range filesUnder(f, framesDir) {
		if len(extensions) > 0 && !slices.Contains(extensions, filepath.Ext(path)) {
			continue
		}
		b, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		if len(b) <= most {
			f.Add(b)
		}
	}
}

// FuzzTIFF is for the directories: TIFF files, raw files and Exif blocks.
func FuzzTIFF(f *testing.F) {
	seeds(f, ".tif")
	for _, order := range bothOrders {
		block := exifwrite.Block{
			Order: order,
			IFD0:  []exifwrite.Entry{exifwrite.ASCII(0x010F, "Borealis"), exifwrite.Short(0x0112, 1)},
			Exif:  []exifwrite.Entry{exifwrite.Rational(0x829A, [2]uint32{1, 60}), exifwrite.ASCII(0x9003, "2026:03:04 10:11:12")},
		}
		b, err := block.Encode()
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
		f.Add(append([]byte("IIU\x00"), b[4:]...))
		f.Add(append([]byte("IIRO"), b[4:]...))
	}
	frame := plainJPEG(f, 8, 8)
	f.Fuzz(func(t *testing.T, b []byte) {
		check(t, "input", b)
		if len(b) > 0 && len(b) < 60_000 { // the same directories in a container
			check(t, "input in a JPEG", insert(t, frame, b))
		}
	})
}

// FuzzRead is for the way from a file to Metadata, whatever the container.
func FuzzRead(f *testing.F) {
	seeds(f)
	f.Fuzz(func(t *testing.T, b []byte) { check(t, "input", b) })
}
