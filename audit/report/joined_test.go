package report

import "testing"

// The sequences stand before each message only where they are not the same for all: those
// of all lead the instruction.
func TestJoined(t *testing.T) {
	for _, tt := range []struct {
		messages []message
		want     string
	}{
		{[]message{{"a", []string{"1.4"}}}, "a"},
		{[]message{{"a", []string{"1.4"}}, {"b", []string{"1.4"}}}, "a; b"},
		{[]message{{"a", []string{"1.4"}}, {"b", []string{"1.5"}}}, "1.4: a; 1.5: b"},
		{[]message{{"a", []string{"1.4"}}, {"b", []string{"1.4", "1.5"}}}, "1.4: a; 1.4 and 1.5: b"},
	} {
		if got := joined(tt.messages); got != tt.want {
			t.Errorf("%v: %q, want %q", tt.messages, got, tt.want)
		}
	}
}
