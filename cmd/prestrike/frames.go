package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"regexp"
	"strings"

	"prestrike/audit/report"
	"prestrike/exifread"

	"github.com/spf13/cobra"
)

const framesLong = `Frames prints what the camera recorded with each file, and what could not be
read. Nothing is judged.

Exit status: 0 when at least one file could be read, 3 when none.`

const framesExamples = `  prestrike frames DCIM/100BXCAM/BX1_0001.JPG
  prestrike frames *.NEF --format json`

func newFrames(c *console) *cobra.Command {
	var f output
	cmd := &cobra.Command{
		Use:     "frames FILE...",
		Short:   "Show what was read from each file, and what was not",
		Long:    framesLong,
		Example: framesExamples,
		Args:    atLeastOne("file"),
		RunE: func(cmd *cobra.Command, files []string) error {
			return runFrames(cmd, c, &f, files)
		},
	}
	f.addTo(cmd, tableOrJSON...)
	cmd.Flags().Lookup("quiet").Usage = "no progress and no remarks, and no list of what a file does not record"
	cmd.Flags().SortFlags = false
	return cmd
}

// A frameFile is one file as it was read.
type frameFile struct {
	path string
	meta *exifread.Metadata
	err  error // why no picture can be read from it
}

func runFrames(cmd *cobra.Command, c *console, f *output, names []string) error {
	var folders []string
	for _, name := range names {
		folders = append(folders, filepath.Dir(name))
	}
	target, err := openTarget(c, f, folders)
	if err != nil {
		return err
	}
	if err := target.protect(names); err != nil {
		return err
	}
	line := c.newProgress(f.quiet, "reading", "reading")
	var files []frameFile
	good := 0
	for i, name := range names {
		if err := cmd.Context().Err(); err != nil {
			line.end()
			return err
		}
		meta, err := exifread.ReadFile(cmd.Context(), name)
		if err == nil {
			good++
		}
		files = append(files, frameFile{name, meta, err})
		line.tell(i+1, len(names))
	}
	line.end()

	var text bytes.Buffer
	if f.format == "json" {
		err = framesJSON(&text, files)
	} else {
		err = framesTable(&text, files, c.textWidth(f.file != ""), f.quiet)
	}
	if err != nil {
		return err
	}
	if err := target.write(text.Bytes()); err != nil {
		return err
	}
	if good == 0 {
		return errors.New("none of the files could be read")
	}
	return nil
}

// framesTable writes a block per file: what is recorded, what is not, and what
// is wrong with it.
func framesTable(b *bytes.Buffer, files []frameFile, width int, quiet bool) error {
	for i, f := range files {
		if i > 0 {
			b.WriteByte('\n')
		}
		kind := f.meta.Format.String()
		if f.meta.Format == exifread.FormatUnknown {
			kind = "unknown format"
		}
		report.Paragraph(b, "", 2, fmt.Sprintf("%s: %s, %d bytes", f.path, kind, f.meta.Size), width)
		if f.err != nil {
			report.Paragraph(b, "  ", 4, "cannot be read: "+plainError(f.err), width)
		}
		var rows [][]string
		var missing []string
		add := func(label, text string) { rows = append(rows, []string{"  " + label, report.Visible(text)}) }
		for _, v := range valuesOf(f.meta) {
			if v.known {
				add(v.label, v.text)
			} else {
				missing = append(missing, v.label)
			}
		}
		for _, p := range f.meta.Previews {
			size := "size not recorded"
			if p.Width > 0 && p.Height > 0 {
				size = fmt.Sprintf("%d x %d pixels", p.Width, p.Height)
			}
			add("preview", fmt.Sprintf("%s, %d bytes at byte %d", size, p.Length, p.Offset))
		}
		add("image data", integrity(f.meta.Integrity))
		if f.err == nil || len(rows) > 1 {
			// What files hold may be of any length. JSON has the whole of it.
			if err := report.Grid(b, []report.Column{{Head: "  field"}, {Head: "recorded", Cut: true}}, rows, width, nil); err != nil {
				return err
			}
		}
		if f.err == nil && len(missing) > 0 && !quiet {
			report.Paragraph(b, "  ", 4, "not recorded: "+strings.Join(missing, ", "), width)
		}
		for _, p := range f.meta.Problems {
			report.Paragraph(b, "  ", 4, "not read: "+problemText(p), width)
		}
	}
	return nil
}

// framesBegin is how framesTable begins: the first file, wrapped where its name is
// long, and the first line below it.
var framesBegin = regexp.MustCompile(`^[^\n]+(\n  [^\n]+)*:\s+[^\n:]+,\s+\d+\s+bytes\n  (field +recorded|cannot be read: |image data |not recorded: )`)

