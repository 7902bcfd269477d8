// Head64k opens each file below a folder and reads its first 64 KiB: what any
// program that inspects the files must spend at least.
package main

import (
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

func main() {
	buf := make([]byte, 64<<10)
	var n int64
	err := filepath.WalkDir(os.Args[1], func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		f, err := os.Open(path)
		if err != nil {
			return err
		}
		defer f.Close()
		k, err := io.ReadFull(f, buf)
		n += int64(k)
		if err == io.EOF || err == io.ErrUnexpectedEOF {
			err = nil
		}
		return err
	})
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	fmt.Println(n)
}
