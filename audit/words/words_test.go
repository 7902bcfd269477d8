package words

import "testing"

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
