package main

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"prestrike/exifread"
	"prestrike/exifread/exifwrite"
)

// goodFrame is a sound frame of a few kilobytes, the second one 8 s after the first.
func goodFrame(t testing.TB, number int) []byte {
	t.Helper()
	picture := image.NewGray(image.Rect(0, 0, 96, 64))
	for i := range picture.Pix {
		picture.Pix[i] = byte(i*i>>6 + number)
	}
	picture.SetGray(1, 1, color.Gray{255})
	var b bytes.Buffer
	if err := jpeg.Encode(&b, picture, nil); err != nil {
		t.Fatal(err)
	}
	block, err := exifwrite.Encode(&exifread.Metadata{
		Make: exifread.Of("Borealis"), Model: exifread.Of("BX-1"),
		ExposureTime: exifread.Of(exifread.Rational{Num: 1, Den: 8}), FNumber: exifread.Of(exifread.Rational{Num: 56, Den: 10}),
		Sensitivity: exifread.Of[uint32](100), FocalLength: exifread.Of(exifread.Rational{Num: 90, Den: 1}),
		Captured: exifread.Of(exifread.Timestamp{Wall: time.Date(2026, 3, 4, 10, 11, 8*number, 0, time.UTC), Resolution: time.Second}),
	}, binary.LittleEndian)
	if err != nil {
		t.Fatal(err)
	}
	frame, err := exifwrite.InsertJPEG(b.Bytes(), block)
	if err != nil {
		t.Fatal(err)
	}
	return frame
}

// fuzzedNames are what a file may be called beside the good frames, the last the raw
// file of one of them.
var fuzzedNames = []string{"BX1_0004.JPG", "BX1_0004.DNG", "BX1_0004.TIF", "BX1_0004.HIF", "BX1_0004.PNG", "BX1_0004.WEBP", "BX1_0004.JXL", "BX1_0004.CR3", "BX1_0004", "BX1_0004.XMP", "BX1_0002.DNG"}

// FuzzReport is for the whole way from a file to the report: whatever one file holds,
// the good frames beside it stay, the file is accounted for, and the report is JSON
// without a control character.
func FuzzReport(f *testing.F) {
	folder := f.TempDir()
	f.Setenv("XDG_CONFIG_HOME", f.TempDir())
	var good []string
	for number := range 3 {
		name := fmt.Sprintf("BX1_%04d.JPG", number+1)
		if err := os.WriteFile(filepath.Join(folder, name), goodFrame(f, number+1), 0o666); err != nil {
			f.Fatal(err)
		}
		good = append(good, name)
	}
	frames := filepath.Join("..", "..", "testdata", "frames")
	entries, err := os.ReadDir(frames)
	if err != nil {
		f.Fatal(err)
	}
	for i, e := range entries {
		b, err := os.ReadFile(filepath.Join(frames, e.Name()))
		if err != nil {
			f.Fatal(err)
		}
		if len(b) <= 2000 { // longer seeds leave the fuzzer time for little else
			f.Add(b, byte(i))
		}
	}
	f.Add(goodFrame(f, 4), byte(0))
	f.Add([]byte{}, byte(0))
	f.Add([]byte("\x1b[2J\r\n=1+1"), byte(8))
	f.Fuzz(func(t *testing.T, content []byte, which byte) {
		name := fuzzedNames[int(which)%len(fuzzedNames)]
		path := filepath.Join(folder, name)
		if err := os.WriteFile(path, content, 0o666); err != nil {
			t.Fatal(err)
		}
		defer os.Remove(path)
		var out, said bytes.Buffer
		status := run(t.Context(), []string{"report", "--format", "json", "--no-cache", "--pixels", "on", folder}, &console{out: &out, err: &said})
		if status > statusReshoot {
			t.Errorf("status %d; said %q", status, said.String())
		}
		if all := out.String() + said.String(); !utf8.ValidString(all) || strings.ContainsFunc(all, func(r rune) bool { return r != '\n' && unicode.IsControl(r) }) {
			t.Errorf("control characters, or no UTF-8: %q, said %q", out.String(), said.String())
		}
		if strings.Contains(out.String()+said.String(), "the program failed") {
			t.Errorf("the program failed: %s%s", out.String(), said.String())
		}
		checkAccounted(t, out.Bytes(), good, name)
	})
}

// checkAccounted holds a report to its files: each good one in one frame, the other in a
// frame, named as unreadable or counted.
func checkAccounted(t *testing.T, text []byte, good []string, other string) {
	t.Helper()
	var r struct {
		Verdict  string
		Sessions []struct {
			Sequences []struct{ Frames []struct{ Files []string } }
		}
		Files struct {
			Read, Frames, Other int
			Unreadable          []struct{ Path string }
		}
	}
	decoder := json.NewDecoder(bytes.NewReader(text))
	if err := decoder.Decode(&r); err != nil || decoder.More() {
		t.Fatalf("not one JSON value: %v\n%s", err, text)
	}
	if !slices.Contains([]string{"good", "check", "reshoot"}, r.Verdict) {
		t.Errorf("verdict %q", r.Verdict)
	}
	times := map[string]int{}
	frames := 0
	for _, s := range r.Sessions {
		for _, q := range s.Sequences {
			frames += len(q.Frames)
			for _, frame := range q.Frames {
				for _, file := range frame.Files {
					times[file]++
				}
			}
		}
	}
	for _, name := range good {
		if times[name] != 1 {
			t.Errorf("%s is in %d frames\n%s", name, times[name], text)
		}
	}
	named := slices.ContainsFunc(r.Files.Unreadable, func(u struct{ Path string }) bool { return u.Path == other })
	if times[other] > 1 || times[other] == 0 && !named && r.Files.Other != 1 {
		t.Errorf("%s is in %d frames, named unreadable: %v, %d other files\n%s", other, times[other], named, r.Files.Other, text)
	}
	if frames != r.Files.Frames || len(times)+r.Files.Other < len(good)+1 && !named {
		t.Errorf("%d frames, %d by the count; %d files in them\n%s", frames, r.Files.Frames, len(times), text)
	}
}
