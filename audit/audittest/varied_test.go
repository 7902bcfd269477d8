package audittest

import (
	"fmt"
	"reflect"
	"testing"

	"prestrike/audit/shoot"
)

// What Varied states of its shoots must be true of their files.
func TestVariedTellsTheTruth(t *testing.T) {
	special := map[string]func(*Shoot) bool{
		"unreadable at a border": func(s *Shoot) bool { return len(s.Must) == 1 && !s.Clean },
		"pause inside":           func(s *Shoot) bool { return len(s.Must) == 1 && !s.Clean },
		"copies":                 func(s *Shoot) bool { return len(s.Copies) > 0 && s.Clean },
		"merged pictures":        func(s *Shoot) bool { return len(s.Merged) > 1 && s.Clean },
	}
	for _, v := range Varieties {
		for seed := range uint64(20) {
			s := Varied(v, seed)
			if again := Varied(v, seed); !reflect.DeepEqual(s.Files, again.Files) || !reflect.DeepEqual(s.Sequences, again.Sequences) {
				t.Fatalf("%s, seed %d: two shoots differ", v.Name, seed)
			}
			if ok := special[v.Name]; ok == nil && !s.Clean || ok != nil && !ok(s) {
				t.Errorf("%s, seed %d: clean %v, %d to be found, %d copies, %d merged", v.Name, seed, s.Clean, len(s.Must), len(s.Copies), len(s.Merged))
			}
			files := map[string]*shoot.File{}
			for _, f := range s.Files {
				if files[f.Path] != nil {
					t.Errorf("%s, seed %d: two files are called %s", v.Name, seed, f.Path)
				}
				files[f.Path] = f
			}
			if err := s.covered(files); err != nil {
				t.Errorf("%s, seed %d: %v", v.Name, seed, err)
			}
			for copied, original := range s.Copies {
				a, b := files[copied], files[original]
				if a == nil || b == nil || a.Size != b.Size || !reflect.DeepEqual(a.Meta, b.Meta) {
					t.Errorf("%s, seed %d: %s is no copy of %s", v.Name, seed, copied, original)
				}
			}
		}
	}
}

// covered reports files that stand in no true sequence or in two, and frames
// that do not follow each other in time.
func (s *Shoot) covered(files map[string]*shoot.File) error {
	in := map[string]int{}
	for _, q := range s.Sequences {
		for i, frame := range q.Frames {
			if files[frame] == nil {
				return fmt.Errorf("%s: no file %s", q.What, frame)
			}
			in[stem(frame)]++
			at, timed := files[frame].Meta.Captured.Get()
			if i == 0 || !timed {
				continue
			}
			if before, ok := files[q.Frames[i-1]].Meta.Captured.Get(); ok && at.Wall.Before(before.Wall) {
				return fmt.Errorf("%s: %s comes before %s", q.What, frame, q.Frames[i-1])
			}
		}
	}
	for p := range files {
		want := 1
		if s.Merged[p] || s.Copies[p] != "" {
			want = 0
		}
		if in[stem(p)] != want {
			return fmt.Errorf("%s stands in %d true sequences, want %d", p, in[stem(p)], want)
		}
	}
	return nil
}
