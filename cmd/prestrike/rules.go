package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"prestrike/audit"
	"prestrike/audit/config"
	"prestrike/audit/report"
	"prestrike/audit/values"

	"github.com/spf13/cobra"
)

const rulesLong = `Rules lists every rule with its severity and the numbers it decides by, with the
changes of the configuration. With a rule's name it explains that rule: what it
finds, why it matters, what to do, when it is wrong, and its numbers. With
--sources it adds where the criterion is published.

To change a rule, edit prestrike.toml: prestrike config shows how.

Exit status: 0 shown, 3 when there is no such rule or a file has mistakes.`

const rulesExamples = `  prestrike rules
  prestrike rules missing-frame
  prestrike rules diffraction --sources
  prestrike rules --format json`

// rulesFlags is the command line of prestrike rules.
type rulesFlags struct {
	format  string
	sources bool
	shoot   shootFlags
}

func newRules(c *console) *cobra.Command {
	var f rulesFlags
	cmd := &cobra.Command{
		Use:     "rules [RULE]",
		Short:   "List the rules, or explain one",
		Long:    rulesLong,
		Example: rulesExamples,
		Args:    atMostOne("rule"),
		ValidArgsFunction: func(_ *cobra.Command, args []string, _ string) ([]cobra.Completion, cobra.ShellCompDirective) {
			var names []cobra.Completion
			if len(args) == 0 {
				for _, r := range ruleList() {
					names = append(names, cobra.CompletionWithDesc(r.ID, r.Title))
				}
			}
			return names, cobra.ShellCompDirectiveNoFileComp
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			opt, settings, err := f.shoot.options(cmd, []string{"."})
			if err != nil {
				return err
			}
			list := opt.Rules
			if len(args) == 1 {
				rule := findRule(opt.Rules, args[0])
				if rule == nil {
					return noRule(cmd, opt.Rules, args[0])
				}
				list = []*audit.Rule{rule}
			}
			var text bytes.Buffer
			switch {
			case f.format == "json":
				err = writeRulesJSON(&text, list, opt)
			case len(args) == 1:
				explainRule(&text, list[0], opt, settings, &f, c.textWidth(false))
			default:
				listRules(&text, list, opt, &f, c.textWidth(false))
			}
			if err != nil {
				return err
			}
			_, err = c.out.Write(text.Bytes())
			return err
		},
	}
	addChoice(cmd, &f.format, "format", "form of the result", "table\ta table for people", "json\tJSON for programs")
	cmd.Flags().BoolVar(&f.sources, "sources", false, "name the publications that the rules are taken from")
	cmd.Flags().StringVar(&f.shoot.config, "config", "", "read this configuration `FILE` and no other")
	return cmd
}

// noRule reports that there is no rule of a name, and which is near.
func noRule(cmd *cobra.Command, list []*audit.Rule, name string) error {
	err := fmt.Errorf("there is no rule %q", name)
	if near := config.NearestRule(list, name); near != "" {
		err = fmt.Errorf("%w: did you mean %s?", err, near)
	}
	return &usageError{err, cmd.CommandPath()}
}

func ruleList() []*audit.Rule {
	var f shootFlags
	opt, _, err := f.options(&cobra.Command{}, nil)
	if err != nil {
		return nil
	}
	return opt.Rules
}

func findRule(list []*audit.Rule, id string) *audit.Rule {
	for _, r := range list {
		if r.ID == id {
			return r
		}
	}
	return nil
}

// severityWord returns the severity in force, or off.
func severityWord(r *audit.Rule, opt *audit.Options) string {
	if opt.Off[r.ID] {
		return "off"
	}
	if s, ok := opt.Severities[r.ID]; ok {
		return s.String()
	}
	return r.Severity.String()
}

