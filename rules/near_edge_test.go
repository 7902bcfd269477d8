package rules

import (
	"slices"
	"strings"
	"testing"
	"time"

	"prestrike/audit/audittest"
	"prestrike/audit/pictures"
	"prestrike/audit/pictures/picturestest"
)

// What is a note in a sequence alone is a check where its siblings covered that end; with
// two siblings it stays a note.
func TestNearEdgeAmongSiblings(t *testing.T) {
	clean := picturestest.Covering()
	n := len(clean)
	for siblings, want := range map[int]string{2: "note near-edge: ", 3: "check near-edge: "} {
		camera := picturestest.Camera{Every: 1300 * time.Millisecond, NumbersRunOn: true, Skip: func(i int) int {
			if i > 0 && i <= siblings*n && i%n == 0 {
				return 60
			}
			return 0
		}}
		folder := camera.Write(t, siblings*n+n-9, func(i int) []byte {
			if i < siblings*n {
				return picturestest.Scene().JPEG(clean[i%n])
			}
			return picturestest.Scene().JPEG(clean[9+i-siblings*n])
		})
		got := audittest.Told(lookAt(t, &pictures.Measurer{}, folder))
		if !slices.ContainsFunc(got, func(s string) bool { return strings.HasPrefix(s, want) }) {
			t.Errorf("%d siblings: found %q, want %q", siblings, got, want)
		}
	}
}
