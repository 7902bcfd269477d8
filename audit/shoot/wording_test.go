package shoot

import (
	"math"
	"slices"
	"testing"
	"time"

	"prestrike/exifread"
)

func TestFormatExposureTime(t *testing.T) {
	for _, tt := range []struct {
		num, den int64
		want     string
	}{
		{1, 125, "1/125 s"},
		{10, 1250, "1/125 s"},
		{1, 128, "1/125 s"},
		{15625, 1000000, "1/60 s"}, // 1/64
		{1, 60, "1/60 s"},
		{1, 3, "0.3 s"},
		{3, 10, "0.3 s"},
		{10, 13, "0.8 s"},
		{8, 10, "0.8 s"},
		{1, 2, "0.5 s"},
		{1, 1, "1 s"},
		{13, 10, "1.3 s"},
		{3, 1, "3 s"},
		{32, 1, "30 s"}, // what 30 on the dial means
		{90, 1, "90 s"},
		{1, 4, "1/4 s"},
		{1, 8000, "1/8000 s"},
		{1, 90, "1/90 s"},     // half-stop scale
		{1, 33, "1/33 s"},     // a phone's
		{10, 483, "1/48.3 s"}, // a phone's
		{1, 43, "1/43 s"},
		{1, 123456, "1/123456 s"},
		{0, 1, "0/1 s"},
		{1, 0, "1/0 s"},
	} {
		if got := FormatExposureTime(exifread.Rational{Num: tt.num, Den: tt.den}); got != tt.want {
			t.Errorf("FormatExposureTime(%d/%d) = %q, want %q", tt.num, tt.den, got, tt.want)
		}
	}
}

func TestFormatFNumber(t *testing.T) {
	for _, tt := range []struct {
		num, den int64
		want     string
	}{
		{56, 10, "f/5.6"},
		{5656854, 1000000, "f/5.6"}, // 4 √2
		{8, 1, "f/8"},
		{11, 1, "f/11"},
		{11313708, 1000000, "f/11"}, // 8 √2
		{22, 10, "f/2.2"},
		{12, 10, "f/1.2"},
		{95, 100, "f/0.95"},
		{49, 10, "f/4.9"},
		{18, 10, "f/1.8"},
		{48, 10, "f/4.8"},
		{0, 1, "f/0/1"},
	} {
		if got := FormatFNumber(exifread.Rational{Num: tt.num, Den: tt.den}); got != tt.want {
			t.Errorf("FormatFNumber(%d/%d) = %q, want %q", tt.num, tt.den, got, tt.want)
		}
	}
}

// Values that drift rules distinguish must not be shown alike: "1/30 s, the
// rest at 1/30 s" would be nonsense.
func TestValuesApartAreShownApart(t *testing.T) {
	const limit = 1.0 / 6
	for _, scale := range []struct {
		name   string
		format func(ev float64) string
	}{
		{"exposure time", func(ev float64) string {
			return FormatExposureTime(exifread.Rational{Num: int64(math.Exp2(ev) * 1e9), Den: 1e9})
		}},
		{"f-number", func(ev float64) string {
			return FormatFNumber(exifread.Rational{Num: int64(math.Exp2(ev/2) * 1e9), Den: 1e9})
		}},
	} {
		for ev := -10.0; ev < 10; ev += 0.005 {
			if scale.name == "f-number" && ev < 0 {
				continue
			}
			if a, b := scale.format(ev), scale.format(ev+limit); a == b {
				t.Errorf("%s: values %.3f EV and %.3f EV are both shown as %s", scale.name, ev, ev+limit, a)
			}
		}
	}
}

func TestFormatFocalLengthAndISO(t *testing.T) {
	for _, tt := range []struct{ got, want string }{
		{FormatFocalLength(exifread.Rational{Num: 90, Den: 1}), "90 mm"},
		{FormatFocalLength(exifread.Rational{Num: 900, Den: 10}), "90 mm"},
		{FormatFocalLength(exifread.Rational{Num: 425, Den: 100}), "4.2 mm"},
		{FormatFocalLength(exifread.Rational{Num: 1, Den: 0}), "1/0 mm"},
		{FormatISO(100), "ISO 100"},
	} {
		if tt.got != tt.want {
			t.Errorf("got %q, want %q", tt.got, tt.want)
		}
	}
}

func TestFormatDuration(t *testing.T) {
	for _, tt := range []struct {
		d    time.Duration
		want string
	}{
		{120 * time.Millisecond, "0.12 s"},
		{999 * time.Millisecond, "1 s"},
		{1310 * time.Millisecond, "1.3 s"},
		{9990 * time.Millisecond, "10 s"},
		{12 * time.Second, "12 s"},
		{125 * time.Second, "2 min 5 s"},
		{180 * time.Second, "3 min"},
		{190 * time.Minute, "3 h 10 min"},
		{-90 * time.Second, "-90 s"},
	} {
		if got := FormatDuration(tt.d); got != tt.want {
			t.Errorf("FormatDuration(%v) = %q, want %q", tt.d, got, tt.want)
		}
	}
}

func TestFrameRanges(t *testing.T) {
	var frames []*Frame
	for n := 118; n < 140; n++ {
		frames = append(frames, &Frame{Number: Number{Known: true, N: n, Digits: 4}, Files: []*File{{Path: "x.NEF"}}})
	}
	pick := func(at ...int) []*Frame {
		var some []*Frame
		for _, i := range at {
			some = append(some, frames[i])
		}
		return some
	}
	for _, tt := range []struct {
		frames []*Frame
		want   string
	}{
		{pick(0), "frame 0118"},
		{pick(0, 1, 2), "frames 0118 to 0120"},
		{pick(0, 2), "frames 0118 and 0120"},
		{pick(0, 1), "frames 0118 and 0119"},
		{pick(0, 1, 4), "frames 0118, 0119 and 0122"},
		{pick(0, 1, 4, 6, 7), "frames 0118, 0119, 0122 and 2 more"},
		{pick(0, 2, 4, 6, 8, 9), "frames 0118, 0120, 0122, 0124 and 2 more"},
	} {
		if got := FrameRanges(frames, tt.frames); got != tt.want {
			t.Errorf("got %q, want %q", got, tt.want)
		}
	}
	var odd []*Frame
	for _, name := range []string{"fossil a view.JPG", "fossil b view.JPG", "keel.JPG", "top, left.JPG", "label.JPG", "sign.JPG"} {
		odd = append(odd, &Frame{Files: []*File{{Path: "a/" + name}}})
	}
	mixed := append(slices.Clone(odd), frames[:3]...)
	for _, tt := range []struct {
		frames []*Frame
		want   string
	}{
		{odd[:2], `frames "fossil a view.JPG" and "fossil b view.JPG"`},
		{odd[1:4], `frames "fossil b view.JPG", keel.JPG and "top, left.JPG"`},
		{odd, `frames "fossil a view.JPG", "fossil b view.JPG", keel.JPG, "top, left.JPG" and 2 more`},
		{mixed[5:], "frames sign.JPG and 0118 to 0120"},
	} {
		if got := FrameRanges(mixed, tt.frames); got != tt.want {
			t.Errorf("got %q, want %q", got, tt.want)
		}
	}
	if got, want := FrameRange(odd[:4]), `frames "fossil a view.JPG" to "top, left.JPG"`; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	nameless := &Frame{Files: []*File{{Path: "a/cover.jpg"}}}
	if got, want := FrameRange([]*Frame{nameless}), "frame cover.jpg"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}
