package words

import (
	"strings"
	"testing"
)

func TestList(t *testing.T) {
	for _, tt := range []struct {
		words []string
		want  string
	}{
		{nil, ""},
		{[]string{"a"}, "a"},
		{[]string{"a", "b"}, "a and b"},
		{[]string{"a", "b", "c"}, "a, b and c"},
		{[]string{"a", "b", "c", "d"}, "a, b, c and d"}, // never "1 more"
		{[]string{"a", "b", "c", "d", "e"}, "a, b, c and 2 more"},
	} {
		if got := List(tt.words, 3); got != tt.want {
			t.Errorf("%q: %q, want %q", tt.words, got, tt.want)
		}
	}
}

func TestCount(t *testing.T) {
	for n, want := range []string{"0 frames", "1 frame", "2 frames"} {
		if got := Count(n, "frame", "frames"); got != want {
			t.Errorf("%d: %q, want %q", n, got, want)
		}
	}
}

// A list of names can be read: where one holds a comma, each is in quotes.
func TestNames(t *testing.T) {
	for want, names := range map[string][]string{
		"": nil, "back, keel": {"back", "keel"}, `"front, raking light", "Öffnung"`: {"front, raking light", "Öffnung"},
	} {
		if got := strings.Join(Names(names), ", "); got != want {
			t.Errorf("%q: %s, want %s", names, got, want)
		}
	}
}