func listRules(w *bytes.Buffer, list []*audit.Rule, opt *audit.Options, f *rulesFlags, width int) {
	longest := 0
	for _, r := range list {
		longest = max(longest, len(r.ID))
	}
	indent := longest + 11
	narrow := 2*indent > width // then what is known of a rule is below its name
	if narrow {
		indent = 4
	}
	for _, r := range list {
		head := fmt.Sprintf("%-*s  %-7s  ", longest, r.ID, severityWord(r, opt))
		if narrow {
			fmt.Fprintf(w, "%s  %s\n", r.ID, severityWord(r, opt))
			head = strings.Repeat(" ", indent)
		}
		report.Paragraph(w, head, indent, r.Title, width)
		if len(r.Params) > 0 {
			var numbers []string
			for _, p := range r.Params {
				numbers = append(numbers, p.Name+" "+values.WithUnit(opt.Param(r, p), p.Unit))
			}
			report.Paragraph(w, strings.Repeat(" ", indent), indent, strings.Join(numbers, ", "), width)
		}
		if f.sources {
			report.Paragraph(w, strings.Repeat(" ", indent), indent, "Source: "+r.Source, width)
		}
	}
	fmt.Fprint(w, "\nprestrike rules RULE explains one.\n")
}

func explainRule(w *bytes.Buffer, r *audit.Rule, opt *audit.Options, settings []config.Setting, f *rulesFlags, width int) {
	origin := map[string]string{}
	for _, s := range settings {
		origin[s.Key] = s.Origin
	}
	from := func(key string) string {
		if o := origin["rule."+r.ID+"."+key]; o != "" {
			return " (" + o + ")"
		}
		return ""
	}
	fmt.Fprintf(w, "%s: %s\n\n", r.ID, r.Title)
	fmt.Fprintf(w, "Severity: %s%s\n\n", severityWord(r, opt), from("severity"))
	for i, paragraph := range strings.Split(strings.TrimSpace(r.Doc), "\n\n") {
		if i > 0 {
			fmt.Fprintln(w)
		}
		report.Paragraph(w, "", 0, strings.Join(strings.Fields(paragraph), " "), width)
	}
	if len(r.Params) > 0 {
		fmt.Fprint(w, "\nNumbers:\n")
		for _, p := range r.Params {
			fmt.Fprintf(w, "  %s = %s%s\n", p.Name, values.WithUnit(opt.Param(r, p), p.Unit), from(p.Name))
			report.Paragraph(w, "      ", 6, fmt.Sprintf("%s; default %s, from %s", p.Doc, values.Text(p.Default, p.Unit), config.Range{Min: p.Min, Max: p.Max, Unit: p.Unit}), width)
		}
	}
	if f.sources {
		fmt.Fprintln(w)
		report.Paragraph(w, "Source: ", len("Source: "), r.Source, width)
	}
}

type ruleJSON struct {
	ID       string      `json:"id"`
	Title    string      `json:"title"`
	Severity string      `json:"severity"`
	Off      bool        `json:"off"`
	Doc      string      `json:"doc"`
	Source   string      `json:"source"`
	Params   []paramJSON `json:"params"`
}

type paramJSON struct {
	Name    string  `json:"name"`
	Unit    string  `json:"unit"`
	Doc     string  `json:"doc"`
	Value   float64 `json:"value"`
	Default float64 `json:"default"`
	Min     float64 `json:"min"`
	Max     float64 `json:"max"`
}

func writeRulesJSON(w io.Writer, list []*audit.Rule, opt *audit.Options) error {
	out := struct {
		Format  string     `json:"format"`
		Version int        `json:"version"`
		Rules   []ruleJSON `json:"rules"`
	}{"prestrike-rules", 1, []ruleJSON{}}
	for _, r := range list {
		severity := r.Severity
		if s, ok := opt.Severities[r.ID]; ok {
			severity = s
		}
		j := ruleJSON{r.ID, r.Title, severity.String(), opt.Off[r.ID], r.Doc, r.Source, []paramJSON{}}
		for _, p := range r.Params {
			j.Params = append(j.Params, paramJSON{p.Name, p.Unit, p.Doc, opt.Param(r, p), p.Default, p.Min, p.Max})
		}
		out.Rules = append(out.Rules, j)
	}
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return e.Encode(out)
}
