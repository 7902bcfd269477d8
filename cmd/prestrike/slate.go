package main

import (
	"bytes"
	"errors"
	"fmt"
	"html/template"
	"regexp"
	"strings"

	"prestrike/audit"
	"prestrike/audit/report"
	"prestrike/audit/shoot"
	"prestrike/audit/slate"

	"github.com/spf13/cobra"
)

const slateLong = `Slate writes a page with a card for each view of the shot list: its name in large
letters and a code. Print it on matt paper, cut the cards apart, and photograph the
card of a view before its frames. The report then knows which view follows.

Photograph the card sharp and flat to the camera, without glare. Its code should be a
fifth of the frame's width; a tenth is the least.

The shot list is the [[view]] entries of prestrike.toml in the folder, or in a folder
above it.

Exit status: 0 written, 3 when nothing was written.`

const slateExamples = `  prestrike slate /media/card -o slates.html
  prestrike slate . -o slates.html`

func newSlate(c *console) *cobra.Command {
	var out output
	var f shootFlags
	cmd := &cobra.Command{
		Use:     "slate FOLDER",
		Short:   "Make cards to photograph before each view of the shot list",
		Long:    slateLong,
		Example: slateExamples,
		Args:    exactlyOneFolder,
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective) {
			return nil, cobra.ShellCompDirectiveFilterDirs
		},
		RunE: func(cmd *cobra.Command, folders []string) error {
			opt, _, err := f.options(cmd, folders)
			if err != nil {
				return err
			}
			if len(opt.Views) == 0 {
				return fmt.Errorf("there is no shot list for %s: add a [[view]] with its name to prestrike.toml there, or write prestrike plan --add NAME", folders[0])
			}
			if out.file == "" && c.outTerminal {
				return &usageError{errors.New("a page is for the browser: name a file for it, such as -o slates.html"), cmd.CommandPath()}
			}
			target, err := openTarget(c, &out, folders)
			if err != nil {
				return err
			}
			page, err := slatePage(opt.Views)
			if err != nil {
				return err
			}
			if err := target.write(page); err != nil {
				return err
			}
			if target.path != "" {
				c.say(fmt.Appendf(nil, "Wrote %s: print it, and photograph a card before each view.\n", report.Visible(target.path)))
			}
			return nil
		},
	}
	flags := cmd.Flags()
	flags.StringVarP(&out.file, "output", "o", "", "write the page to `FILE`, whole or not at all, instead of the screen")
	flags.BoolVar(&out.overwrite, "overwrite", false, "with -o, replace a file that is no earlier result; never a frame")
	flags.StringVar(&f.config, "config", "", "read this configuration `FILE` and no other")
	flags.SortFlags = false
	return cmd
}

// exactlyOneFolder refuses any other number of arguments.
func exactlyOneFolder(cmd *cobra.Command, args []string) error {
	if err := atLeastOne("folder")(cmd, args); err != nil {
		return err
	}
	return atMostOne("folder")(cmd, args)
}

// slatesBegin begins a page of slates, so that it may be written over.
var slatesBegin = regexp.MustCompile(`^<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta name="generator" content="prestrike slates">\n`)

// A slateCard is one card of the page.
type slateCard struct {
	Number, Of int
	Name, Text string
	Details    string // kind, frames and settings
	Path       string // the dark modules, as the d of an SVG path
	Side       int    // of the drawing, in modules
	Margin     int
}

var slateTemplate = template.Must(template.New("slates").Parse(`<!DOCTYPE html>
<html lang="en">
<head>
<meta name="generator" content="prestrike slates">
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Slates</title>
<style>
@page { margin: 10mm }
body { font-family: system-ui, sans-serif; color: #000; background: #fff; margin: 0 }
main { display: flex; flex-wrap: wrap }
section { box-sizing: border-box; width: 92mm; height: 130mm; padding: 4mm; border: 1px dashed #888; break-inside: avoid; display: flex; flex-direction: column }
h1 { font-size: 1rem; margin: 4mm }
h2 { font-size: 8mm; line-height: 1.1; margin: 0 0 2mm; overflow-wrap: anywhere; max-height: 27mm; overflow: hidden }
p { margin: 0 0 1mm; font-size: 3.4mm; overflow-wrap: anywhere }
svg { display: block; width: 80mm; height: 80mm; margin: auto auto 0 }
@media print { h1 { display: none } }
</style>
</head>
<body>
<h1>Print on matt paper, cut apart, and photograph each card before its view: sharp, flat, the code a fifth of the frame wide.</h1>
<main>
{{range .}}<section>
<h2>{{.Name}}</h2>
<p>View {{.Number}} of {{.Of}}{{with .Details}}: {{.}}{{end}}</p>
<svg viewBox="0 0 {{.Side}} {{.Side}}" role="img" aria-label="Code of the view {{.Name}}: {{.Text}}" shape-rendering="crispEdges"><rect width="{{.Side}}" height="{{.Side}}" fill="#fff"/><path d="{{.Path}}" fill="#000"/></svg>
</section>
{{end}}</main>
</body>
</html>
`))

// slatePage returns the page with a card for each view.
func slatePage(views []audit.View) ([]byte, error) {
	var cards []slateCard
	for i, v := range views {
		code, err := slate.Code(v.Name)
		if err != nil {
			return nil, err
		}
		var path strings.Builder
		for y, row := range code {
			for x, dark := range row {
				if dark {
					fmt.Fprintf(&path, "M%d %dh1v1h-1z", x+slate.QuietZone, y+slate.QuietZone)
				}
			}
		}
		cards = append(cards, slateCard{
			Number: i + 1, Of: len(views), Name: report.Visible(v.Name), Text: slate.Text(v.Name), Details: viewDetails(&v),
			Path: path.String(), Side: slate.Modules + 2*slate.QuietZone,
		})
	}
	var page bytes.Buffer
	err := slateTemplate.Execute(&page, cards)
	return page.Bytes(), err
}

// viewDetails writes what is declared of a view: "focus, 40 frames, f/8, ISO 100, 1/4 s".
func viewDetails(v *audit.View) string {
	var list []string
	add := func(is bool, format string, value any) {
		if is {
			list = append(list, fmt.Sprintf(format, value))
		}
	}
	add(v.HasKind, "%s", v.Kind)
	add(v.Frames > 0, "%d frames", v.Frames)
	add(v.FNumber > 0, "f/%.3g", v.FNumber)
	add(v.ISO > 0, "ISO %.0f", v.ISO)
	add(v.ExposureTime > 0, "%s", shoot.FormatSeconds(v.ExposureTime))
	add(v.Magnification > 0, "magnification %.3g", v.Magnification)
	add(v.Optional, "%s", "optional")
	return strings.Join(list, ", ")
}
