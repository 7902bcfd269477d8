package pixelstest

import "testing"

func BenchmarkBuild(b *testing.B) {
	d := Random(5)
	for b.Loop() {
		d.Build()
	}
}

func BenchmarkShoot(b *testing.B) {
	d := Random(5)
	built := d.Build()
	shots := d.Shots()
	for _, s := range shots { // each level of blur is made when first asked for
		built.Shoot(s)
	}
	i := 0
	for b.Loop() {
		built.Shoot(shots[i%len(shots)])
		i++
	}
}

func BenchmarkPicture(b *testing.B) {
	d := Random(5)
	built := d.Build()
	shots := d.Shots()
	for _, s := range shots { // each level of blur is made when first asked for
		built.Shoot(s)
	}
	i := 0
	for b.Loop() {
		built.Picture(shots[i%len(shots)])
		i++
	}
}
