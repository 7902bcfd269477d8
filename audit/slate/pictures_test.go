package slate_test

import (
	"bufio"
	"fmt"
	"hash/crc64"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"prestrike/audit/slate"
)

type gray = image.Gray

// eachPicture calls found for the luma of every JPEG, PNG and PGM in a folder whose long
// side has at least so many pixels, reduced to 2,000 px, each picture once, until found
// returns false.
func eachPicture(folder string, least int, found func(path string, m *gray) bool) {
	seen := map[uint64]bool{}
	_ = filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return nil
		}
		m := decoded(path)
		if m == nil || max(m.Rect.Dx(), m.Rect.Dy()) < least {
			return nil
		}
		sum := crc64.Checksum(m.Pix, crc64.MakeTable(crc64.ISO))
		if seen[sum] {
			return nil
		}
		seen[sum] = true
		if !found(path, m) {
			return fs.SkipAll
		}
		return nil
	})
}

// decoded returns the luma of a picture, with a long side of 2,000 px at most; else nil.
func decoded(path string) *gray {
	decode, ok := map[string]func(io.Reader) (image.Image, error){".jpg": jpeg.Decode, ".jpeg": jpeg.Decode, ".png": png.Decode, ".pgm": decodePGM}[strings.ToLower(filepath.Ext(path))]
	if !ok {
		return nil
	}
	f, err := os.Open(path)
	if err != nil {
		return nil
	}
	defer f.Close()
	img, err := decode(bufio.NewReader(f))
	if err != nil {
		return nil
	}
	var m *gray
	switch p := img.(type) {
	case *image.YCbCr:
		m = &gray{Pix: p.Y, Stride: p.YStride, Rect: image.Rect(0, 0, p.Rect.Dx(), p.Rect.Dy())}
	case *gray:
		m = p
	default:
		b := img.Bounds()
		m = image.NewGray(image.Rect(0, 0, b.Dx(), b.Dy()))
		for y := range b.Dy() {
			for x := range b.Dx() {
				m.SetGray(x, y, color.GrayModel.Convert(img.At(b.Min.X+x, b.Min.Y+y)).(color.Gray))
			}
		}
	}
	return slate.Reduced(m, 2000)
}

// decodePGM reads a binary PGM of 8 bits (netpbm, pgm(5)).
func decodePGM(r io.Reader) (image.Image, error) {
	in := bufio.NewReader(r)
	numbers := [3]int{} // width, height, largest value
	if magic, err := in.ReadString('\n'); err != nil || strings.TrimSpace(magic) != "P5" {
		return nil, fmt.Errorf("no binary PGM: %q", magic)
	}
	for i := range numbers {
		for {
			if next, err := in.Peek(1); err != nil || next[0] != '#' {
				break
			}
			if _, err := in.ReadString('\n'); err != nil {
				return nil, err
			}
		}
		if _, err := fmt.Fscan(in, &numbers[i]); err != nil {
			return nil, err
		}
		if _, err := in.ReadByte(); err != nil { // one blank
			return nil, err
		}
	}
	if numbers[0] <= 0 || numbers[1] <= 0 || numbers[0] > 1<<14 || numbers[1] > 1<<14 || numbers[2] != 255 {
		return nil, fmt.Errorf("a PGM of %v", numbers)
	}
	m := image.NewGray(image.Rect(0, 0, numbers[0], numbers[1]))
	_, err := io.ReadFull(in, m.Pix)
	return m, err
}
