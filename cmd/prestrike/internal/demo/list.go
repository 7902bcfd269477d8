package demo

import (
	"bytes"
	"fmt"
)

// shotList returns the configuration of the job: the views that the catalogue needs,
// and when the courier comes.
func (s Session) shotList() []byte {
	var b bytes.Buffer
	b.WriteString(`# The job: a museum lends an ammonite for a catalogue.

[shoot]
courier = "16:00" # collects it

# The shot list: one [[view]] for each picture, in the order of shooting.
# Only the name is needed.
`)
	focus := fmt.Sprintf("kind = \"focus\"\nframes = %d\nf-number = 5.6\n", s.FocusFrames)
	for _, v := range []struct{ name, more string }{
		{viewFront, focus},
		{viewBack, focus},
		{viewPearl, fmt.Sprintf("kind = \"bracket\"\nframes = %d\n", s.BracketFrames)},
		{viewKeel, focus},
		{viewOpening, focus},
		{viewLight, fmt.Sprintf("kind = \"time-lapse\"\nframes = %d\n", s.LapseFrames)},
		{viewUnder, focus},
		{viewLabel, "optional = true\n"},
	} {
		fmt.Fprintf(&b, "\n[[view]]\nname = %q\n%s", v.name, v.more)
	}
	return b.Bytes()
}
