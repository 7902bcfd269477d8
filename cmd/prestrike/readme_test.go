package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The example in the README is what the program prints.
func TestReadmeExample(t *testing.T) {
	t.Chdir(filepath.Join("..", ".."))
	readme, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	const mark = "<!-- example: prestrike report testdata/ammonite -->\n```\n"
	_, rest, found := strings.Cut(string(readme), mark)
	want, _, closed := strings.Cut(rest, "```\n")
	if !found || !closed {
		t.Fatalf("README.md has no example behind %q", mark)
	}
	var out, remarks bytes.Buffer
	status := run(t.Context(), []string{"report", "testdata/ammonite"}, &console{out: &out, err: &remarks})
	if out.String() != want {
		t.Errorf("the example in README.md is\n%s\nand the program prints\n%s", want, out.String())
	}
	if status != statusCheck || remarks.Len() > 0 {
		t.Errorf("status %d, remarks %q; want %d and none", status, remarks.String(), statusCheck)
	}
}
