package pixelstest

import (
	"os"
	"testing"
	"time"
)

func TestDump(t *testing.T) {
	d := Random(5)
	d.Shape = Ammonite
	d.Width, d.Height = 900, 600
	t0 := time.Now()
	b := d.Build()
	t.Log("build", time.Since(t0))
	s := d.Shots()
	for _, i := range []int{0, len(s) / 3, len(s) / 2, len(s) - 4} {
		t0 = time.Now()
		j := b.JPEG(s[i])
		t.Log("shot", time.Since(t0), len(j))
		os.WriteFile("/tmp/f"+string(rune('a'+i))+".jpg", j, 0o644)
	}
}
