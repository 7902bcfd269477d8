package pixels

import "math"

// Dust reports on spots that keep their place on the sensor in several runs of one camera,
// while its surroundings change. Found means that there are such spots.
type Dust struct {
	Verdict
	Views  int // that could show dust
	Places []DustPlace
}

// A DustPlace is a spot, as the first run that shows it has it, and the runs that show it, by
// their places in what was compared.
type DustPlace struct {
	Speck
	Shown []int
}

// A DustView is a run that may show dust.
type DustView struct {
	*Judgement
	FNumber float64 // the working one
	Upright bool    // the camera was turned by 90°
}

// DustFewest is the least number of runs that can show dust for it to be judged, and that must
// show a spot.
const DustFewest = 2

// DustFNumber is the recorded f-number from which dust is sought, f/8, with room for how it is
// recorded: from 0.4:1 on it works as f/11, at which dust shows. From lower ones on few pictures
// would show more, and what is kept of the sensor takes 2 MiB of an open run with its states.
const DustFNumber = 7.9

// AskDust compares runs of one camera with pictures of one size, in the order of time: some
// dozen at most, as each is compared with each. A spot counts where chance hardly puts it at one
// place of so many pictures. A spot that a run does not show, where its picture is smooth there
// and its f-number not lower than that of others that do, before and behind, is none of the sensor.
func AskDust(views []DustView) Dust {
	var d Dust
	reason := ReasonFewViews
	var at []int
	for i, v := range views {
		if v.Specks.Answer == CannotTell {
			reason = v.Specks.Reason
		} else {
			at = append(at, i)
		}
	}
	if d.Views = len(at); d.Views < DustFewest {
		d.Verdict = cannot(reason)
		return d
	}
	apart := surroundings{views: views, known: map[[2]int]bool{}}
	var seen []DustPlace // each place once, whatever it comes to
	unsure := false
	for n, i := range at {
		for rank, s := range views[i].Specks.List {
			p := DustPlace{Speck: s, Shown: []int{i}}
			ranks := map[int]int{i: rank + 1}
			for _, k := range at[n+1:] {
				if r := views[k].Specks.rank(s); r > 0 {
					p.Shown, ranks[k] = append(p.Shown, k), r
				}
			}
			if byChance(views, d.Views, p.Shown, ranks) > dustChance || contradicted(views, at, p) || p.amid(seen) {
				continue
			}
			seen = append(seen, p)
			if byChance(views, d.Views, apart.most(p.Shown), ranks) <= dustChance {
				d.Places = append(d.Places, p)
			} else {
				unsure = true
			}
		}
	}
	if d.Verdict = decided(len(d.Places) > 0); len(d.Places) == 0 && unsure {
		d.Verdict = cannot(ReasonBackdrop)
	}
	return d
}

// byChance returns how many places some of n views are expected to share by chance, with spots
// that stand out from their pictures as far as those of one place do, or farther. Ranks are the
// places of its spots in the lists of their views, from 1. At most P (1 + ln P + ... + (ln P)^(m-1)/(m-1)!)
// choices of one spot of each of m lists have ranks whose product is P or less (by induction over m).
func byChance(views []DustView, n int, shown []int, ranks map[int]int) float64 {
	if len(shown) < DustFewest {
		return math.Inf(1)
	}
	product, all, ways, alike := 1.0, 1.0, 1.0, 1.0
	for i, k := range shown {
		product *= float64(ranks[k])
		all *= float64(len(views[k].Specks.List))
		ways *= float64(n-i) / float64(i+1)
		if i > 0 {
			alike *= specksAlike
		}
	}
	term, sum := 1.0, 1.0
	for k := 1; k < len(shown); k++ {
		term *= math.Log(product) / float64(k)
		sum += term
	}
	return ways * min(product*sum, all) * alike
}

// amid reports whether the place is one of others.
func (p DustPlace) amid(all []DustPlace) bool {
	for _, o := range all {
		if math.Hypot(p.X-o.X, p.Y-o.Y) < p.Radius+o.Radius {
			return true
		}
	}
	return false
}

// contradicted reports whether a run between the first and the last that show a spot, at no
// lower f-number than one of theirs, is smooth there without it.
func contradicted(views []DustView, among []int, p DustPlace) bool {
	least := math.Inf(1)
	shows := map[int]bool{}
	for _, k := range p.Shown {
		least = min(least, views[k].FNumber)
		shows[k] = true
	}
	for _, k := range among {
		if k > p.Shown[0] && k < p.Shown[len(p.Shown)-1] && !shows[k] && views[k].FNumber >= least && views[k].Specks.clearAt(p.Speck) {
			return true
		}
	}
	return false
}

// surroundings keeps which runs are known to have other surroundings than others.
type surroundings struct {
	views []DustView
	known map[[2]int]bool
}

// most returns those of a list of runs that all have other surroundings.
func (s *surroundings) most(list []int) (chosen []int) {
	for _, k := range list {
		apart := true
		for _, o := range chosen {
			apart = apart && s.apart(o, k)
		}
		if apart {
			chosen = append(chosen, k)
		}
	}
	return chosen
}

// apart reports whether the camera or the backdrop is known to have moved between two runs:
// the camera was turned, or what lies along all sides of the picture differs.
func (s *surroundings) apart(a, b int) bool {
	is, ok := s.known[[2]int{a, b}]
	if !ok {
		v, w := s.views[a], s.views[b]
		is = v.Upright != w.Upright || v.View.elsewhere(&w.View)
		s.known[[2]int{a, b}] = is
	}
	return is
}

// elsewhere reports whether two views show different things, by what lies along all four sides
// of the picture: where that is smooth, or partly alike, it is not known that the camera or the
// backdrop moved. A subject that turns before a fixed backdrop is not elsewhere, nor is one that
// stands while its backdrop is exchanged: what lies inside must not be alike, as far as it shows.
func (v *View) elsewhere(w *View) bool {
	if !v.valid() || !w.valid() || v.Width != w.Width || v.Height != w.Height {
		return false
	}
	a, b := bandPass(v.plane()), bandPass(w.plane())
	cols, rows := v.blocks()
	const inside = 4
	var known, alike [5]int // by side, and inside
	for by := 1; by < rows-1; by++ {
		for bx := 1; bx < cols-1; bx++ {
			parts := [5]bool{bx <= sideBlocks, bx >= cols-1-sideBlocks, by <= sideBlocks, by >= rows-1-sideBlocks}
			parts[inside] = parts == [5]bool{}
			if max(a.blockSpread(bx, by), b.blockSpread(bx, by)) < sideSpread {
				continue
			}
			c, ok := correlation(a, b, bx*blockSide, by*blockSide, 0, 0)
			for k, on := range parts {
				if on {
					known[k]++
					if ok && c >= sideAlike {
						alike[k]++
					}
				}
			}
		}
	}
	for k := range known {
		if k != inside && known[k] < sideKnown || float64(alike[k]) > sideSame*float64(known[k]) {
			return false
		}
	}
	return true
}

// blockSpread is the standard deviation within a block, code values.
func (p plane) blockSpread(bx, by int) float64 {
	var sum, squares float64
	for y := by * blockSide; y < (by+1)*blockSide; y++ {
		for _, v := range p.pix[y*p.w+bx*blockSide:][:blockSide] {
			sum += float64(v)
			squares += float64(v) * float64(v)
		}
	}
	const n = blockSide * blockSide
	return math.Sqrt(max(0, squares/n-sum*sum/(n*n)))
}
