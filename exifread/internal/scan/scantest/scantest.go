// Package scantest holds what must be true of every container reader,
// whatever the bytes it is given.
package scantest

import (
	"bytes"
	"errors"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"testing"

	"prestrike/exifread/internal/layout"
	"prestrike/exifread/internal/scan"
)

// A Func is a container reader.
type Func func(io.ReaderAt, int64) (layout.Layout, error)

// A Counter counts the reads of a ReaderAt, and the bytes they brought.
type Counter struct {
	R     io.ReaderAt
	Reads int
	Bytes int64
}

// ReadAt reads from R.
func (c *Counter) ReadAt(p []byte, off int64) (int, error) {
	n, err := c.R.ReadAt(p, off)
	c.Reads++
	c.Bytes += int64(n)
	return n, err
}

// Bounds on what one scan may cost.
const (
	maxAlloc = 16 << 20 // bytes in all, let go or not
	maxRead  = 64 << 20 // bytes in all
)

// Check scans data and fails the test where what comes out cannot be true of
// it. It returns what came out.
func Check(t testing.TB, f Func, data []byte) (layout.Layout, error) {
	t.Helper()
	size := int64(len(data))
	c := &Counter{R: bytes.NewReader(data)}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	l, err := f(c, size)
	runtime.ReadMemStats(&after)
	if n := after.TotalAlloc - before.TotalAlloc; n > maxAlloc {
		t.Errorf("%d bytes of input: %d bytes were allocated", size, n)
	}
	if c.Bytes > maxRead {
		t.Errorf("%d bytes of input: %d bytes were read in %d reads", size, c.Bytes, c.Reads)
	}
	if err != nil {
		if _, ok := errors.AsType[*scan.Error](err); !ok {
			t.Errorf("error %v (%T) is no *scan.Error", err, err)
		}
		printable(t, err.Error())
	}
	if l.Torn != "" && !l.Checked {
		t.Errorf("torn (%s) but not checked", l.Torn)
	}
	printable(t, l.Torn)
	places(t, &l, data)
	if len(l.Problems) > 64 {
		t.Errorf("%d problems", len(l.Problems))
	}
	for _, p := range l.Problems {
		if p.Where == "" || p.What == "" {
			t.Errorf("empty problem %+v", p)
		}
		printable(t, p.Where)
		printable(t, p.What)
	}
	again, err2 := f(bytes.NewReader(data), size)
	if !reflect.DeepEqual(l, again) || (err == nil) != (err2 == nil) {
		t.Errorf("a second scan differs: %+v, %v and %+v, %v", l, err, again, err2)
	}
	return l, err
}

// places fails the test where a block or a preview is none, or not in the data.
func places(t testing.TB, l *layout.Layout, data []byte) {
	t.Helper()
	size := int64(len(data))
	for _, b := range l.Blocks {
		d := b.Data
		if d == nil {
			if b.Offset < 0 || b.Length < 1 || b.Offset > size || b.Length > size-b.Offset {
				t.Errorf("block at %d of %d bytes is not in a file of %d bytes", b.Offset, b.Length, size)
				continue
			}
			d = data[b.Offset:][:b.Length]
		}
		if scan.TIFFStart(d) != 0 {
			t.Errorf("block at %d of %d bytes does not begin as TIFF does", b.Offset, b.Length)
		}
	}
	for _, p := range l.Previews {
		if p.Offset < 0 || p.Length < 1 || p.Offset > size || p.Length > size-p.Offset || p.Width < 0 || p.Height < 0 {
			t.Errorf("preview %+v is not in a file of %d bytes", p, size)
		}
	}
}

// printable fails the test where a sentence holds more than printable ASCII:
// bytes of the file must not reach a terminal.
func printable(t testing.TB, s string) {
	t.Helper()
	for _, r := range s {
		if r < ' ' || r > '~' {
			t.Errorf("unprintable character in %q", s)
			return
		}
	}
}

// Cut checks that of a whole file no shorter part passes as whole: image data
// ends at end at the latest. Cuts are made at every step bytes.
func Cut(t *testing.T, f Func, data []byte, end, step int) {
	t.Helper()
	if l, err := Check(t, f, data); err != nil || !l.Checked || l.Torn != "" {
		t.Fatalf("the whole file: %v, checked %v, torn %q", err, l.Checked, l.Torn)
	}
	for n := 0; n < end; n += step {
		if l, err := f(bytes.NewReader(data[:n]), int64(n)); err == nil && l.Checked && l.Torn == "" {
			t.Errorf("the first %d of %d bytes pass as a whole picture", n, len(data))
			return
		}
	}
}

// Shared returns the small real files in a folder of the shared test data, or
// nothing where the folder is absent. Small: fuzzing gets nowhere with big ones.
func Shared(t testing.TB, folder string, is func(head []byte) bool) [][]byte {
	t.Helper()
	root := "."
	for range 8 {
		if _, err := os.Stat(filepath.Join(root, "go.mod")); err == nil {
			break
		}
		root = filepath.Join(root, "..")
	}
	var all [][]byte
	for _, depth := range []string{"*", "*/*"} {
		names, _ := filepath.Glob(filepath.Join(root, "..", "shared", "data", folder, depth))
		for _, name := range names {
			if info, err := os.Stat(name); err != nil || !info.Mode().IsRegular() || info.Size() > 1<<12 {
				continue
			}
			data, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			if is(data) {
				all = append(all, data)
			}
		}
	}
	return all
}

// Folders are the folders of the shared test data with pictures in them.
var Folders = []string{"containers", "hostile", "makers"}
