package exifread

import (
	"cmp"
	"slices"
	"strings"
	"testing"
)

// A tag is found by its number: the list is in order, and each is there once.
func TestTagsAreInOrder(t *testing.T) {
	if !slices.IsSortedFunc(tags, func(a, b tag) int { return cmp.Compare(a.number, b.number) }) {
		t.Error("tags are not in order")
	}
	for i := range tags {
		tg := &tags[i]
		if find(tg.number) != tg || TagName(tg.number) != tg.name || tg.name == "" {
			t.Errorf("tag %04X: found %+v", tg.number, find(tg.number))
		}
	}
	for _, n := range []uint16{0, 0x927C, 0xFFFF} { // 927C: the maker note is not read
		if wanted(n) || TagName(n) != "" {
			t.Errorf("tag %04X is read", n)
		}
	}
	if TagName(0x9003) != "DateTimeOriginal" {
		t.Errorf("tag 9003 is called %q", TagName(0x9003))
	}
}

func TestExtensions(t *testing.T) {
	for name, want := range map[string][2]bool{ // picture, raw
		"BX1_0001.JPG": {true, false}, "bx1_0001.jpeg": {true, false}, "a.b.HIF": {true, false}, "x.jxl": {true, false},
		"BX1_0001.NEF": {true, true}, "x.dcr": {true, true}, "x.gpr": {true, true}, "x.ori": {true, true}, "x.X3F": {true, true},
		"x.xmp": {false, false}, "x.mov": {false, false}, "nef": {false, false}, ".nef.part": {false, false}, "": {false, false},
	} {
		if got := [2]bool{PictureExtension(name), RawExtension(name)}; got != want {
			t.Errorf("%q: picture, raw %v, want %v", name, got, want)
		}
	}
	for e := range extensions {
		if e != strings.ToLower(e) || e[0] != '.' {
			t.Errorf("%q is never met", e)
		}
	}
}