// plainError reports what is wrong without the path, which stands above.
func plainError(err error) string {
	if f, ok := errors.AsType[*exifread.FormatError](err); ok {
		return f.Error()
	}
	if u, ok := errors.AsType[*exifread.UnsupportedError](err); ok {
		return u.Error()
	}
	if p, ok := errors.AsType[*fs.PathError](err); ok {
		return p.Err.Error()
	}
	if errors.Is(err, exifread.ErrNotPicture) {
		return exifread.ErrNotPicture.Error()
	}
	return err.Error()
}

func integrity(i exifread.Integrity) string {
	switch i.State {
	case exifread.IntegrityWhole:
		return "whole"
	case exifread.IntegrityTorn:
		return "torn: " + i.Reason
	default:
		if i.Reason != "" {
			return "not checked: " + i.Reason
		}
		return "not checked"
	}
}

func problemText(p exifread.Problem) string {
	s := p.Where
	if p.Tag != 0 {
		s += fmt.Sprintf(", tag %04X", p.Tag)
		if name := exifread.TagName(p.Tag); name != "" {
			s += " " + name
		}
	}
	return fmt.Sprintf("%s, at byte %d: %s", s, p.Offset, p.What)
}

// The JSON form of prestrike frames. Keys are always present, null means
// what is not recorded, and lists are never null.
type (
	jsonFrames struct {
		Format  string      `json:"format"`
		Version int         `json:"version"`
		Files   []jsonFrame `json:"files"`
	}
	jsonFrame struct {
		Path      string        `json:"path"`
		Format    *string       `json:"format"`
		Size      int64         `json:"size"`
		Error     *string       `json:"error"`
		HasExif   bool          `json:"has_exif"`
		Values    jsonValues    `json:"values"`
		Previews  []jsonPreview `json:"previews"`
		Integrity jsonIntegrity `json:"integrity"`
		Problems  []jsonProblem `json:"problems"`
	}
	jsonPreview struct {
		Offset int64 `json:"offset"`
		Length int64 `json:"length"`
		Width  *int  `json:"width"`
		Height *int  `json:"height"`
	}
	jsonIntegrity struct {
		State  string  `json:"state"`
		Reason *string `json:"reason"`
	}
	jsonProblem struct {
		Where  string  `json:"where"`
		Tag    *uint16 `json:"tag"`
		Offset int64   `json:"offset"`
		What   string  `json:"what"`
	}
)

// jsonValues is an object whose keys keep their order.
type jsonValues []value

// MarshalJSON writes the values as an object.
func (values jsonValues) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	for i, v := range values {
		b.WriteByte("{,"[min(i, 1)])
		fmt.Fprintf(&b, "%q:", v.key)
		content := []byte("null")
		if v.known {
			var err error
			if content, err = json.Marshal(v.json); err != nil {
				return nil, err
			}
		}
		b.Write(content)
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}

func framesJSON(b *bytes.Buffer, files []frameFile) error {
	out := jsonFrames{Format: "prestrike-frames", Version: 1, Files: make([]jsonFrame, 0, len(files))}
	states := map[exifread.IntegrityState]string{
		exifread.IntegrityUnchecked: "unchecked", exifread.IntegrityWhole: "whole", exifread.IntegrityTorn: "torn",
	}
	for _, f := range files {
		m := f.meta
		frame := jsonFrame{
			Path: report.JSONText(filepath.ToSlash(f.path)), Size: m.Size, HasExif: m.HasExif,
			Values:    valuesOf(m),
			Previews:  make([]jsonPreview, 0, len(m.Previews)),
			Integrity: jsonIntegrity{State: states[m.Integrity.State]},
			Problems:  make([]jsonProblem, 0, len(m.Problems)),
		}
		if m.Format != exifread.FormatUnknown {
			frame.Format = new(m.Format.String())
		}
		if f.err != nil {
			frame.Error = new(report.JSONText(plainError(f.err)))
		}
		if m.Integrity.Reason != "" {
			frame.Integrity.Reason = new(report.JSONText(m.Integrity.Reason))
		}
		for _, p := range m.Previews {
			preview := jsonPreview{Offset: p.Offset, Length: p.Length}
			if p.Width > 0 && p.Height > 0 {
				preview.Width, preview.Height = &p.Width, &p.Height
			}
			frame.Previews = append(frame.Previews, preview)
		}
		for _, p := range m.Problems {
			problem := jsonProblem{Where: report.JSONText(p.Where), Offset: p.Offset, What: report.JSONText(p.What)}
			if p.Tag != 0 {
				problem.Tag = &p.Tag
			}
			frame.Problems = append(frame.Problems, problem)
		}
		out.Files = append(out.Files, frame)
	}
	return report.EncodeJSON(b, out)
}
