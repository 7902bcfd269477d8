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

// settingFor returns the widest setting at an f-number; 0 where none is known or even 1
// is too wide.
func (s cameraStep) settingFor(n float64) int {
	return optics.SettingFor(s.Setting, s.Growth, s.FNumber, s.allowed, n)
}

// sentence tells the setting at an f-number.
func (s cameraStep) sentence(set string, n float64) string {
	if widest := s.settingFor(n); widest > 0 {
		return fmt.Sprintf("The camera's own focus step at %s: %d, by the test run made with %d at f/%s. It holds near the magnification of the test run.",
			set, widest, s.Setting, decimals(s.FNumber, 1))
	}
	return fmt.Sprintf("The camera's own focus step at %s: even 1 is too wide, by the test run made with %d at f/%s.", set, s.Setting, decimals(s.FNumber, 1))
}

// remember writes what the test run measured to the configuration that holds for the
// folder, and says so.
func (t *testRun) remember(c *console, folder string) error {
	m := t.sequence.Frames[0].Meta()
	s := audit.FocusStep{
		Body: strings.TrimSpace(m.Model.Or("")), Lens: strings.TrimSpace(m.LensModel.Or("")),
		Setting: t.run.Setting, FNumber: rounded(exifread.Positive(t.sequence.Settings.FNumber)), Growth: rounded(t.run.Growth),
	}
	if s.Body == "" || s.Lens == "" || s.FNumber == 0 {
		return errors.New("nothing is remembered: the frames do not record body, lens and f-number")
	}
	file, err := config.Find(folder)
	if err != nil {
		return err
	}
	if file == "" {
		file = filepath.Join(folder, config.Name)
	}
	if err := config.AddFocusStep(file, rules.All(), s); err != nil {
		if mistake, ok := errors.AsType[*config.Error](err); ok {
			return mistake
		}
		return notWritten(file, err, "put the test run into another folder", "allow writing to it, or put the test run into another folder")
	}
	c.say(fmt.Appendf(nil, "Added to %s: the focus step of %s with %s.\n", report.Visible(file), report.Visible(s.Body), report.Visible(s.Lens)))
	return nil
}
