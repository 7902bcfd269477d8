package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"prestrike/audit/report"
)

// Everything for people keeps to the width of the screen, in a pipe to that of COLUMNS, on
// each command and with names as long and as wide as they come.
func TestResultsKeepToTheWidth(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "菊石の写真", "the-front-of-the-ammonite-in-raking-light-before-the-courier")
	if err := os.MkdirAll(folder, 0o777); err != nil {
		t.Fatal(err)
	}
	frame, err := os.ReadFile(filepath.Join(committed, "DCIM", "100BXCAM", "BX1_0001.JPG"))
	if err != nil {
		t.Fatal(err)
	}
	for name, content := range map[string][]byte{
		"prestrike.toml": []byte("[[lens]]\nmodel = \"菊石の化石のためのとても長い名前のレンズ Borealis 90 mm f/2.8 macro\"\nclosest-focus-mm = 310\n\n" +
			"[[accept]]\nrule = \"iso-drift\"\nframe = \"菊石の化石の正面と側面の写真の第一列.JPG\"\nreason = \"the light fades on purpose, " + strings.Repeat("and slowly ", 12) + "\"\n"),
		"菊石の化石の正面と側面の写真の第一列.JPG":                                                                frame,
		"a\u0301m\u0302mo\u0308ni\u0303te\u0301s-the-front-of-the-ammonite-in-raking-light.JPG": frame,
	} {
		if err := os.WriteFile(filepath.Join(folder, name), content, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	camera := []string{"--sensor-width", "36mm", "--pixels", "45MP"}
	for _, command := range [][]string{
		{"report", folder, "--pixels", "off"},
		{"report", folder, "--pixels", "off", "--why"},
		{"config", folder},
		{"rules"},
		{"rules", "--sources"},
		{"rules", "focus-gap", "--sources"},
		{"frames", filepath.Join("..", "..", "testdata", "frames", "exif.jpg")},
		{"frames", filepath.Join("..", "..", "testdata", "frames", "small.nef")},
		append([]string{"plan", "--depth", "10mm", "--magnification", "1:1"}, camera...),
		append([]string{"plan", "handheld", "--focal-length", "90mm", "--magnification", "1:5", "--stops", "4"}, camera...),
		{"plan", "interval", "--interval", "10s", "--clip", "10s", "--exposure", "1/4", "--card", "64GB", "--frame-size", "30MB"},
	} {
		for _, width := range []int{40, 50, 60, 72, 79, 80, 100, 200} {
			var out, remarks bytes.Buffer
			if status := run(t.Context(), command, &console{out: &out, err: &remarks, width: width}); status > statusReshoot || out.Len() == 0 {
				t.Fatalf("%q: status %d, %q, %s", command, status, out.String(), remarks.String())
			}
			for line := range strings.Lines(out.String()) {
				line = strings.TrimSuffix(line, "\n")
				if n := report.Columns(line); n > width {
					t.Errorf("%q at %d columns: a line of %d: %q", command, width, n, line)
				}
				if strings.TrimRight(line, " ") != line {
					t.Errorf("%q at %d columns: blanks end %q", command, width, line)
				}
			}
		}
	}
}

// A report that goes to a file leaves the last line on the terminal, in each form.
func TestFilesLeaveTheLastLine(t *testing.T) {
	folder, out := card(t), t.TempDir()
	for _, form := range []string{"table", "json", "csv", "markdown", "html"} {
		command := []string{"report", folder, "--pixels", "off", "--format", form, "-o", filepath.Join(out, form)}
		if form == "html" {
			command = append(command, "--pictures", "none")
		}
		var result, remarks bytes.Buffer
		run(t.Context(), command, &console{out: &result, err: &remarks})
		if !strings.HasPrefix(remarks.String(), "RESHOOT: shoot 1.") || strings.Contains(remarks.String(), "\n\n") || result.Len() > 0 {
			t.Errorf("%s: on standard output %q, and beside it %q", form, result.String(), remarks.String())
		}
	}
}
