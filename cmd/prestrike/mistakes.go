package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"prestrike/audit/config"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// noCommand reports that a command has none of a name below it, and which is near.
func noCommand(cmd *cobra.Command, name string) error {
	if cmd.HasParent() {
		_, path, _ := strings.Cut(cmd.CommandPath(), " ")
		return nearCommand(cmd, fmt.Errorf("%s has no command %q", path, name), name)
	}
	return nearCommand(cmd, fmt.Errorf("there is no command %q", name), name)
}

// noCommandOrFolder is noCommand for the first word of a command line, which may also have
// been meant as a folder.
func noCommandOrFolder(root *cobra.Command, name string) error {
	if name == "" {
		return &usageError{errors.New("the name of a command or folder is empty: name one" + forExample["folder"]), root.CommandPath()}
	}
	return nearCommand(root, fmt.Errorf("there is no command and no folder %q", name), name)
}

// nearCommand adds to an error about a word that is no command which one is near, or that it
// is the name of a flag.
func nearCommand(cmd *cobra.Command, err error, name string) error {
	var names []string
	for _, below := range cmd.Commands() {
		if below.IsAvailableCommand() {
			names = append(names, below.Name())
		}
	}
	near := withNearest(err, strings.ToLower(name), "", names)
	if near == err && slices.Contains(flagNames(cmd), name) {
		near = fmt.Errorf("%w: did you mean --%s?", err, name)
	}
	return &usageError{near, cmd.CommandPath()}
}

// flagMistake reports in our words that a flag is not known, and which is near, or that it
// lacks its value.
func flagMistake(cmd *cobra.Command, err error) error {
	if unknown, ok := errors.AsType[*pflag.NotExistError](err); ok {
		name := unknown.GetSpecifiedName()
		if letters := unknown.GetSpecifiedShortnames(); letters != "" {
			return fmt.Errorf("there is no flag -%s", name)
		}
		plain := fmt.Errorf("there is no flag --%s", name)
		near := withNearest(plain, name, "--", flagNames(cmd))
		if near == plain && !cmd.HasParent() {
			return fmt.Errorf("%w: name the folder or the command first, then the flags", plain)
		}
		return near
	}
	if lacks, ok := errors.AsType[*pflag.ValueRequiredError](err); ok {
		use := strings.TrimSpace(flagUse(lacks.GetFlag()))
		return fmt.Errorf("--%s has no value: write %s", lacks.GetFlag().Name, use[strings.Index(use, "--"):])
	}
	if wrong, ok := errors.AsType[*pflag.InvalidSyntaxError](err); ok {
		return fmt.Errorf("cannot read %q: write a flag as --NAME or --NAME VALUE", wrong.GetSpecifiedFlag())
	}
	return err
}

// flagNames returns the names of the flags of a command, without dashes.
func flagNames(cmd *cobra.Command) (list []string) {
	cmd.Flags().VisitAll(func(f *pflag.Flag) {
		if !f.Hidden {
			list = append(list, f.Name)
		}
	})
	return list
}

// withNearest adds to an error about a word that is not known the known one that is
// nearest, where one is near.
func withNearest(err error, word, before string, known []string) error {
	if near := config.Nearest(word, known); near != "" {
		return fmt.Errorf("%w: did you mean %s%s?", err, before, near)
	}
	return err
}
