package rules

import "testing"

func TestNumberReuse(t *testing.T) {
	says(t, numberReuse, "fault",
		"20 names belong to two different frames each, 0001 to 0020: keep the folders apart or rename the files of one: copied together, one frame overwrites the other")
}
