package config

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"prestrike/audit/safefile"
)

// Name is the name of configuration files.
const Name = "prestrike.toml"

// Find returns the configuration file that holds for a folder: the
// nearest of that name in the folder or the folders above it; empty where
// there is none. It is named from where the folder is named: with a whole path only
// where the folder is. What has the name and is no file is returned as well: reading
// it reports that, where passing it over would audit to other settings without a warning.
func Find(folder string) (string, error) {
	dir, err := filepath.Abs(folder)
	if err != nil {
		return "", err
	}
	for {
		name := filepath.Join(dir, Name)
		if _, err := os.Lstat(name); err == nil {
			return asGiven(folder, name), nil
		}
		parent := filepath.Dir(dir)
		if parent == dir {
			return "", nil
		}
		dir = parent
	}
}

// asGiven names a file in the folder, or above it, as the folder was named.
func asGiven(folder, file string) string {
	if filepath.IsAbs(folder) {
		return file
	}
	if inside := filepath.Join(folder, Name); SameName(inside, file) {
		return inside
	}
	if here, err := filepath.Abs("."); err == nil {
		if rel, err := filepath.Rel(here, file); err == nil {
			return rel
		}
	}
	return file
}

// SameName reports whether two names lead to one place, wherever they start from.
// Links are not followed.
func SameName(a, b string) bool {
	if a == "" || b == "" {
		return a == b
	}
	absA, errA := filepath.Abs(a)
	absB, errB := filepath.Abs(b)
	return errA == nil && errB == nil && absA == absB
}

// User returns the user's own configuration file, which holds where that
// of the folder sets nothing; empty where there is none.
func User() string {
	dir, err := os.UserConfigDir()
	if err != nil {
		return ""
	}
	name := filepath.Join(dir, "prestrike", Name)
	if _, err := os.Lstat(name); err != nil {
		return ""
	}
	return name
}

const (
	// maxBytes is far above what anyone writes: the starting file, with every
	// number of every rule, has some 10 KB.
	maxBytes = 1 << 20
	// maxKeys bounds the keys of a file, by the characters that part them, as
	// the time that the TOML decoder takes grows with their square. The starting
	// file has some 300.
	maxKeys = 5_000
)

const notOurs = ": it is no configuration of prestrike; move it away, or name another with --config"

// readFile returns the content of a configuration file. Errors are an *[Error].
func readFile(file string) ([]byte, error) {
	f, err := safefile.Open(file)
	var data []byte
	if err == nil {
		defer f.Close() // nothing was written that could get lost
		data, err = safefile.ReadAll(f, maxBytes)
	}
	if err == nil {
		return data, nil
	}
	text := err.Error()
	if p, ok := errors.AsType[*fs.PathError](err); ok {
		text = p.Err.Error()
	}
	switch _, large := errors.AsType[*safefile.TooLargeError](err); {
	case large:
		text += notOurs
	case errors.Is(err, safefile.ErrNotRegular):
		text += ": write the configuration to a file, or name another with --config"
	case errors.Is(err, fs.ErrNotExist):
		text += ": check the name, and where it leads to if it is a link"
	case errors.Is(err, fs.ErrPermission):
		text += ": make it readable, or name another with --config"
	}
	return nil, &Error{file, 0, text}
}

// tooManyKeys reports whether a file may have more keys than maxKeys.
func tooManyKeys(data []byte) bool {
	n := 0
	for _, c := range []string{"=", "[", "."} {
		n += bytes.Count(data, []byte(c))
	}
	return n > maxKeys
}
