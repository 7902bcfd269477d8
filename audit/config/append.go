package config

import (
	"bytes"

	"github.com/pelletier/go-toml/v2"

	"prestrike/audit"
	"prestrike/audit/values"
)

// Accept adds the declaration that findings of a rule are meant to a configuration
// file, which is made where it is not there. What stands in the file stays as it
// is, with comments and order. The frame is one of the sequence that the findings
// belong to, by its name or path, and rules are those that a file may name.
//
// Nothing is written where the file has mistakes, or where it would have some then:
// these errors are of *[Error], others those of the system.
func Accept(file string, rules []*audit.Rule, a audit.Acceptance) error {
	_, err := Write(file, rules, AcceptStep(a))
	return err
}

// AddView adds a view to the shot list of a configuration file, under the same terms
// as [Accept]. Views of another file that hold until then are to be kept: the list of the
// file replaces that one from now on, and they are added before it.
func AddView(file string, rules []*audit.Rule, v audit.View, kept ...audit.View) error {
	_, err := Write(file, rules, KeepViewsStep(kept), addView(v))
	return err
}

// KeepViewsStep adds views that hold from another file, before a first view of its own is
// written to this one and its list replaces that.
func KeepViewsStep(kept []audit.View) Step {
	return func(text []byte) (_ []byte, err error) {
		for _, v := range kept {
			if text, err = addView(v)(text); err != nil {
				return nil, err
			}
		}
		return text, nil
	}
}

func addView(v audit.View) Step {
	e := viewEntry{
		Name: v.Name, Frames: v.Frames, FewestFrames: v.FewestFrames, FNumber: v.FNumber, ISO: v.ISO,
		Magnification: v.Magnification, Body: v.Body, Optional: v.Optional, Sequence: v.Sequence,
	}
	if shown, same := values.Shown(v.ExposureTime); same {
		e.ExposureTime = shown
	} else if v.ExposureTime > 0 {
		e.ExposureTime = v.ExposureTime
	}
	if v.Overlap > 0 {
		e.Overlap = values.Share.Write(v.Overlap)
	}
	if v.HasKind {
		e.Kind = v.Kind.String()
	}
	return entry(struct {
		View []viewEntry `toml:"view"`
	}{[]viewEntry{e}})
}

// AddFocusStep adds what a test run measured to a configuration file, under the same terms
// as [Accept]. What stands there of the same body and lens no longer holds.
func AddFocusStep(file string, rules []*audit.Rule, s audit.FocusStep) error {
	of := focusStepEntry{Body: s.Body, Lens: s.Lens, Setting: s.Setting, FNumber: s.FNumber, Growth: s.Growth}
	if s.FNumbers != audit.FNumbersUnknown {
		of.FNumbers = s.FNumbers.String()
	}
	_, err := Write(file, rules, entry(struct {
		FocusStep []focusStepEntry `toml:"focus-step"`
	}{[]focusStepEntry{of}}))
	return err
}

// AcceptStep declares that findings of a rule are meant, as [Accept].
func AcceptStep(a audit.Acceptance) Step {
	return entry(struct {
		Accept []acceptEntry `toml:"accept"`
	}{[]acceptEntry{{a.Rule, a.Frame, a.Reason}}})
}

// RetakenStep declares that a sequence was shot again.
func RetakenStep(d audit.Retaken) Step {
	return entry(struct {
		Retaken []retakenEntry `toml:"retaken"`
	}{[]retakenEntry{{d.Sequence, d.By}}})
}

// entry writes entries of lists behind what stands in the file.
func entry(document any) Step {
	return func(text []byte) ([]byte, error) {
		written, err := toml.Marshal(document)
		if err != nil {
			return nil, err
		}
		end := []byte("\n")
		if bytes.Contains(text, []byte("\r\n")) {
			end = []byte("\r\n")
		}
		var b bytes.Buffer
		if kept := bytes.TrimRight(text, "\r\n"); len(kept) > 0 {
			b.Write(kept)
			b.Write(end)
			b.Write(end)
		}
		b.Write(bytes.ReplaceAll(bytes.TrimRight(written, "\n"), []byte("\n"), end))
		b.Write(end)
		return b.Bytes(), nil
	}
}

type acceptEntry struct {
	Rule   string `toml:"rule"`
	Frame  string `toml:"frame,omitempty"`
	Reason string `toml:"reason"`
}

type focusStepEntry struct {
	Body     string  `toml:"body"`
	Lens     string  `toml:"lens"`
	Setting  int     `toml:"setting"`
	FNumber  float64 `toml:"f-number"`
	FNumbers string  `toml:"f-numbers,omitempty"`
	Growth   float64 `toml:"growth-px"`
}

type retakenEntry struct {
	Sequence string `toml:"sequence"`
	By       string `toml:"by"`
}

type viewEntry struct {
	Name          string  `toml:"name"`
	Kind          string  `toml:"kind,omitempty"`
	Frames        int     `toml:"frames,omitempty"`
	FewestFrames  int     `toml:"fewest-frames,omitempty"`
	Overlap       string  `toml:"overlap,omitempty"`
	FNumber       float64 `toml:"f-number,omitempty"`
	ISO           float64 `toml:"iso,omitempty"`
	ExposureTime  any     `toml:"exposure-time,omitempty"`
	Magnification float64 `toml:"magnification,omitempty"`
	Body          string  `toml:"body,omitempty"`
	Optional      bool    `toml:"optional,omitempty"`
	Sequence      string  `toml:"sequence,omitempty"`
}
