package fill

// air knows which air still has a way out.
//
// The air is the graph of runs that are not full, joined where they have a window. (Could resin stand
// over the whole window of two runs that are not full? It would have to stand higher in one than the
// other's ceiling; but resin runs over at a window's sill before it rises past it.) It only loses runs. When a run goes, the air around it stays in one piece if its neighbours hold
// together by themselves; that is so for nearly every run. Otherwise a search runs from each side in
// turn, a step each, until all but one have come to their end: those are the smaller pieces, and the
// time is in proportion to them.
type air struct {
	s      *sweep
	piece  []int32 // of each run
	pieces []airPiece
	seen   []int32 // search that has been at a run
	stamp  int32
	shut   []bool // of each vent
	pocket []trapped
}

type airPiece struct {
	runs  int
	vents int
}

// trapped is air that has been cut off, as the columns see it.
type trapped struct {
	volume  float64 // mm³
	poured  float64 // when it closed
	top     int32   // its highest run
	topZ    float64
	level   float64 // highest resin under it
	lowest  float64 // lowest surface under it
	runs    []int32
	closing int32 // the run that closed it; −1 for a vent
}

func newAir(s *sweep) *air {
	n := len(s.lo)
	a := &air{s: s, piece: make([]int32, n), seen: make([]int32, n), shut: make([]bool, len(s.vents))}
	for i := range a.piece {
		a.piece[i] = -1
	}
	var queue []int32
	for r := range a.piece {
		if a.piece[r] >= 0 {
			continue
		}
		id := int32(len(a.pieces))
		a.pieces = append(a.pieces, airPiece{})
		queue = append(queue[:0], int32(r))
		a.piece[r] = id
		for len(queue) > 0 {
			r := queue[len(queue)-1]
			queue = queue[:len(queue)-1]
			a.pieces[id].runs++
			s.near(r, func(t int32) {
				if a.piece[t] < 0 {
					a.piece[t] = id
					queue = append(queue, t)
				}
			})
		}
	}
	for _, r := range s.vents {
		a.pieces[a.piece[r]].vents++
	}
	return a
}

// around lists the runs of the same air next to run r.
func (a *air) around(r int32, out []int32) []int32 {
	s := a.s
	s.near(r, func(t int32) {
		if s.state[t] == open && a.piece[t] == a.piece[r] {
			out = append(out, t)
		}
	})
	return out
}

// closeVent shuts a vent whose mouth the resin has reached.
func (a *air) closeVent(v int32) {
	if a.shut[v] {
		return
	}
	a.shut[v] = true
	r := a.s.vents[v]
	id := a.piece[r]
	if a.pieces[id].vents--; a.pieces[id].vents == 0 && a.pieces[id].runs > 0 {
		a.trap(id, r, -1)
	}
}

// lose takes a full run out of the air.
func (a *air) lose(r int32) {
	s := a.s
	id := a.piece[r]
	a.pieces[id].runs--
	var buf [24]int32
	around := a.around(r, buf[:0])
	// The vents of a full run are lost with it.
	for _, v := range s.ventAt[r] {
		if !a.shut[v] {
			a.shut[v] = true
			a.pieces[id].vents--
		}
	}
	if len(around) == 0 {
		return
	}
	if groups := a.groups(around); len(groups) > 1 {
		a.split(id, groups, r)
		return
	}
	if a.pieces[id].vents == 0 {
		a.trap(id, around[0], r)
	}
}

// groups sorts neighbours into those that hold together among themselves; one of each is returned.
func (a *air) groups(around []int32) (first []int32) {
	n := len(around)
	var buf [24]int
	group := buf[:0]
	for i := range n {
		group = append(group, i)
	}
	for changed := true; changed; {
		changed = false
		for i := range n {
			for k := range i {
				if group[i] != group[k] && a.next(around[i], around[k]) {
					g := min(group[i], group[k])
					group[i], group[k], changed = g, g, true
				}
			}
		}
	}
	for i := range n {
		if group[i] == i {
			first = append(first, around[i])
		}
	}
	return first
}

// next says whether two runs are in neighbouring columns.
func (a *air) next(r, t int32) bool {
	nx := a.s.nx
	p, q := int(a.s.column[r]), int(a.s.column[t])
	dx, dy := p%nx-q%nx, p/nx-q/nx
	return p != q && dx >= -1 && dx <= 1 && dy >= -1 && dy <= 1
}

