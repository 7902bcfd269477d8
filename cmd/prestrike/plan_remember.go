package main

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"prestrike/audit"
	"prestrike/audit/config"
	"prestrike/audit/report"
	"prestrike/exifread"
	"prestrike/rules"
	"prestrike/rules/optics"
)

// A cameraStep is what a test run measured of a body with a lens, with the growth of
// blur that is allowed; the zero value where none was made.
type cameraStep struct {
	audit.FocusStep
	allowed float64
}

// cameraStepOf returns what a configuration remembers of a frame's body and lens.
func cameraStepOf(opt *audit.Options, m *exifread.Metadata) cameraStep {
	same := func(a, b string) bool {
		return b != "" && strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b))
	}
	for _, s := range opt.FocusSteps {
		if same(s.Body, m.Model.Or("")) && same(s.Lens, m.LensModel.Or("")) {
			return cameraStep{s, rules.GrowthAllowed(opt)}
		}
	}
	return cameraStep{}
}

// settingFor returns the widest setting at the f-number of a row; 0 where none is known or
// even 1 is too wide. Two f-numbers of one kind are compared: shown means that the body shows
// working ones.
func (s cameraStep) settingFor(r *optics.FocusRow, shown bool) int {
	n := r.FNumber
	if s.FNumbers == audit.FNumbersEffective || shown && s.FNumbers == audit.FNumbersUnknown {
		n = r.Working
	}
	return optics.SettingFor(s.Setting, s.Growth, s.FNumber, s.allowed, n)
}

// sentence is the setting at the f-number of a row.
func (s cameraStep) sentence(r *optics.FocusRow, shown bool) string {
	at := "f/" + decimals(s.FNumber, 1)
	if s.FNumbers == audit.FNumbersEffective {
		at += " (working)"
	}
	if widest := s.settingFor(r, shown); widest > 0 {
		return fmt.Sprintf("The camera's own focus step at %s: %d, by the test run made with %d at %s. It holds near the magnification of the test run.",
			r.Aperture, widest, s.Setting, at)
	}
	return fmt.Sprintf("The camera's own focus step at %s: even 1 is too wide, by the test run made with %d at %s.", r.Aperture, s.Setting, at)
}

// remembered returns the configuration to write what a test run measured to: that which
// holds for its folder, or a new one. Where one is in a folder above, as with a job whose
// card is beside the test run, that is where it holds for other frames too.
func remembered(folder string) (string, error) {
	file, err := config.Find(folder)
	if file != "" || err != nil {
		return file, err
	}
	if inside, err := filepath.Rel(".", folder); err == nil && filepath.IsLocal(inside) {
		return config.Name, nil
	}
	return filepath.Join(folder, config.Name), nil
}

// remember writes what the test run measured to a configuration, and says so.
func (t *testRun) remember(c *console, folder, file string) error {
	m := t.sequence.Frames[0].Meta()
	s := audit.FocusStep{
		Body: strings.TrimSpace(m.Model.Or("")), Lens: strings.TrimSpace(m.LensModel.Or("")),
		Setting: t.run.Setting, FNumber: rounded(t.fNumber), FNumbers: t.fNumbers, Growth: rounded(t.run.Growth),
	}
	if s.Body == "" || s.Lens == "" || s.FNumber == 0 {
		return errors.New("nothing is remembered: the frames do not record body, lens and f-number")
	}
	if file == "" {
		var err error
		if file, err = remembered(folder); err != nil {
			return err
		}
	}
	if err := config.AddFocusStep(file, rules.All(), s); err != nil {
		if mistake, ok := errors.AsType[*config.Error](err); ok {
			return mistake
		}
		return notWritten(file, err, "name another file with --config", "allow writing to it, or name another file with --config")
	}
	c.say(fmt.Appendf(nil, "Added to %s: the focus step of %s with %s.\n", report.Visible(file), report.Visible(s.Body), report.Visible(s.Lens)))
	return nil
}
