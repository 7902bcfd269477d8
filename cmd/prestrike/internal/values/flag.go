package values

import "github.com/spf13/pflag"

// flagValue is a flag for a value of one kind.
type flagValue[T any] struct {
	kind  Kind[T]
	value *T
	given bool // or a default that is worth showing
}

// Var adds a flag for a value of the kind, which is the value's default; a
// default of nothing is not shown. The name for the value in the help is the
// quoted word of the usage.
func (k Kind[T]) Var(flags *pflag.FlagSet, value *T, name, usage string) {
	flags.Var(&flagValue[T]{kind: k, value: value}, name, usage)
}

// VarDefault is Var with a default that is shown in the help.
func (k Kind[T]) VarDefault(flags *pflag.FlagSet, value *T, name string, by T, usage string) {
	*value = by
	flags.Var(&flagValue[T]{k, value, true}, name, usage)
}

// Type is the name of the value where the usage quotes none.
func (f *flagValue[T]) Type() string { return "VALUE" }

// String writes the value back, for the help.
func (f *flagValue[T]) String() string {
	if !f.given {
		return ""
	}
	return f.kind.write(*f.value)
}

// Set reads the value.
func (f *flagValue[T]) Set(s string) error {
	v, err := f.kind.Read(s)
	if err != nil {
		return err
	}
	*f.value, f.given = v, true
	return nil
}
