package watch

import (
	"errors"
	"path/filepath"
	"testing"
)

func TestFree(t *testing.T) {
	free, err := Free(t.TempDir())
	if errors.Is(err, errors.ErrUnsupported) {
		t.Skip("not known on this system")
	}
	if err != nil || free <= 0 {
		t.Errorf("%d bytes are free, error %v", free, err)
	}
	if _, err := Free(filepath.Join(t.TempDir(), "nowhere")); err == nil {
		t.Error("a folder that is not there has free space")
	}
}
