package demo

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"image/jpeg"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"prestrike/cmd/prestrike/internal/scene"
	"prestrike/exifread"
	"prestrike/exifread/exifwrite"
)

// cardFolder is where the body keeps its frames (CIPA DC-009).
const cardFolder = "DCIM/100BXCAM"

// ErrNotEmpty means that a folder already holds something.
var ErrNotEmpty = errors.New("the folder is not empty")

// Write writes the session into the folder, which is made where it does not
// exist, and returns how many frames it wrote. It writes all of them or leaves
// the folder as it was. progress, where not nil, is called with how far it is.
func (s Session) Write(ctx context.Context, folder string, progress func(done, total int)) (int, error) {
	switch entries, err := os.ReadDir(folder); {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return 0, err
	case len(entries) > 0:
		return 0, ErrNotEmpty
	}
	if err := os.MkdirAll(folder, 0o777); err != nil {
		return 0, err
	}
	// Everything is written beside its place and moved there when it is whole.
	card := filepath.FromSlash(cardFolder)
	root := filepath.Dir(card)
	unfinished, err := os.MkdirTemp(folder, ".unfinished-")
	if err != nil {
		return 0, err
	}
	defer os.RemoveAll(unfinished)
	if err := os.MkdirAll(filepath.Join(unfinished, card), 0o777); err != nil {
		return 0, err
	}
	subject := scene.New(s.Width, s.Height)
	shots, _ := s.script()
	written := 0
	for i, shot := range shots {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		if progress != nil {
			progress(i, len(shots))
		}
		if shot.lost {
			continue
		}
		content, err := s.frame(subject, shot)
		if err != nil {
			return 0, fmt.Errorf("frame %04d: %w", shot.number, err)
		}
		name := fmt.Sprintf("BX1_%04d.JPG", shot.number)
		if err := os.WriteFile(filepath.Join(unfinished, card, name), content, 0o666); err != nil {
			return 0, err
		}
		written++
	}
	if err := os.Rename(filepath.Join(unfinished, root), filepath.Join(folder, root)); err != nil {
		return 0, err
	}
	return written, nil
}

// frame returns the file of a shot.
func (s Session) frame(subject *scene.Scene, shot shot) ([]byte, error) {
	var picture bytes.Buffer
	if err := jpeg.Encode(&picture, subject.Render(shot.view), &jpeg.Options{Quality: s.Quality}); err != nil {
		return nil, err
	}
	block, err := exifwrite.Encode(s.metadata(shot), binary.LittleEndian)
	if err != nil {
		return nil, err
	}
	return exifwrite.InsertJPEG(picture.Bytes(), block)
}

// metadata returns what the body records with a shot.
func (s Session) metadata(shot shot) *exifread.Metadata {
	mode := exifread.ExposureManual
	if shot.bias.Known() {
		mode = exifread.ExposureBracket
	}
	wide := exifread.Of(2.8)
	return &exifread.Metadata{
		ExifVersion: exifread.Of("0232"),
		Make:        exifread.Of("Borealis"), Model: exifread.Of("BX-1"), BodySerial: exifread.Of("1003217"),
		LensMake: exifread.Of("Borealis"), LensModel: exifread.Of("Borealis 90 mm macro"), LensSerial: exifread.Of("90041"),
		LensSpecification: exifread.Of(exifread.LensSpecification{
			MinFocal: exifread.Of(90.0), MaxFocal: exifread.Of(90.0),
			MinFNumberMinFocal: wide, MinFNumberMaxFocal: wide,
		}),
		ExposureTime:     exifread.Of(shot.exposure),
		FNumber:          exifread.Of(shot.fNumber),
		MaxApertureValue: exifread.Of(rational(297, 100)), // 2 log2 2.8
		Sensitivity:      exifread.Of(shot.iso),
		SensitivityType:  exifread.Of(exifread.SensitivityType(2)),
		FocalLength:      exifread.Of(rational(90, 1)),
		FocalLength35:    exifread.Of(uint32(90)),
		ExposureProgram:  exifread.Of(exifread.ProgramManual),
		ExposureMode:     exifread.Of(mode),
		ExposureBias:     exifread.Of(shot.bias.Or(rational(0, 1))),
		MeteringMode:     exifread.Of(uint16(5)),
		Flash:            exifread.Of(exifread.Flash(0x10)), // switched off
		WhiteBalance:     exifread.Of(exifread.WhiteBalanceManual),
		SubjectDistance:  exifread.Of(exifread.Distance{State: exifread.DistanceMetres, Metres: shot.distance}),
		Captured: exifread.Of(exifread.Timestamp{
			Wall: shot.at.Truncate(10 * time.Millisecond), Resolution: 10 * time.Millisecond, Offset: exifread.Of(clockOffset),
		}),
		Orientation: exifread.Of(uint16(1)),
		Width:       exifread.Of(uint32(s.Width)), Height: exifread.Of(uint32(s.Height)),
	}
}
