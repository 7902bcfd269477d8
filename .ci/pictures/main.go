// Pictures makes what the pictures of a report are timed on.
//
//	pictures write FOLDER N    N frames of two megapixels, in focus sequences of 25
//	pictures run FOLDER N      the same in one sequence, in which focus walks to and fro
//	pictures small FOLDER N    N frames of a few pixels, in sequences of 50 of one session
//	pictures decode FOLDER     decodes all of them on all processors: what any
//	                           program that inspects pictures must spend at least
package main

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/jpeg"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"sync"
	"time"

	"prestrike/audit/pixels/pixelstest"
	"prestrike/exifread"
	"prestrike/exifread/exifwrite"
)

func main() {
	err := fmt.Errorf("usage: pictures write FOLDER N | run FOLDER N | small FOLDER N | decode FOLDER")
	switch {
	case len(os.Args) == 4 && (os.Args[1] == "write" || os.Args[1] == "run" || os.Args[1] == "small"):
		var n int
		n, err = strconv.Atoi(os.Args[3])
		switch {
		case err != nil:
		case os.Args[1] == "write":
			err = write(os.Args[2], n, perSequence)
		case os.Args[1] == "run":
			err = write(os.Args[2], n, n)
		default:
			err = writeSmall(os.Args[2], n)
		}
	case len(os.Args) == 3 && os.Args[1] == "decode":
		err = decode(os.Args[2])
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// perSequence is the number of frames in which focus goes through the subject.
const perSequence = 25

// write writes n frames, of which so many make a sequence.
func write(folder string, n, sequence int) error {
	scene := pixelstest.Scene{
		Seed: 5, Width: 1728, Height: 1152, Shape: pixelstest.Relief, Depth: 24, Contrast: 1, PSF: 0.6, Breathing: 0.03, Electrons: 40000, Quality: 90,
	}.Build()
	var pictures [][]byte
	for _, s := range pixelstest.Run(3, perSequence, -0.1, 1.1, 0.04) {
		data, err := pixelstest.Encode(pixelstest.Tint(scene.Shoot(s)), 90)
		if err != nil {
			return err
		}
		pictures = append(pictures, data)
	}
	for i := len(pictures); i < sequence; i++ { // back, and forth again
		at := i % (2 * (perSequence - 1))
		pictures = append(pictures, pictures[min(at, 2*(perSequence-1)-at)])
	}
	return expose(folder, n, pictures)
}

func writeSmall(folder string, n int) error {
	const perSmall = 50
	picture, err := pixelstest.Encode(image.NewGray(image.Rect(0, 0, 24, 16)), 90)
	if err != nil {
		return err
	}
	return expose(folder, n, slices.Repeat([][]byte{picture}, perSmall))
}

// expose writes n frames, in sequences that show these pictures.
func expose(folder string, n int, pictures [][]byte) error {
	const perFolder = 9999
	at := time.Date(2026, 3, 4, 10, 0, 0, 0, time.UTC)
	for i := range n {
		at = at.Add(1300 * time.Millisecond)
		if i%len(pictures) == 0 {
			at = at.Add(2 * time.Minute)
		}
		block, err := exifwrite.Encode(&exifread.Metadata{
			Make: exifread.Of("Borealis"), Model: exifread.Of("BX-1"), BodySerial: exifread.Of("1003217"),
			ExposureTime: exifread.Of(exifread.Rational{Num: 8, Den: 10}), FNumber: exifread.Of(exifread.Rational{Num: 56, Den: 10}),
			Sensitivity: exifread.Of[uint32](100), FocalLength: exifread.Of(exifread.Rational{Num: 90, Den: 1}),
			Captured: exifread.Of(exifread.Timestamp{Wall: at, Resolution: 10 * time.Millisecond}),
		}, binary.LittleEndian)
		if err != nil {
			return err
		}
		file, err := exifwrite.InsertJPEG(pictures[i%len(pictures)], block)
		if err != nil {
			return err
		}
		in := filepath.Join(folder, "DCIM", fmt.Sprintf("%dBXCAM", 100+i/perFolder))
		if i%perFolder == 0 {
			if err := os.MkdirAll(in, 0o777); err != nil {
				return err
			}
		}
		if err := os.WriteFile(filepath.Join(in, fmt.Sprintf("BX1_%04d.JPG", i%perFolder+1)), file, 0o666); err != nil {
			return err
		}
	}
	return nil
}

func decode(folder string) error {
	files := make(chan string)
	var wg sync.WaitGroup
	var failed sync.Map
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for file := range files {
				data, err := os.ReadFile(file)
				if err == nil {
					_, err = jpeg.Decode(bytes.NewReader(data))
				}
				if err != nil {
					failed.Store(file, err)
				}
			}
		})
	}
	err := filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			files <- path
		}
		return err
	})
	close(files)
	wg.Wait()
	failed.Range(func(file, why any) bool {
		err = fmt.Errorf("%v: %v", file, why)
		return false
	})
	return err
}
