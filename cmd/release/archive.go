package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/gzip"
	"io/fs"
	"time"
)

// mode returns the permissions of a file in an archive: all may read it, and run
// a program.
func (f file) mode() fs.FileMode {
	if f.program {
		return 0o755
	}
	return 0o644
}

// tarred packs files below a folder. The header of gzip stays without name and
// time, the entries without owner.
func tarred(folder string, files []file, at time.Time) ([]byte, error) {
	var b bytes.Buffer
	z, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
	if err != nil {
		return nil, err
	}
	w := tar.NewWriter(z)
	for _, f := range files {
		header := &tar.Header{
			Typeflag: tar.TypeReg, Name: folder + "/" + f.name, Size: int64(len(f.content)),
			Mode: int64(f.mode()), ModTime: at, Format: tar.FormatUSTAR,
		}
		if err := w.WriteHeader(header); err != nil {
			return nil, err
		}
		if _, err := w.Write(f.content); err != nil {
			return nil, err
		}
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	if err := z.Close(); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// zipped packs files below a folder.
func zipped(folder string, files []file, at time.Time) ([]byte, error) {
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for _, f := range files {
		header := &zip.FileHeader{Name: folder + "/" + f.name, Method: zip.Deflate, Modified: at}
		header.SetMode(f.mode())
		entry, err := w.CreateHeader(header)
		if err != nil {
			return nil, err
		}
		if _, err := entry.Write(f.content); err != nil {
			return nil, err
		}
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}
