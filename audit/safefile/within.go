package safefile

import (
	"path/filepath"
	"strings"
)

// Within reports whether a path lies in a folder or cannot be decided from it. The
// path need not exist.
func Within(path, folder string) bool {
	a, errA := filepath.Abs(path)
	b, errB := filepath.Abs(folder)
	if errA != nil || errB != nil {
		return true
	}
	if real, err := filepath.EvalSymlinks(b); err == nil {
		b = real
	}
	for parent := a; ; parent = filepath.Dir(parent) {
		if real, err := filepath.EvalSymlinks(parent); err == nil {
			a = filepath.Join(real, strings.TrimPrefix(a, parent))
			break
		}
		if parent == filepath.Dir(parent) {
			break
		}
	}
	rel, err := filepath.Rel(b, a)
	return err != nil && filepath.VolumeName(a) == filepath.VolumeName(b) ||
		err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator))
}
