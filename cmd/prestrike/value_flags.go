package main

import (
	"prestrike/audit/values"

	"github.com/spf13/pflag"
)

// valueFlag is a flag for a value of one kind.
type valueFlag[T any] struct {
	kind  values.Kind[T]
	value *T
	given bool // or a default that is worth showing
}

// addValue adds a flag for a value of the kind, which is the value's default; a
// default of nothing is not shown. The name for the value in the help is the
// quoted word of the usage.
func addValue[T any](flags *pflag.FlagSet, kind values.Kind[T], value *T, name, usage string) {
	flags.Var(&valueFlag[T]{kind: kind, value: value}, name, usage)
}

// addDefault is addValue with a default that is shown in the help.
func addDefault[T any](flags *pflag.FlagSet, kind values.Kind[T], value *T, name string, by T, usage string) {
	*value = by
	flags.Var(&valueFlag[T]{kind, value, true}, name, usage)
}

// Type is the name of the value where the usage quotes none.
func (f *valueFlag[T]) Type() string { return "VALUE" }

// String writes the value back, for the help.
func (f *valueFlag[T]) String() string {
	if !f.given {
		return ""
	}
	return f.kind.Write(*f.value)
}

// Set reads the value.
func (f *valueFlag[T]) Set(s string) error {
	v, err := f.kind.Read(s)
	if err != nil {
		return err
	}
	*f.value, f.given = v, true
	return nil
}
