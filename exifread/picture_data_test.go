package exifread_test

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"prestrike/exifread"
)

func pictureData(t *testing.T, content []byte) ([]byte, error) {
	t.Helper()
	var b bytes.Buffer
	err := exifread.PictureData(t.Context(), &b, bytes.NewReader(content), int64(len(content)))
	return b.Bytes(), err
}

// Metadata may change, a bit of the picture may not.
func TestPictureData(t *testing.T) {
	for _, name := range []string{"compact-1.jpg", "exif.jpg", "small.dng", "small.nef", "small.arw", "small.pef", "exif.tif"} {
		content, err := os.ReadFile(filepath.Join("..", "testdata", "frames", name))
		if err != nil {
			t.Fatal(err)
		}
		want, err := pictureData(t, content)
		if err != nil || len(want) < 70 {
			// The image data of some of these files was cut off to make them small.
			m, readErr := exifread.Read(t.Context(), bytes.NewReader(content), int64(len(content)))
			if readErr == nil && m.Integrity.State == exifread.IntegrityTorn && errors.Is(err, exifread.ErrNoPictureData) {
				continue
			}
			t.Errorf("%s: %d bytes, %v", name, len(want), err)
			continue
		}
		behind := append(slices.Clone(content), "metadata of another program"...)
		if got, err := pictureData(t, behind); err != nil || !bytes.Equal(got, want) {
			t.Errorf("%s, with something behind it: not the same picture, %v", name, err)
		}
		if filepath.Ext(name) == ".jpg" {
			comment := slices.Concat([]byte{0xFF, 0xD8, 0xFF, 0xFE, 0, 7}, []byte("rated"), content[2:])
			if got, err := pictureData(t, comment); err != nil || !bytes.Equal(got, want) {
				t.Errorf("%s, with a comment: not the same picture, %v", name, err)
			}
		}
		// Of the picture every bit is seen, of the rest none: as many bytes of
		// the file count as there are of the picture, and those that record where
		// they are and how they are coded.
		seen := 0
		flipped := slices.Clone(content)
		every := 1 + len(content)/5000
		for at := 0; at < len(content); at += every {
			flipped[at] ^= 4
			if got, err := pictureData(t, flipped); err != nil || !bytes.Equal(got, want) {
				seen++
			}
			flipped[at] ^= 4
		}
		data := len(want)
		if filepath.Ext(name) != ".jpg" {
			data = bytes.LastIndexByte(want, '\n') + 1 // what the bytes mean comes first
			data = len(want) - data
		}
		if least, most := data/every-1, (data+400)/every+1; seen < least || seen > most {
			t.Errorf("%s: %d of %d flipped bits are seen, and the picture has %d bytes", name, seen, len(content)/every, data)
		}
	}
}

func TestNoPictureData(t *testing.T) {
	jpeg := greyFile(t, 64, 64, 90)
	whole, err := pictureData(t, jpeg)
	if err != nil {
		t.Fatal(err)
	}
	for n := range jpeg {
		got, err := pictureData(t, jpeg[:n])
		if !errors.Is(err, exifread.ErrNoPictureData) {
			t.Fatalf("cut after %d of %d bytes: %d bytes, %v", n, len(jpeg), len(got), err)
		}
	}
	for _, c := range []struct {
		name    string
		content []byte
	}{
		{"nothing", nil},
		{"text", []byte("no picture is in this file at all")},
		{"two start markers", slices.Concat([]byte{0xFF, 0xD8}, jpeg)},
		{"a length of 1", slices.Concat([]byte{0xFF, 0xD8, 0xFF, 0xE1, 0, 1}, jpeg[2:])},
		{"a TIFF structure without end", append([]byte("II*\x00\x08\x00\x00\x00\xFF\xFF"), make([]byte, 40)...)},
	} {
		if _, err := pictureData(t, c.content); !errors.Is(err, exifread.ErrNoPictureData) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	// Fill bytes before a marker change nothing that a decoder reads.
	end := len(jpeg) - 2
	filled := slices.Concat(jpeg[:end], []byte{0xFF, 0xFF}, jpeg[end:])
	if got, err := pictureData(t, filled); err != nil || !bytes.Equal(got, whole) {
		t.Errorf("with fill bytes: not the same picture, %v", err)
	}
}
