// Cold measures what a comparison of copies cannot be faster than, in MB/s:
//
//	cold write DIR FILES MEGABYTES   writes files that no two hold the same bytes
//	cold read direct DIR...          reads them from the medium, past the system's memory
//	cold read cached DIR...          reads them from the medium, through it
//	cold hash MEGABYTES              hashes as many in memory, on two goroutines
//
// Linux only.
package main

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"io"
	"io/fs"
	"log"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

func main() {
	switch os.Args[1] {
	case "write":
		write(os.Args[2], number(os.Args[3]), number(os.Args[4]))
	case "read":
		read(os.Args[2], os.Args[3:])
	case "hash":
		hash(number(os.Args[2]))
	}
}

func number(s string) int {
	n, err := strconv.Atoi(s)
	if err != nil {
		log.Fatal(err)
	}
	return n
}

func write(dir string, files, megabytes int) {
	var block [1 << 20]byte
	for i := range files {
		f, err := os.Create(filepath.Join(dir, fmt.Sprintf("BX1_%04d.MP4", i+1)))
		if err != nil {
			log.Fatal(err)
		}
		random := rand.NewChaCha8([32]byte{byte(i), byte(i >> 8)})
		for range megabytes {
			_, _ = random.Read(block[:]) // never fails
			if _, err := f.Write(block[:]); err != nil {
				log.Fatal(err)
			}
		}
		if err := f.Sync(); err != nil {
			log.Fatal(err)
		}
		if err := f.Close(); err != nil {
			log.Fatal(err)
		}
	}
}

// read reads all files of folders from the medium, one after the other: past the
// system's memory in blocks as large as those of audit/copies, or through it, where the
// system reads ahead. Which is faster depends on the device.
func read(way string, dirs []string) {
	const page = 4096
	buf := make([]byte, 1<<20+page)
	buf = buf[page-int(uintptr(unsafe.Pointer(&buf[0]))%page):][:1<<20] // as O_DIRECT wants it (open(2))
	var n int64
	began := time.Now()
	for _, dir := range dirs {
		err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
			if err != nil || !d.Type().IsRegular() {
				return err
			}
			flags := os.O_RDONLY
			if way == "direct" {
				flags |= unix.O_DIRECT
			}
			f, err := os.OpenFile(path, flags, 0)
			if err != nil {
				return err
			}
			defer f.Close()
			_ = unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_DONTNEED)
			if way != "direct" {
				_ = unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_SEQUENTIAL)
			}
			for {
				k, err := f.Read(buf)
				n += int64(k)
				if err == io.EOF {
					return nil
				}
				if err != nil {
					return err
				}
			}
		})
		if err != nil {
			log.Fatal(err)
		}
	}
	speed(n, began)
}

func hash(megabytes int) {
	block := bytes.Repeat([]byte("prestrike"), 1<<20/9)
	began := time.Now()
	var wg sync.WaitGroup
	for range 2 {
		wg.Go(func() {
			h := sha256.New()
			for range megabytes / 2 {
				h.Write(block)
			}
			h.Sum(nil)
		})
	}
	wg.Wait()
	speed(int64(megabytes/2*2)*int64(len(block)), began)
}

func speed(n int64, began time.Time) {
	fmt.Printf("%.0f\n", float64(n)/1e6/time.Since(began).Seconds())
}
