package shoot

import (
	"errors"
	"testing"

	"prestrike/exifread"
)

// A file that cannot be read is raw by its name, whatever raw ending that has: all
// that the reader takes for a picture, old and rare ones too.
func TestUnreadableFileIsRawByItsName(t *testing.T) {
	damaged := errors.New("damaged")
	for _, tt := range []struct {
		name string
		want bool
	}{
		{"DCIM/BX1_0001.NEF", true},
		{"DCIM/BX1_0001.gpr", true},
		{"DCIM/BX1_0001.DCR", true},
		{"DCIM/BX1_0001.ORI", true},
		{"DCIM/BX1_0001.JPG", false},
		{"DCIM/BX1_0001.HIF", false},
		{"DCIM/BX1_0001", false},
	} {
		f := Frame{Files: []*File{{Path: tt.name, Meta: &exifread.Metadata{}, Err: damaged}}}
		if f.HasRaw() != tt.want {
			t.Errorf("%s is raw: %v, want %v", tt.name, f.HasRaw(), tt.want)
		}
	}
}
