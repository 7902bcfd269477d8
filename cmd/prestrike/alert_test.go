package main

import (
	"bytes"
	"errors"
	"testing"

	"prestrike/audit"
)

// A desktop that shows no notices is reported once, at the start, without the words of
// the library; alerts then sound the bell.
func TestDesktopThatShowsNothing(t *testing.T) {
	var screen bytes.Buffer
	shown := 0
	a := &alerter{c: &console{err: &screen, errTerminal: true}, desktop: true, notify: func(string, string) error {
		shown++
		return errors.New("library: exec: not found")
	}}
	a.started("tethered")
	if said := a.said(); len(said) != 1 || said[0] != "no desktop notices can be shown here: the bell sounds instead" {
		t.Errorf("at the start: %q", said)
	}
	a.notice("Missing frames (1.2): 0061 is not there", audit.Reshoot)
	if said := a.said(); len(said) > 0 || shown != 2 || !a.bell {
		t.Errorf("an alert: %d notices tried, remarks %q, bell %v", shown, said, a.bell)
	}
	works := &alerter{c: &console{err: &screen}, desktop: true, notify: func(string, string) error { return nil }}
	works.started("tethered")
	if said := works.said(); len(said) > 0 {
		t.Errorf("a desktop that works: %q", said)
	}
}
