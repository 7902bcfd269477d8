package main

import (
	"strings"
	"testing"

	"prestrike/audit/values"

	"github.com/spf13/pflag"
)

// A flag shows its default and not an empty one, and keeps its value where a new
// one cannot be read.
func TestValueFlags(t *testing.T) {
	flags := pflag.NewFlagSet("test", pflag.ContinueOnError)
	a, b := 0.0, 0.0
	addDefault(flags, values.Share, &a, "overlap", 0.3, "`PART` of it")
	addValue(flags, values.Magnification, &b, "magnification", "size, `M`")
	if usage := flags.FlagUsages(); !strings.Contains(usage, "--overlap PART") || !strings.Contains(usage, "(default 30%)") || strings.Count(usage, "default") != 1 {
		t.Errorf("usage:\n%s", usage)
	}
	if err := flags.Parse([]string{"--magnification", "1:2", "--overlap", "25%"}); err != nil || a != 0.25 || b != 0.5 {
		t.Errorf("%v: overlap %v, magnification %v", err, a, b)
	}
	err := flags.Parse([]string{"--magnification", "large"})
	if err == nil || !strings.Contains(err.Error(), "--magnification") || b != 0.5 {
		t.Errorf("%v: magnification %v", err, b)
	}
}
