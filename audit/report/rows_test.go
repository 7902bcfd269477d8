package report

import (
	"testing"
	"unicode/utf8"

	"prestrike/audit/shoot"
)

// The span of a sequence keeps what distinguishes its first frame from its last.
func TestFrameSpan(t *testing.T) {
	numbered := func(n int) *shoot.Frame {
		return &shoot.Frame{Number: shoot.Number{Known: true, N: n, Digits: 4}}
	}
	called := func(name string) *shoot.Frame {
		return &shoot.Frame{Files: []*shoot.File{{Path: "DCIM/" + name}}}
	}
	for _, c := range []struct {
		first, last *shoot.Frame
		want        string
	}{
		{numbered(1), numbered(50), "0001-0050"},
		{numbered(13), called("IMG-20260304-WA0007.JPG"), "0013-…0304-WA0007"},
		{called("a.JPG"), called("b.JPG"), "a-b"},
		{called("fossil b view.JPG"), called("fossil k view.JPG"), "…b view-…k view"},
		{called("IMG-20260304-WA0007.JPG"), called("IMG-20260304-WA0012.JPG"), "…WA0007-…WA0012"},
		{called("scan_anterior view.JPG"), called("scan_apical view.JPG"), "…anteri…-…apical…"},
		{called("ammonite20260304.JPG"), called("ammonite20260305.JPG"), "…0260304-…0260305"},
		{called(".hidden"), called("x.JPG"), ".hidden-x"},
		{called("fossil a view.JPG"), nil, "fossil a view"},
		{called("the front of the ammonite.JPG"), nil, "… of the ammonite"},
		{called("\xff\xfe\xfa.JPG"), called("\xff\xfe\xfb.JPG"), "\xff\xfe\xfa-\xff\xfe\xfb"},
	} {
		if c.last == nil {
			c.last = c.first
		}
		got := frameSpan(c.first, c.last)
		if got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
		if n := utf8.RuneCountInString(got); n > spanWidth {
			t.Errorf("%q takes %d characters", got, n)
		}
	}
}
