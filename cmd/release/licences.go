package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
)

// licenceName matches the files in which modules keep their terms, by the
// customary names.
var licenceName = regexp.MustCompile(`(?i)^(licen[cs]e|copying|notice|patents)([.-].*)?$`)

// licences returns the terms of all that is built into the program for a target:
// its own first, then those of the Go library and of each module. A module
// without terms is an error: it must not be handed on.
func (r *release) licences(ctx context.Context, t target) ([]byte, error) {
	list, err := output(ctx, r.root, t.environment(), "go", "list", "-deps",
		"-f", `{{with .Module}}{{if not .Main}}{{.Path}} {{.Version}}|{{.Dir}}{{end}}{{end}}`, "./cmd/prestrike")
	if err != nil {
		return nil, err
	}
	modules := strings.Fields(strings.ReplaceAll(list, " ", "@"))
	slices.Sort(modules)
	goroot, err := output(ctx, r.root, nil, "go", "env", "GOROOT")
	if err != nil {
		return nil, err
	}
	version, err := output(ctx, r.root, nil, "go", "env", "GOVERSION")
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	b.WriteString("The program is built from its own sources and from the parts below. Their terms follow.\n")
	parts := append([]string{"prestrike|" + r.root, "the Go library, " + version + "|" + goroot}, slices.Compact(modules)...)
	for _, part := range parts {
		name, folder, _ := strings.Cut(part, "|")
		if err := addTerms(&b, strings.Replace(name, "@", " ", 1), folder); err != nil {
			return nil, err
		}
	}
	return b.Bytes(), nil
}

// addTerms writes the files with terms that lie in the folder of a module.
func addTerms(b *bytes.Buffer, name, folder string) error {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return err
	}
	found := false
	for _, e := range entries {
		if !e.Type().IsRegular() || !licenceName.MatchString(e.Name()) {
			continue
		}
		terms, err := os.ReadFile(filepath.Join(folder, e.Name()))
		if err != nil {
			return err
		}
		found = true
		title := name + ": " + e.Name()
		fmt.Fprintf(b, "\n%s\n%s\n\n%s\n", title, strings.Repeat("=", len(title)), bytes.TrimSpace(terms))
	}
	if !found {
		return fmt.Errorf("the module %s has no file with its terms: it cannot be handed on", name)
	}
	return nil
}
