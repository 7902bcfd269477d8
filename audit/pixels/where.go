package pixels

// A Box is a part of the picture, in fractions of its width and height from the
// upper left corner of the stored picture.
type Box struct {
	X0, Y0, X1, Y1 float64
}

// Turned returns where the box lies in the picture as it is shown, for the
// value of the Orientation tag (CIPA DC-008, tag 0x0112: 1 to 8; other values
// are taken as 1).
func (b Box) Turned(orientation int) Box {
	switch orientation {
	case 2: // mirrored left to right
		return Box{1 - b.X1, b.Y0, 1 - b.X0, b.Y1}
	case 3: // turned by 180°
		return Box{1 - b.X1, 1 - b.Y1, 1 - b.X0, 1 - b.Y0}
	case 4: // mirrored top to bottom
		return Box{b.X0, 1 - b.Y1, b.X1, 1 - b.Y0}
	case 5: // the first row is shown as the left column
		return Box{b.Y0, b.X0, b.Y1, b.X1}
	case 6: // the first row is shown as the right column
		return Box{1 - b.Y1, b.X0, 1 - b.Y0, b.X1}
	case 7: // the first row is shown as the right column, mirrored
		return Box{1 - b.Y1, 1 - b.X1, 1 - b.Y0, 1 - b.X0}
	case 8: // the first row is shown as the left column, upward
		return Box{b.Y0, 1 - b.X1, b.Y1, 1 - b.X0}
	}
	return b
}

// Words describes where the box lies: "upper left third", "right half",
// "centre", "whole picture".
func (b Box) Words() string {
	h, hThird := band(b.X0, b.X1, "left", "right")
	v, vThird := band(b.Y0, b.Y1, "upper", "lower")
	switch {
	case h == all && v == all:
		return "whole picture"
	case h == middle && v == middle:
		return "centre"
	case h == middle && v == all:
		return "middle, from top to bottom"
	case h == all && v == middle:
		return "middle, from left to right"
	case h == all:
		return v + part(vThird)
	case v == all:
		return h + part(hThird)
	case h == middle:
		return v + " centre"
	case v == middle:
		return h + " centre"
	case hThird && vThird:
		return v + " " + h + " third"
	case !hThird && !vThird:
		return v + " " + h + " quarter"
	}
	return v + " " + h
}

const (
	all    = "all"
	middle = "middle"
)

func part(third bool) string {
	if third {
		return " third"
	}
	return " half"
}

// band names the span on one axis; third means that it keeps within some third
// at the side, else it keeps within some half.
func band(lo, hi float64, low, high string) (name string, third bool) {
	switch {
	case hi-lo >= 0.75:
		return all, false
	case hi <= 0.4:
		return low, true
	case lo >= 0.6:
		return high, true
	case hi <= 0.6 && lo < 0.2:
		return low, false
	case lo >= 0.4 && hi > 0.8:
		return high, false
	}
	return middle, false
}
