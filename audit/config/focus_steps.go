package config

import (
	"fmt"
	"slices"
	"strings"

	"prestrike/audit"
	"prestrike/audit/values"
)

// focusStepKeys are what stands in a file of a test run.
var focusStepKeys = []key[audit.FocusStep]{
	nameKey("body", func(s *audit.FocusStep) *string { return &s.Body }).comments(`"BX-1"`, ""),
	nameKey("lens", func(s *audit.FocusStep) *string { return &s.Lens }).comments(`"Borealis 90 mm macro"`, ""),
	countKey("setting", func(s *audit.FocusStep) *int { return &s.Setting }, Range{1, 1000, ""}).comments("3", "focus step set on the camera"),
	numberKey("f-number", func(s *audit.FocusStep) *float64 { return &s.FNumber }, values.Quantity(""), Range{0.5, 128, ""}).comments("8", ""),
	wordKey("f-numbers", func(s *audit.FocusStep) *audit.FNumbers { return &s.FNumbers }, parseFNumbers).comments(`"nominal"`, ""),
	numberKey("growth-px", func(s *audit.FocusStep) *float64 { return &s.Growth }, values.Quantity("px"), Range{0.01, 1000, "px"}).
		comments("1.5", "of blur with each frame, in a picture 1,600 pixels wide"),
}

// focusSteps reads what test runs measured: the last of a body with a lens holds.
func (r *reader) focusSteps(c *document) {
	for i, values := range c.FocusStep {
		at := fmt.Sprintf("focus-step[%d]", i)
		var s audit.FocusStep
		named := len(r.settings)
		table(r, "focus-step", at, values, focusStepKeys, &s)
		if s.Body == "" || s.Lens == "" || s.Setting == 0 || s.FNumber == 0 || s.Growth == 0 {
			r.fail(at, "a focus-step needs body, lens, setting, f-number and growth-px: prestrike plan --from FOLDER --remember writes it")
		}
		r.name(named, at, s.Body+" with "+s.Lens)
		r.o.FocusSteps = append(slices.DeleteFunc(r.o.FocusSteps, func(o audit.FocusStep) bool {
			return strings.EqualFold(o.Body, s.Body) && strings.EqualFold(o.Lens, s.Lens)
		}), s)
	}
}
