package audit_test

import (
	"strings"
	"testing"

	"prestrike/audit"
	"prestrike/audit/audittest"
	"prestrike/audit/shoot"
	"prestrike/rules"
)

// assigned audits a session in text form and returns the sequence of each view, by
// name, and what stands at the end of the report.
func assigned(t *testing.T, text string) (map[string]string, string) {
	t.Helper()
	read, err := audittest.Read(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	opt := read.Options
	opt.Rules = rules.All()
	r, err := audit.Judge(t.Context(), &shoot.Collection{Files: read.Files}, &opt)
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]string{}
	for _, v := range r.Views {
		switch {
		case v.Sequence == nil:
			got[v.Name] = "-"
		case v.Or != nil:
			got[v.Name] = v.Sequence.ID + "?"
		default:
			got[v.Name] = v.Sequence.ID
		}
	}
	return got, audit.ViewsSentence(r.Views)
}

const (
	firstStack = `DCIM/100BXCAM/BX1_0001..0030.NEF every 1.3s time=2026-03-04T10:11:12.34+01:00 t=0.8 f=8 iso=100 mm=90 serial=4711 lens="Borealis 90 mm macro" wb=manual program=manual mode=manual
`
	secondStack = "DCIM/100BXCAM/BX1_0101..0130.NEF after 240s every 1.3s\n"
	thirdStack  = "DCIM/100BXCAM/BX1_0201..0230.NEF after 240s every 1.3s\n"
	fourthStack = "DCIM/100BXCAM/BX1_0301..0330.NEF after 240s every 1.3s\n"
	bracket     = "DCIM/100BXCAM/BX1_0401..0403.NEF after 240s every 12s t=0.6,2.4,9.6 mode=bracket\n"
	single      = "DCIM/100BXCAM/BX1_0501.NEF after 240s t=0.8 mode=manual\n"
)

func TestViewsAreAssigned(t *testing.T) {
	for _, c := range []struct {
		name, text, want, sentence string
	}{
		{
			"in the order of the list", "# view a\n# view b\n" + firstStack + secondStack,
			"a 1.1, b 1.2", "2 of 2 views shot",
		},
		{
			"by the magnification that focus distances show",
			"# view a m=0.4\n# view b m=0.09\n# lens \"Borealis 90 mm macro\" closest=290 largest=1\n" +
				strings.Replace(firstStack, "mm=90", "mm=90 dist=1.20..1.22", 1) + strings.Replace(secondStack, "1.3s", "1.3s dist=0.40..0.41", 1),
			"a 1.2, b 1.1", "2 of 2 views shot",
		},
		{
			"a magnification that may be enlarged, in the order of the list",
			"# view a m=0.4\n# view b m=0.3\n" +
				strings.Replace(firstStack, "mm=90", "mm=90 dist=1.20..1.22", 1) + strings.Replace(secondStack, "1.3s", "1.3s dist=1.00..1.02", 1),
			"a 1.1, b 1.2", "2 of 2 views shot",
		},
		{
			"a shoot that goes on", "# view a\n# view b\n# view c\n" + firstStack + secondStack,
			"a 1.1, b 1.2, c -", "2 of 3 views shot; missing: c",
		},
		{
			"another order, told by the kind", "# view a kind=bracket\n# view b\n# view c\n" + firstStack + secondStack + bracket,
			"a 1.3, b 1.1, c 1.2", "3 of 3 views shot",
		},
		{
			"a kind is not taken by a view without one", "# view a\n# view b\n# view c kind=bracket\n" + firstStack + bracket,
			"a 1.1, b -, c 1.2", "2 of 3 views shot; missing: b",
		},
		{
			"told by frames and settings", "# view a frames=20\n# view b f=16\n# view c f=8 frames=30\n" + firstStack +
				"DCIM/100BXCAM/BX1_0101..0130.NEF after 240s every 1.3s f=16\n" + "DCIM/100BXCAM/BX1_0201..0220.NEF after 240s every 1.3s f=8\n",
			"a 1.3, b 1.2, c 1.1", "3 of 3 views shot",
		},
		{
			"one sequence more than views", "# view a\n# view b\n" + firstStack + secondStack + thirdStack,
			"a 1.1?, b 1.2?", "2 of 2 views shot",
		},
		{
			"the list names the file", "# view a file=BX1_0210.NEF\n# view b\n" + firstStack + thirdStack,
			"a 1.2, b 1.1", "2 of 2 views shot",
		},
		{
			"the list names a frame that is not there", "# view a file=BX1_0777.NEF\n# view b\n" + firstStack + secondStack,
			"a -, b 1.1", "1 of 2 views shot; missing: a",
		},
		{
			"single frames are tests", "# view a\n# view b\n" + firstStack + single,
			"a 1.1, b -", "1 of 2 views shot; missing: b",
		},
		{
			"a single frame that is declared", "# view a\n# view b kind=single\n" + firstStack + single,
			"a 1.1, b 1.2", "2 of 2 views shot",
		},
		{
			"single frames where nothing else was made", "# view a\n# view b\n" + strings.Replace(firstStack, "0001..0030", "0001", 1) + single,
			"a 1.1, b 1.2", "2 of 2 views shot",
		},
		{
			"an optional view", "# view a\n# view b optional\n" + firstStack,
			"a 1.1, b -", "1 of 1 views shot",
		},
		{
			"another body", "# view a body=BX-2\n# view b\n" + firstStack + "card2/DCIM/100BXCAM/BX1_0101..0130.NEF after 240s every 1.3s body=BX-2 serial=4712\n",
			"a 1.2, b 1.1", "2 of 2 views shot",
		},
		{
			"slates before views in another order", "# view a\n# view b\n# slate 0001 b\n# slate 0501 a\n" +
				strings.Replace(firstStack, "0001..0030", "0001", 1) + secondStack + single + thirdStack,
			"a 1.4, b 1.2", "2 of 2 views shot",
		},
		{
			"two takes behind a slate: the last one", "# view a\n# view b\n# slate 0001 a\n# slate 0501 b\n" +
				strings.Replace(firstStack, "0001..0030", "0001", 1) + secondStack + thirdStack + single + fourthStack,
			"a 1.3, b 1.5", "2 of 2 views shot",
		},
		{
			"behind a slate, a kind that another view declares is no second take", "# view a\n# view b kind=bracket\n# slate 0001 a\n" +
				strings.Replace(firstStack, "0001..0030", "0001", 1) + secondStack + bracket,
			"a 1.2, b 1.3", "2 of 2 views shot",
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, sentence := assigned(t, c.text)
			for pair := range strings.SplitSeq(c.want, ", ") {
				name, id, _ := strings.Cut(pair, " ")
				if got[name] != id {
					t.Errorf("view %s is %s, want %s (all: %v)", name, got[name], id, got)
				}
			}
			if sentence != c.sentence {
				t.Errorf("got %q, want %q", sentence, c.sentence)
			}
		})
	}
}
