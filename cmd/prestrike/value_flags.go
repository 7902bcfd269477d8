package main

import (
	"strings"

	"prestrike/audit/values"

	"github.com/spf13/pflag"
)

// valueFlag is a flag for a value of one kind.
type valueFlag[T any] struct {
	kind  values.Kind[T]
	value *T
	given bool   // or a default that is worth showing
	text  string // as given; hostile text
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
	flags.Var(&valueFlag[T]{kind: kind, value: value, given: true}, name, usage)
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
	*f.value, f.given, f.text = v, true, strings.TrimSpace(s)
	return nil
}

// asGiven is the value as it was written.
func (f *valueFlag[T]) asGiven() string { return f.text }

// listFlag is a flag for several values of one kind, joined by commas or given one by one.
type listFlag struct {
	kind  values.Kind[string]
	value *[]string
	given bool
}

// addList adds a flag for several values of the kind; the value holds the default.
func addList(flags *pflag.FlagSet, kind values.Kind[string], value *[]string, name, usage string) {
	flags.Var(&listFlag{kind: kind, value: value}, name, usage)
}

// Type is the name of the values where the usage quotes none.
func (f *listFlag) Type() string { return "VALUES" }

// String writes the values back, for the help.
func (f *listFlag) String() string {
	if f.value == nil {
		return ""
	}
	return strings.Join(*f.value, ",")
}

// Set reads values and adds them to those given before.
func (f *listFlag) Set(s string) error {
	var read []string
	for part := range strings.SplitSeq(s, ",") {
		v, err := f.kind.Read(part)
		if err != nil {
			return err
		}
		read = append(read, v)
	}
	if f.given {
		read = append(*f.value, read...)
	}
	*f.value, f.given = read, true
	return nil
}
