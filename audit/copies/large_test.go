package copies

import (
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// .ci/run copies makes these with more files, and with sparse ones.
var (
	manyFiles = flag.Int("files", 300, "how many small files a card has")
	sparse    = flag.Int("sparse", 0, "how many GB the sparse files of a card hold")
)

// Of many small files of few sizes, one with a byte that flipped is found, and one that is gone.
func TestManyFiles(t *testing.T) {
	top := t.TempDir()
	for _, name := range []string{"card", "copy"} {
		for i := range *manyFiles {
			folder := filepath.Join(top, name, fmt.Sprintf("DCIM/%03dBXCAM", 100+i/9999))
			if i%9999 == 0 {
				if err := os.MkdirAll(folder, 0o777); err != nil {
					t.Fatal(err)
				}
			}
			content := fmt.Appendf(make([]byte, i%7), "picture %d", i)
			file := fmt.Sprintf("BX1_%04d.JPG", 1+i%9999)
			if name == "copy" {
				switch i {
				case *manyFiles * 2 / 3:
					content[i%7] ^= 1
				case *manyFiles / 2:
					continue
				}
				file = fmt.Sprintf("%d.jpg", i) // renamed
			}
			if err := os.WriteFile(filepath.Join(folder, file), content, 0o666); err != nil {
				t.Fatal(err)
			}
		}
	}
	_ = exec.Command("sync").Run() // all at once takes less than each file by itself
	a, err := Compare(t.Context(), filepath.Join(top, "card"), []string{filepath.Join(top, "copy")}, &Options{})
	if err != nil {
		t.Fatal(err)
	}
	at := func(i int) string { return fmt.Sprintf("DCIM/%03dBXCAM/BX1_%04d.JPG", 100+i/9999, 1+i%9999) }
	var lost []string
	for _, m := range a.Copies[0].Missing {
		lost = append(lost, m.File.Path)
	}
	if diff := cmp.Diff([]string{at(*manyFiles / 2), at(*manyFiles * 2 / 3)}, lost); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
	if n := len(a.Needed); n != *manyFiles {
		t.Errorf("%d files compared, want %d", n, *manyFiles)
	}
}

// A byte that flipped far behind the beginning of a file larger than 4 GB is found.
func TestSparse(t *testing.T) {
	if *sparse == 0 {
		t.Skip("-sparse GB makes large files without content: .ci/run copies does")
	}
	top := t.TempDir()
	const small = 1_000_000_000
	large := int64(max(5, *sparse/3)) * small
	flipped := large - 500_000_123
	made := int64(0)
	for i := 0; made < int64(*sparse)*small; i++ {
		size := large
		if i > 0 {
			size = small + int64(i)
		}
		made += size
		for _, name := range []string{"card", "copy"} {
			file := filepath.Join(top, name, fmt.Sprintf("BX1_%04d.MOV", 1+i))
			if err := os.MkdirAll(filepath.Dir(file), 0o777); err != nil {
				t.Fatal(err)
			}
			f, err := os.Create(file)
			if err != nil {
				t.Fatal(err)
			}
			if err := f.Truncate(size); err != nil {
				t.Skip("the file system holds no files this large: ", err)
			}
			if name == "copy" && i == 0 {
				if _, err := f.WriteAt([]byte{1}, flipped); err != nil {
					t.Fatal(err)
				}
			}
			if err := f.Close(); err != nil {
				t.Fatal(err)
			}
		}
	}
	a, err := Compare(t.Context(), filepath.Join(top, "card"), []string{filepath.Join(top, "copy")}, &Options{})
	if err != nil {
		t.Fatal(err)
	}
	want := []string{fmt.Sprintf("BX1_0001.MOV has other bytes there, from byte %d on", flipped+1)}
	if diff := cmp.Diff(want, said(a)); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
}
