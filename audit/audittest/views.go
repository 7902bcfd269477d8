package audittest

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"prestrike/audit"
	"prestrike/audit/shoot"
)

// shotList reads how the shot list is declared, and the slates.
func (p *parser) shotList(name string, args []string) (known bool, err error) {
	opt := &p.text.Options
	switch {
	case name == "view" && len(args) > 0:
		v, err := declaredView(args)
		opt.Views = append(opt.Views, v)
		return true, err
	case name == "final" && len(args) == 0:
		opt.Final = true
		return true, nil
	case name == "slate" && len(args) == 2:
		p.slate(args[0], args[1])
		return true, nil
	}
	return false, nil
}

func declaredView(args []string) (audit.View, error) {
	v := audit.View{Name: args[0]}
	for _, pair := range args[1:] {
		key, value, _ := strings.Cut(pair, "=")
		number, err := strconv.ParseFloat(value, 64)
		switch key {
		case "kind":
			err = fmt.Errorf("%q is no kind", value)
			for k := shoot.Single; k <= shoot.Series; k++ {
				if k.String() == value {
					v.Kind, v.HasKind, err = k, true, nil
				}
			}
		case "frames":
			v.Frames = int(number)
		case "fewest":
			v.FewestFrames = int(number)
		case "overlap":
			v.Overlap = number
		case "m":
			v.Magnification = number
		case "f":
			v.FNumber = number
		case "iso":
			v.ISO = number
		case "t":
			v.ExposureTime = number
		case "body":
			v.Body, err = value, nil
		case "file":
			v.Sequence, err = value, nil
		case "optional":
			v.Optional, err = true, nil
		default:
			err = fmt.Errorf("a view has no %q", key)
		}
		if err != nil {
			return v, fmt.Errorf("%s: %w", pair, err)
		}
	}
	return v, nil
}

// slate lets the frame of a label show the slate of a view, one that is not read, or a
// foreign one.
func (p *parser) slate(label, shows string) {
	s := audit.Slate{View: shows}
	switch shows {
	case "unread":
		s = audit.Slate{Unread: true}
	case "foreign":
		s = audit.Slate{Foreign: true}
	}
	before := p.text.Options.Slates
	p.text.Options.Slates = func(ctx context.Context, frames []*shoot.Frame) (map[*shoot.Frame]audit.Slate, error) {
		found := map[*shoot.Frame]audit.Slate{}
		if before != nil {
			found, _ = before(ctx, frames) // it has no errors
		}
		for _, f := range frames {
			if f.Label() == label {
				found[f] = s
			}
		}
		return found, nil
	}
}
