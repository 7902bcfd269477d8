package shoot

import (
	"cmp"
	"path"
	"slices"
	"sort"
	"strconv"
	"strings"
)

// parseDCF reads a DCF file name (CIPA DC-009): four free characters and a
// number from 0001 to 9999.
func parseDCF(stem string) (prefix string, n int, ok bool) {
	if len(stem) != 8 {
		return "", 0, false
	}
	for i := range 4 {
		c := stem[i]
		if !(c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c == '_') {
			return "", 0, false
		}
	}
	n, err := strconv.Atoi(stem[4:])
	if err != nil || n < 1 || stem[4] == '+' || stem[4] == '-' {
		return "", 0, false
	}
	return stem[:4], n, true
}

// dcfFolder returns the number of a DCF directory name (100 to 999 and five
// free characters), or 0.
func dcfFolder(dir string) int {
	base := path.Base(dir)
	if len(base) != 8 {
		return 0
	}
	n, err := strconv.Atoi(base[:3])
	if err != nil || n < 100 {
		return 0
	}
	return n
}

// digitGroup is one run of digits in a name.
type digitGroup struct{ from, to int }

func digitGroups(stem string) []digitGroup {
	var groups []digitGroup
	for i := 0; i < len(stem); i++ {
		if stem[i] < '0' || stem[i] > '9' {
			continue
		}
		j := i
		for j < len(stem) && stem[j] >= '0' && stem[j] <= '9' {
			j++
		}
		groups = append(groups, digitGroup{i, j})
		i = j
	}
	return groups
}

// maxDigits bounds what is taken for a counter; more digits are dates or hashes.
const maxDigits = 7

// numberFrames gives every frame the number in its name. Frames must be in
// order of time for renamed files: the digit group that counts up through the
// folder is the number.
func numberFrames(frames []*Frame) {
	type pattern struct {
		frames []*Frame
		groups [][]digitGroup
	}
	renamed := map[string]*pattern{}
	var last struct{ dir, prefix, series string } // frames of one folder share one name
	for _, f := range frames {
		dir, stem := splitPath(f.Path())
		if prefix, n, ok := parseDCF(stem); ok {
			if last.series == "" || dir != last.dir || prefix != last.prefix {
				last.dir, last.prefix, last.series = dir, prefix, seriesOf(dir, prefix)
			}
			f.Number = Number{Known: true, N: n, Digits: 4, Count: n, Series: last.series}
			continue
		}
		groups := digitGroups(stem)
		if len(groups) == 0 {
			continue
		}
		var key strings.Builder
		key.WriteString(dir)
		key.WriteByte('/')
		at := 0
		for _, g := range groups {
			key.WriteString(stem[at:g.from])
			key.WriteByte('#')
			at = g.to
		}
		key.WriteString(stem[at:])
		k := strings.ToUpper(key.String())
		p := renamed[k]
		if p == nil {
			p = &pattern{}
			renamed[k] = p
		}
		p.frames = append(p.frames, f)
		p.groups = append(p.groups, groups)
	}
	for key, p := range renamed {
		numberRenamed(key, p.frames, p.groups)
	}
	turnReversed(frames)
}

// seriesOf names the numbers of DCF names with a prefix in a folder.
func seriesOf(dir, prefix string) string {
	if dcfFolder(dir) != 0 {
		// The number runs on from folder to folder.
		dir = path.Dir(dir)
	}
	return dir + "/" + strings.ToUpper(prefix)
}

// numberRenamed finds the digit group that counts through frames whose names
// are alike but for their digits. A group counts when more than half of the
// steps between the sorted values are 1 and no value is used twice; where
// several do, the last one in the name is taken.
func numberRenamed(series string, frames []*Frame, groups [][]digitGroup) {
	if len(frames) < 2 {
		return
	}
	for g := len(groups[0]) - 1; g >= 0; g-- {
		values := make([]int, len(frames))
		ok := true
		for i, f := range frames {
			_, stem := splitPath(f.Path())
			d := groups[i][g]
			if d.to-d.from > maxDigits || clockDigits(f, stem[d.from:d.to]) {
				ok = false
				break
			}
			values[i], _ = strconv.Atoi(stem[d.from:d.to])
		}
		if !ok || !counts(values) {
			continue
		}
		for i, f := range frames {
			d := groups[i][g]
			f.Number = Number{Known: true, N: values[i], Digits: d.to - d.from, Count: values[i], Series: series}
		}
		return
	}
}

func counts(values []int) bool {
	sorted := append([]int(nil), values...)
	sort.Ints(sorted)
	ones := 0
	for i := 1; i < len(sorted); i++ {
		switch sorted[i] - sorted[i-1] {
		case 0:
			return false
		case 1:
			ones++
		}
	}
	return 2*ones > len(sorted)-1
}

// clockDigits reports whether digits are the hour, minute and second of the
// frame, as some names carry: these do not count.
func clockDigits(f *Frame, digits string) bool {
	return f.Timed() && len(digits) == 6 && digits == f.Time.Format("150405")
}

func splitPath(p string) (dir, stem string) {
	dir, name := path.Split(p)
	return strings.TrimSuffix(dir, "/"), strings.TrimSuffix(name, path.Ext(name))
}

// unroll sets the Count of a body's frames, the timed ones in order: it runs on
// where the number rolls over from 9999 to 0001, and a Series that starts over
// otherwise gets a name of its own, so that its counts are not compared.
// Frames without a time take part beside the timed frame of nearest number.
func unroll(timed, untimed []*Frame) {
	type state struct {
		last, turns, resets int
		frames              []*Frame
	}
	states := map[string]*state{}
	for _, f := range timed {
		if !f.Number.Known {
			continue
		}
		base := f.Number.Series
		s := states[base]
		if s == nil {
			s = &state{}
			states[base] = s
		}
		n := f.Number.along()
		if len(s.frames) > 0 && n < s.last {
			switch {
			case f.Number.Digits == 4 && s.last > rolloverHigh && n < rolloverLow:
				s.turns++
			case s.last-n > numberBack:
				s.resets++
				s.turns = 0
			}
		}
		s.last = n
		s.frames = append(s.frames, f)
		f.Number.Count = n + s.turns*9999
		if s.resets > 0 {
			f.Number.Series = base + "\x00" + strconv.Itoa(s.resets)
		}
	}
	for _, s := range states {
		slices.SortStableFunc(s.frames, func(a, b *Frame) int { return cmp.Compare(a.Number.along(), b.Number.along()) })
	}
	for _, f := range untimed {
		s := states[f.Number.Series]
		if !f.Number.Known || s == nil {
			continue
		}
		n := f.Number.along()
		i, _ := slices.BinarySearchFunc(s.frames, n, func(t *Frame, n int) int { return cmp.Compare(t.Number.along(), n) })
		near := s.frames[max(0, i-1)]
		if i < len(s.frames) && s.frames[i].Number.along()-n < n-near.Number.along() || near.Number.along() > n {
			near = s.frames[min(i, len(s.frames)-1)]
		}
		f.Number.Series = near.Number.Series
		f.Number.Count = n + near.Number.Count - near.Number.along()
	}
}

const (
	// A number that falls from above rolloverHigh to below rolloverLow has
	// rolled over, with room for frames that were deleted around the turn.
	rolloverHigh = 9000
	rolloverLow  = 1000
	// A number that falls back by more than numberBack has been reset; by
	// less, frames of one second stand in the wrong order.
	numberBack = 20
)
