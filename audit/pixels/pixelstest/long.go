package pixelstest

import (
	"os"
	"testing"
)

// everything is the environment variable that asks for all tests, by this word.
const everything, all = "PRESTRIKE_TESTS", "all"

// Long skips a test that inspects so many pictures that a plain go test leaves it out: who
// has just fetched the program is to see within minutes that it works. .ci/run pictures
// makes all of them.
func Long(t testing.TB) {
	t.Helper()
	if os.Getenv(everything) != all {
		t.Skip("inspects many pictures: " + everything + "=" + all + " go test makes this one, too, as .ci/run pictures does")
	}
}
