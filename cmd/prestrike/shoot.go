package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"

	"prestrike/audit"
	"prestrike/audit/config"
	"prestrike/audit/values"
	"prestrike/rules"
	"prestrike/rules/optics"

	"github.com/spf13/cobra"
)

// shootFlags are the flags that declare what frames do not record of a shoot,
// and whether their pictures are inspected.
// Where they are given they hold before any configuration file.
type shootFlags struct {
	config string
	facts  []*factFlag
	today  func() time.Time // as on the console
}

// A factFlag is the flag of a fact, with what is given for it.
type factFlag struct {
	*config.Fact
	word   string
	count  int
	ratio  float64
	length optics.Length
}

// addTo adds the flags to the command.
func (f *shootFlags) addTo(cmd *cobra.Command, c *console) {
	f.today = c.today
	flags := cmd.Flags()
	for _, fact := range config.Facts() {
		if fact.Flag == "" {
			continue
		}
		given := &factFlag{Fact: fact}
		f.facts = append(f.facts, given)
		switch fact.Form {
		case config.Word:
			addChoice(cmd, &given.word, fact.Flag, fact.Usage, fact.Words...)
		case config.Count:
			addValue(flags, values.Count, &given.count, fact.Flag, fact.Usage)
		case config.Magnification:
			addValue(flags, values.Magnification, &given.ratio, fact.Flag, fact.Usage)
		case config.Length:
			addValue(flags, values.Length, &given.length, fact.Flag, fact.Usage)
		}
	}
	flags.StringVar(&f.config, "config", "", "read this configuration `FILE` and no other")
}

// value returns what was given, in the form that a fact is declared in.
func (f *factFlag) value() any {
	switch f.Form {
	case config.Count:
		return f.count
	case config.Magnification:
		return f.ratio
	case config.Length:
		return f.length.Millimetres()
	default:
		return f.word
	}
}

// onCommandLine is the origin of settings made by flags.
const onCommandLine = "command line"

// options returns the options for an audit of the folders: the defaults, over
// them the user's configuration file, over that the one of the folders, over
// that the command line; and the settings made, later ones holding before
// earlier ones of the same key.
func (f *shootFlags) options(cmd *cobra.Command, folders []string) (*audit.Options, []config.Setting, error) {
	opt := &audit.Options{Rules: rules.All()}
	if f.today != nil {
		opt.Now = func(time.Time) time.Time { return f.today() }
	}
	files, err := f.configFiles(folders)
	if err != nil {
		return nil, nil, err
	}
	var settings []config.Setting
	for _, file := range files {
		made, err := config.Read(opt, file)
		if err != nil {
			return nil, nil, err // one or several, each with its file
		}
		settings = append(settings, made...)
	}
	var declared []*factFlag
	for _, fact := range f.facts {
		if cmd.Flags().Changed(fact.Flag) {
			declared = append(declared, fact)
		}
	}
	for _, fact := range declared {
		fact.Replace(opt)
	}
	for _, fact := range declared {
		made, err := fact.Declare(opt, fact.value(), onCommandLine)
		if out, ok := errors.AsType[*config.RangeError](err); ok {
			return nil, nil, &usageError{outOfRange(cmd, fact.Flag, out.Range.String()), cmd.CommandPath()}
		}
		if err != nil {
			return nil, nil, &usageError{fmt.Errorf("--%s: %w", fact.Flag, err), cmd.CommandPath()}
		}
		settings = append(settings, made)
	}
	return opt, settings, nil
}

// configFiles returns the files to be read, the one that holds least first.
func (f *shootFlags) configFiles(folders []string) ([]string, error) {
	if f.config != "" {
		return []string{f.config}, nil
	}
	var files []string
	if own := config.User(); own != "" {
		files = append(files, own)
	}
	of := ""
	for _, folder := range folders {
		file, err := config.Find(folder)
		switch {
		case err != nil:
			return nil, err
		case file == "" || config.SameName(file, of):
		case of != "":
			return nil, errors.New("two configuration files are there for these folders, " + of + " and " + file + ": name one with --config")
		default:
			of = file
		}
	}
	if of != "" && (len(files) == 0 || !config.SameName(files[0], of)) {
		files = append(files, of)
	}
	return files, nil
}

// viewsElsewhere returns the views that hold from the user's own configuration file, and
// that file, where the file that is written to lists none: its first view would replace them.
func viewsElsewhere(file string) (views []audit.View, own string, err error) {
	own = config.User()
	if own == "" || config.SameName(own, file) {
		return nil, "", nil
	}
	listed := func(file string) ([]audit.View, error) {
		opt := audit.Options{Rules: rules.All()}
		_, err := config.Read(&opt, file)
		return opt.Views, err
	}
	if _, none := os.Lstat(file); !errors.Is(none, fs.ErrNotExist) {
		if views, err = listed(file); err != nil || len(views) > 0 {
			return nil, "", err
		}
	}
	views, err = listed(own)
	return views, own, err
}
