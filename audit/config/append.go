package config

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/pelletier/go-toml/v2"

	"prestrike/audit"
	"prestrike/audit/safefile"
	"prestrike/audit/values"
)

// Accept adds the declaration that findings of a rule are meant to a configuration
// file, which is made where it is not there. What stands in the file stays as it
// is, with comments and order. The frame is one of the sequence that the findings
// belong to, by its name or path, and rules are those that a file may name.
//
// Nothing is written where the file has mistakes, or where it would have some then:
// these errors are of *[Error], others those of the system.
func Accept(file string, rules []*audit.Rule, a audit.Acceptance) error {
	return appendEntry(file, rules, struct {
		Accept []acceptEntry `toml:"accept"`
	}{[]acceptEntry{{a.Rule, a.Frame, a.Reason}}})
}

// AddView adds a view to the shot list of a configuration file, under the same terms
// as [Accept].
func AddView(file string, rules []*audit.Rule, v audit.View) error {
	e := viewEntry{
		Name: v.Name, Frames: v.Frames, FewestFrames: v.FewestFrames, FNumber: v.FNumber, ISO: v.ISO, ExposureTime: v.ExposureTime,
		Magnification: v.Magnification, Body: v.Body, Optional: v.Optional, Sequence: v.Sequence,
	}
	if v.Overlap > 0 {
		e.Overlap = values.Share.Write(v.Overlap)
	}
	if v.HasKind {
		e.Kind = v.Kind.String()
	}
	return appendEntry(file, rules, struct {
		View []viewEntry `toml:"view"`
	}{[]viewEntry{e}})
}

// AddFocusStep adds what a test run measured to a configuration file, under the same terms
// as [Accept]. What stands there of the same body and lens no longer holds.
func AddFocusStep(file string, rules []*audit.Rule, s audit.FocusStep) error {
	type entry struct {
		Body    string  `toml:"body"`
		Lens    string  `toml:"lens"`
		Setting int     `toml:"setting"`
		FNumber float64 `toml:"f-number"`
		Growth  float64 `toml:"growth-px"`
	}
	return appendEntry(file, rules, struct {
		FocusStep []entry `toml:"focus-step"`
	}{[]entry{{s.Body, s.Lens, s.Setting, s.FNumber, s.Growth}}})
}

// AddRetaken adds the declaration that a sequence was shot again to a configuration file,
// under the same terms as [Accept].
func AddRetaken(file string, rules []*audit.Rule, d audit.Retaken) error {
	return appendEntry(file, rules, struct {
		Retaken []retakenEntry `toml:"retaken"`
	}{[]retakenEntry{{d.Sequence, d.By}}})
}

// appendEntry writes an entry of a list behind what stands in the file.
func appendEntry(file string, rules []*audit.Rule, document any) error {
	text, err := readFile(file)
	if err != nil {
		if _, gone := os.Lstat(file); !errors.Is(gone, fs.ErrNotExist) {
			return err
		}
		text = nil
	}
	entry, err := toml.Marshal(document)
	if err != nil {
		return &Error{file, 0, fmt.Sprintf("cannot write the entry: %v", err)}
	}
	if len(text) > 0 {
		text = append(bytes.TrimRight(text, "\n"), "\n\n"...)
	}
	text = append(append(text, bytes.TrimRight(entry, "\n")...), '\n')
	if _, err := read(&audit.Options{Rules: rules}, file, text); err != nil {
		return err
	}
	// A link is followed: the file that it leads to is the configuration.
	if real, err := filepath.EvalSymlinks(file); err == nil {
		file = real
	}
	folder, err := os.OpenRoot(filepath.Dir(file))
	if err != nil {
		return err
	}
	defer folder.Close()
	var mode fs.FileMode
	if info, err := folder.Stat(filepath.Base(file)); err == nil {
		mode = info.Mode().Perm()
	}
	if err := safefile.Write(folder, filepath.Base(file), text, mode); err != nil {
		return err
	}
	return nil
}

type acceptEntry struct {
	Rule   string `toml:"rule"`
	Frame  string `toml:"frame,omitempty"`
	Reason string `toml:"reason"`
}

type retakenEntry struct {
	Sequence string `toml:"sequence"`
	By       string `toml:"by"`
}

type viewEntry struct {
	Name          string  `toml:"name"`
	Kind          string  `toml:"kind,omitempty"`
	Frames        int     `toml:"frames,omitempty"`
	FewestFrames  int     `toml:"fewest-frames,omitempty"`
	Overlap       string  `toml:"overlap,omitempty"`
	FNumber       float64 `toml:"f-number,omitempty"`
	ISO           float64 `toml:"iso,omitempty"`
	ExposureTime  float64 `toml:"exposure-time,omitempty"`
	Magnification float64 `toml:"magnification,omitempty"`
	Body          string  `toml:"body,omitempty"`
	Optional      bool    `toml:"optional,omitempty"`
	Sequence      string  `toml:"sequence,omitempty"`
}
