package main

import (
	"errors"
	"fmt"
	"strconv"

	"prestrike/audit"
	"prestrike/audit/config"
	"prestrike/audit/shoot"
	"prestrike/cmd/prestrike/internal/values"
	"prestrike/rules"
	"prestrike/rules/optics"

	"github.com/spf13/cobra"
)

// shootFlags are the flags that declare what frames do not record of a shoot,
// and whether their pictures are looked at.
// Where they are given they hold before any configuration file.
type shootFlags struct {
	config        string
	support       string
	plannedFrames int
	magnification float64
	fieldWidth    optics.Length
	light         string
	pixels        string
}

// addTo adds the flags to the command.
func (f *shootFlags) addTo(cmd *cobra.Command) {
	addChoice(cmd, &f.support, "support", "what held the camera",
		"auto\teach sequence tells", "tripod\tall frames were made on a tripod", "handheld\tall frames were made by hand")
	values.Count.Var(cmd.Flags(), &f.plannedFrames, "planned-frames", "how many frames, `N`, each focus sequence or time-lapse should have")
	values.Magnification.Var(cmd.Flags(), &f.magnification, "magnification", "size on the sensor over size of the subject, `M` such as 1:2 or 0.5")
	values.Length.Var(cmd.Flags(), &f.fieldWidth, "field-width", "`WIDTH` of what the frame shows, such as 8cm: gives the magnification")
	addChoice(cmd, &f.light, "light", "what lit the subject",
		"unknown\tnot declared", "mains50\tlamps on 50 Hz mains", "mains60\tlamps on 60 Hz mains", "flash\tflash", "daylight\tdaylight")
	addChoice(cmd, &f.pixels, "pixels", "whether to look at the pictures themselves",
		"auto\tthose of focus sequences, time-lapses and runs that may be either", "on\tthose of all sequences", "off\tonly at what the frames record")
	cmd.Flags().StringVar(&f.config, "config", "", "read this configuration `FILE` and no other")
}

// onCommandLine is the origin of settings made by flags.
const onCommandLine = "command line"

// options returns the options for an audit of the folders: the defaults, over
// them the user's configuration file, over that the one of the folders, over
// that the command line; and the settings made, later ones holding before
// earlier ones of the same key.
func (f *shootFlags) options(cmd *cobra.Command, folders []string) (*audit.Options, []config.Setting, error) {
	opt := &audit.Options{Rules: rules.All()}
	files, err := f.configFiles(folders)
	if err != nil {
		return nil, nil, err
	}
	var settings []config.Setting
	for _, file := range files {
		made, err := config.Read(opt, file)
		if err != nil {
			return nil, nil, fmt.Errorf("configuration: %w", err)
		}
		settings = append(settings, made...)
	}
	set := func(flag, key, value string) {
		if cmd.Flags().Changed(flag) {
			settings = append(settings, config.Setting{Key: key, Value: value, Origin: onCommandLine})
		}
	}
	usage := func(flag string, err error) error {
		return &usageError{fmt.Errorf("--%s: %w", flag, err), cmd.CommandPath()}
	}
	if cmd.Flags().Changed("support") {
		opt.Support, err = shoot.ParseSupport(f.support)
		if err != nil {
			return nil, nil, usage("support", err)
		}
		set("support", "shoot.support", strconv.Quote(f.support))
	}
	if cmd.Flags().Changed("light") {
		opt.Light, err = audit.ParseLight(f.light)
		if err != nil {
			return nil, nil, usage("light", err)
		}
		set("light", "shoot.light", strconv.Quote(f.light))
	}
	if cmd.Flags().Changed("pixels") {
		opt.Pixels, err = audit.ParsePixels(f.pixels)
		if err != nil {
			return nil, nil, usage("pixels", err)
		}
		set("pixels", "shoot.pixels", strconv.Quote(f.pixels))
	}
	if cmd.Flags().Changed("planned-frames") {
		opt.PlannedFrames = f.plannedFrames
		set("planned-frames", "shoot.planned-frames", strconv.Itoa(f.plannedFrames))
	}
	number := func(flag, key string, v float64, limit config.Range, to *float64) error {
		if !cmd.Flags().Changed(flag) {
			return nil
		}
		if err := limit.Check(v); err != nil {
			return usage(flag, err)
		}
		*to = v
		set(flag, key, fmt.Sprint(v))
		return nil
	}
	if err := number("magnification", "shoot.magnification", f.magnification, config.MagnificationRange, &opt.Magnification); err != nil {
		return nil, nil, err
	}
	if err := number("field-width", "shoot.field-width-mm", f.fieldWidth.Millimetres(), config.FieldWidthRange, &opt.FieldWidth); err != nil {
		return nil, nil, err
	}
	// What is declared on the command line holds before the other way to say
	// the same in a file.
	if cmd.Flags().Changed("field-width") && !cmd.Flags().Changed("magnification") {
		opt.Magnification = 0
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
		case file == "" || file == of:
		case of != "":
			return nil, errors.New("two configuration files hold for these folders, " + of + " and " + file + ": name one with --config")
		default:
			of = file
		}
	}
	if of != "" && (len(files) == 0 || files[0] != of) {
		files = append(files, of)
	}
	return files, nil
}
