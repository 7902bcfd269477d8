package rules

import "testing"

func TestUnreadableFile(t *testing.T) {
	says(t, unreadableFile, "fault",
		"BX1_0012.NEF, BX1_0013.NEF and BX1_0014.NEF cannot be read: empty file: copy what is damaged from the card again; if that does not help, shoot this sequence again",
		"BX1_0020.NEF cannot be read: filled with one byte: copy what is damaged from the card again; if that does not help, shoot this sequence again")
}
