package main

import (
	"os/exec"
	"path"
	"slices"
	"strings"
	"testing"
)

// layers are the imports allowed between the packages of the program. A
// package below exifread/internal or cmd/prestrike/internal belongs to the one
// above it.
var layers = map[string][]string{
	"cmd/prestrike":               {"audit/slate", "audit/words", "audit/values", "audit/publish", "audit/tablet", "audit/report", "audit/board", "audit", "audit/shoot", "audit/config", "audit/pictures", "audit/pixels", "audit/pixels/proof", "audit/copies", "audit/safefile", "rules", "rules/optics", "watch", "exifread"},
	"audit/board":                 {"audit", "audit/shoot"},
	"audit/publish":               {"audit/words", "audit/board"},
	"audit/tablet":                {"audit/report", "audit/board", "audit"},
	"audit/report":                {"audit/words", "audit/board", "audit", "audit/shoot", "audit/pixels", "exifread"},
	"audit":                       {"audit/words", "audit/shoot", "rules/optics", "exifread"},
	"audit/shoot":                 {"audit/words", "exifread", "audit/safefile"},
	"audit/safefile":              {},
	"audit/config":                {"audit", "audit/shoot", "audit/safefile", "audit/values"},
	"audit/pictures":              {"audit/slate", "audit/words", "audit/shoot", "audit/pixels", "audit/pixels/proof", "audit/safefile", "exifread"},
	"audit/copies":                {"audit/shoot", "audit/safefile", "exifread"},
	"audit/slate":                 {},
	"audit/words":                 {},
	"audit/values":                {"rules/optics"},
	"audit/pixels":                {},
	"audit/pixels/proof":          {"audit/pixels"},
	"rules":                       {"audit/words", "rules/evidence", "rules/optics", "audit", "audit/shoot", "audit/pixels", "exifread"},
	"rules/evidence":              {"audit/words", "rules/optics", "audit", "audit/shoot", "audit/pixels", "exifread"},
	"rules/optics":                {},
	"exifread":                    {"audit/safefile"},
	"cmd/release":                 {},
	"watch":                       {},
	"exifread/exifwrite":          {"exifread"},                                                  // the demonstration and tests
	"audit/audittest":             {"audit", "audit/shoot", "exifread"},                          // tests only
	"audit/pictures/picturestest": {"audit/pixels/pixelstest", "exifread", "exifread/exifwrite"}, // tests only
	"audit/publish/publishtest":   {},                                                            // tests only
	"audit/pixels/pixelstest":     {"audit/pixels"},                                              // tests only
}

// owner returns the layer that a package belongs to.
func owner(pkg string) string {
	pkg, _, _ = strings.Cut(pkg, "/internal/")
	return pkg
}

func TestImportsFollowTheLayers(t *testing.T) {
	out, err := exec.Command("go", "list", "-f", `{{.ImportPath}} {{join .Imports " "}}`, "prestrike/...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	const module = "prestrike/"
	seen := 0
	for line := range strings.Lines(string(out)) {
		words := strings.Fields(line)
		from := owner(strings.TrimPrefix(words[0], module))
		allowed, known := layers[from]
		if !known {
			t.Errorf("package %s is in no layer", words[0])
			continue
		}
		seen++
		for _, imported := range words[1:] {
			to, ours := strings.CutPrefix(imported, module)
			if !ours || owner(to) == from {
				continue
			}
			// The demonstration writes Exif blocks.
			if from == "cmd/prestrike" && to == "exifread/exifwrite" {
				continue
			}
			if !slices.Contains(allowed, owner(to)) {
				t.Errorf("%s imports %s: only %v may be imported there", words[0], imported, allowed)
			}
		}
	}
	if seen < len(layers)/2 {
		t.Errorf("only %d packages were seen", seen)
	}
}

// The top level of the repository is fixed.
func TestTopLevel(t *testing.T) {
	out, err := exec.Command("git", "-C", path.Join("..", ".."), "ls-files").Output()
	if err != nil {
		t.Skipf("no git here: %v", err)
	}
	allowed := []string{"cmd", "audit", "exifread", "rules", "watch", "testdata", "go.mod", "go.sum", "README.md", "DEVELOPERS.md", "LICENSE"}
	for name := range strings.Lines(string(out)) {
		top, _, _ := strings.Cut(strings.TrimSpace(name), "/")
		if !strings.HasPrefix(top, ".") && !slices.Contains(allowed, top) {
			t.Errorf("%s is at the top level", top)
		}
	}
}
