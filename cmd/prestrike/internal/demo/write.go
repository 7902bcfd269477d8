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
	"runtime"
	"slices"
	"sync"
	"time"

	"prestrike/audit/slate"
	"prestrike/cmd/prestrike/internal/scene"
	"prestrike/exifread"
	"prestrike/exifread/exifwrite"

	"golang.org/x/sync/errgroup"
)

// The folders of the demonstration, as on a computer during a job.
const (
	Card = "card" // stands for the memory card
	Copy = "copy" // its copy

	// framesFolder is where the body keeps its frames (CIPA DC-009).
	framesFolder = "DCIM/100BXCAM"
	shotList     = "prestrike.toml"
)

// ErrNotEmpty means that a folder already holds something.
var ErrNotEmpty = errors.New("the folder is not empty")

// Write writes the session into the folder, which is made where it does not exist: the
// shot list, the card, and a copy of the card in which one byte is another. It returns
// how many frames are on the card. It writes everything or leaves all as it was, without
// the folders that it made. progress, where not nil, is called with how far it is.
func (s Session) Write(ctx context.Context, folder string, progress func(done, total int)) (written int, err error) {
	switch entries, err := os.ReadDir(folder); {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return 0, err
	case len(entries) > 0:
		return 0, ErrNotEmpty
	}
	made := missing(folder)
	defer func() {
		for _, f := range made {
			if err != nil {
				_ = os.Remove(f) // stays where it is not empty: somebody else uses it
			}
		}
	}()
	if err := os.MkdirAll(folder, 0o777); err != nil {
		return 0, err
	}
	// Everything is written beside its place and moved there when it is whole.
	unfinished, err := os.MkdirTemp(folder, ".unfinished-")
	if err != nil {
		return 0, err
	}
	defer os.RemoveAll(unfinished)
	for _, name := range []string{Card, Copy} {
		if err := os.MkdirAll(filepath.Join(unfinished, name, filepath.FromSlash(framesFolder)), 0o777); err != nil {
			return 0, err
		}
	}
	if err := os.WriteFile(filepath.Join(unfinished, shotList), s.shotList(), 0o666); err != nil {
		return 0, err
	}
	if written, err = s.writeFrames(ctx, unfinished, progress); err != nil {
		return 0, err
	}
	for i, name := range []string{Card, Copy, shotList} {
		if err := os.Rename(filepath.Join(unfinished, name), filepath.Join(folder, name)); err != nil {
			for _, moved := range []string{Card, Copy, shotList}[:i] {
				err = errors.Join(err, os.RemoveAll(filepath.Join(folder, moved)))
			}
			return 0, err
		}
	}
	return written, nil
}

// missing returns the folders to be made for a folder to be there, the last one first.
func missing(folder string) (list []string) {
	for {
		if _, err := os.Lstat(folder); !errors.Is(err, fs.ErrNotExist) {
			return list
		}
		list = append(list, folder)
		folder = filepath.Dir(folder)
	}
}

// writeFrames renders the frames, on all processors, and writes them to the card and to
// its copy.
func (s Session) writeFrames(ctx context.Context, folder string, progress func(done, total int)) (int, error) {
	subject := scene.New(s.Width, s.Height)
	shots, _ := s.script()
	shots = slices.DeleteFunc(shots, func(s shot) bool { return s.lost })
	work, ctx := errgroup.WithContext(ctx)
	work.SetLimit(runtime.GOMAXPROCS(0))
	var mu sync.Mutex
	done := 0
	for _, shot := range shots {
		work.Go(func() (err error) {
			defer exifread.Recovered(&err)
			if err := ctx.Err(); err != nil {
				return err
			}
			content, err := s.frame(subject, shot)
			if err != nil {
				return fmt.Errorf("frame %04d: %w", shot.number, err)
			}
			for _, name := range []string{Card, Copy} {
				if name == Copy && shot.damaged {
					damage(content)
				}
				file := filepath.Join(folder, name, filepath.FromSlash(framesFolder), fileName(shot.number))
				if err := os.WriteFile(file, content, 0o666); err != nil {
					return err
				}
			}
			mu.Lock()
			defer mu.Unlock()
			if done++; progress != nil {
				progress(done, len(shots))
			}
			return nil
		})
	}
	return len(shots), work.Wait()
}

// damage changes one bit in the middle of a JPEG file, so that it stays a JPEG file: no
// byte of 255 comes or goes, with which the parts of one begin (ITU-T T.81, B.1.1.2).
func damage(content []byte) {
	for i := len(content) / 2; i < len(content); i++ {
		if content[i-1] < 0xFE && content[i] < 0xFE {
			content[i] ^= 1
			return
		}
	}
}

// frame returns the file of a shot.
func (s Session) frame(subject *scene.Scene, shot shot) ([]byte, error) {
	if shot.slate != "" {
		code, err := slate.Code(shot.slate)
		if err != nil {
			return nil, err
		}
		shot.view.Slate = &scene.Slate{Name: shot.slate, Code: code}
	}
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
