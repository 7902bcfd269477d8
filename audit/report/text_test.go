package report

import (
	"slices"
	"testing"
)

func TestWrap(t *testing.T) {
	for _, tt := range []struct {
		text  string
		width int
		want  []string
	}{
		{"look at 100 % before", 11, []string{"look at", "100 %", "before"}},
		{"look at 100 % before", 13, []string{"look at 100 %", "before"}},
		{"a  b\nc", 3, []string{"a b", "c"}},
		{"abcdef gh", 4, []string{"abcd", "ef", "gh"}},
		{"", 10, nil},
	} {
		if got := wrap(tt.text, tt.width); !slices.Equal(got, tt.want) {
			t.Errorf("wrap(%q, %d) = %q, want %q", tt.text, tt.width, got, tt.want)
		}
	}
}