// front is a search through one side's air.
type front struct {
	runs []int32 // found so far; those from at on have still to be looked around
	at   int
	mark int32
	met  int // front it has run into; itself while it has not
}

// split finds out whether the sides of a lost run still hang together, and parts them if not.
func (a *air) split(id int32, sides []int32, closing int32) {
	fronts := make([]front, len(sides))
	for i, r := range sides {
		a.stamp++
		fronts[i] = front{runs: []int32{r}, mark: a.stamp, met: i}
	}
	base := fronts[0].mark
	find := func(i int) int {
		for fronts[i].met != i {
			i = fronts[i].met
		}
		return i
	}
	for i, r := range sides {
		a.seen[r] = fronts[i].mark
	}
	var buf []int32
	alive := len(sides)
	for alive > 1 {
		moved := false
		for i := range fronts {
			f := &fronts[i]
			if f.at == len(f.runs) {
				continue
			}
			moved = true
			r := f.runs[f.at]
			f.at++
			buf = a.around(r, buf[:0])
			for _, t := range buf {
				if m := a.seen[t]; m >= base {
					if x, y := find(i), find(int(m-base)); x != y {
						fronts[max(x, y)].met = min(x, y)
						alive--
					}
					continue
				}
				a.seen[t] = f.mark
				f.runs = append(f.runs, t)
			}
		}
		if done := a.finished(fronts, find); done >= 0 && alive > 1 {
			a.part(id, fronts, done, find, closing)
			alive--
		} else if !moved {
			break
		}
	}
	if a.pieces[id].vents == 0 && a.pieces[id].runs > 0 {
		for i := range fronts {
			if r := fronts[i].runs[0]; a.piece[r] == id && a.s.state[r] == open {
				a.trap(id, r, closing)
				return
			}
		}
	}
}

// finished gives a group of fronts of which none has anything left to look around, −1 if there is none.
func (a *air) finished(fronts []front, find func(int) int) int {
	for i := range fronts {
		if fronts[i].met != i || fronts[i].runs == nil || a.piece[fronts[i].runs[0]] < 0 {
			continue
		}
		done := fronts[i].mark > 0
		for k := range fronts {
			if find(k) == i && fronts[k].at < len(fronts[k].runs) {
				done = false
			}
		}
		if done {
			return i
		}
	}
	return -1
}

// part makes a piece of its own out of a finished group.
func (a *air) part(id int32, fronts []front, group int, find func(int) int, closing int32) {
	n := int32(len(a.pieces))
	a.pieces = append(a.pieces, airPiece{})
	p := &a.pieces[n]
	var one int32
	for k := range fronts {
		if find(k) != group {
			continue
		}
		for _, r := range fronts[k].runs {
			a.piece[r] = n
			p.runs++
			one = r
			for _, v := range a.s.ventAt[r] {
				if !a.shut[v] {
					p.vents++
				}
			}
		}
		fronts[k].mark = -1 // out of the search
	}
	a.pieces[id].runs -= p.runs
	a.pieces[id].vents -= p.vents
	if p.vents == 0 {
		a.trap(n, one, closing)
	}
}

// trap freezes a piece of air that has no way out left; seed is one of its runs.
func (a *air) trap(id, seed, closing int32) {
	s := a.s
	t := trapped{poured: s.poured, top: seed, topZ: s.hi[seed], level: s.surface(seed), lowest: s.surface(seed), closing: closing}
	a.stamp++
	a.seen[seed] = a.stamp
	t.runs = append(t.runs, seed)
	var buf []int32
	for at := 0; at < len(t.runs); at++ {
		r := t.runs[at]
		buf = a.around(r, buf[:0])
		for _, u := range buf {
			if a.seen[u] != a.stamp {
				a.seen[u] = a.stamp
				t.runs = append(t.runs, u)
			}
		}
	}
	for _, r := range t.runs {
		z := s.surface(r)
		t.volume += (s.hi[r] - z) * s.area
		t.level, t.lowest = max(t.level, z), min(t.lowest, z)
		if s.hi[r] > t.topZ || (s.hi[r] == t.topZ && r < t.top) {
			t.top, t.topZ = r, s.hi[r]
		}
	}
	for _, r := range t.runs {
		z := s.surface(r)
		if s.wet[r] {
			s.pools[s.poolOf(s.b.nodeOf[r])].wetOpen--
		}
		s.state[r], s.level[r] = frozen, z
	}
	a.pieces[id].runs = 0
	a.pocket = append(a.pocket, t)
}
