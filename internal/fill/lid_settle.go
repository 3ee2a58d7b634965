package fill

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// lidState is resin and air at one position of the lid.
type lidState struct {
	*columns
	joints
	area   float64
	sky    []bool
	mouths []mouth
	liquid float64 // resin still in it, mm³
	over   float64 // resin that has run over on coming to this position
	level  float64
	reach  float64   // space that the resin can reach without running over, mm³
	rise   []float64 // of each run: the level at which resin from the seed reaches it; +Inf never
	held   []int32   // number of the pocket that holds the run; −1 open
	out    []bool    // of each run: its air is joined to the open
	gas    []float64 // of each pocket, mm³ (index by pocket)
	face   []float64 // height of a pocket's lower face
}

// mouth is a vent's, in a run: it lets air out that stands at its height.
type mouth struct {
	run int32
	z   float64
}

// mouth finds the run in whose ceiling a vent at a point of the frame ends.
func (s *lidState) mouth(p r3.Vec) (mouth, bool) {
	i, j := s.cell(p.X, p.Y)
	k := j*s.nx + i
	best, off := int32(-1), math.Inf(1)
	for r := s.first[k]; r < s.first[k+1]; r++ {
		if d := math.Abs(s.hi[r] - p.Z); !s.sky[r] && d < off {
			best, off = r, d
		}
	}
	if best < 0 {
		return mouth{}, false
	}
	return mouth{best, min(p.Z, s.hi[best])}, true
}

// settle finds where resin and air are, given the state before.
func (s *lidState) settle(r *lidRun) error {
	s.carry(r.prev)
	brim, err := s.flood(r)
	if err != nil {
		return err
	}
	s.balance(brim)
	// Air that moves may free itself and that changes the level, a little each time.
	for range settleRounds {
		before := s.trapped()
		s.sortAir()
		s.balance(brim)
		if s.trapped() == before {
			break
		}
	}
	return nil
}

// settleRounds bounds the exchange between level and air at one position; each step of the lid
// carries on where the last one ended.
const settleRounds = 4

// carry takes the pockets over from the position before: each run takes that of the run below it in
// the same column which it overlaps most.
func (s *lidState) carry(prev *lidState) {
	s.gas = nil
	if prev == nil {
		return
	}
	s.gas = slices.Clone(prev.gas)
	s.face = slices.Clone(prev.face)
	for k := range s.nx * s.ny {
		for i := s.first[k]; i < s.first[k+1]; i++ {
			best := 0.0
			for j := prev.first[k]; j < prev.first[k+1]; j++ {
				if d := min(s.hi[i], prev.hi[j]) - max(s.lo[i], prev.lo[j]); d > best && !s.sky[i] {
					best, s.held[i] = d, prev.held[j]
				}
			}
		}
	}
}

// passage is a run that resin can reach, with the level it takes.
type passage struct {
	rise float64
	run  int32
}

func (p passage) Before(o passage) bool {
	return p.rise < o.rise || (p.rise == o.rise && p.run < o.run)
}

// flood finds the level at which resin from the seed reaches each run, and the brim: the level at
// which it gets out, +Inf when it cannot.
func (s *lidState) flood(r *lidRun) (brim float64, err error) {
	for i := range s.rise {
		s.rise[i] = math.Inf(1)
	}
	start, ok := s.at(r.seed)
	if ok && (r.seed.Z < s.lo[start]-s.pitch || r.seed.Z > s.hi[start]+s.pitch) {
		ok = false
	}
	if !ok || s.border(start) {
		return 0, &OutsideError{"the place where resin is poured", r.Into, r.Into, 0}
	}
	start = s.downhill(start)
	todo := queue[passage]{{s.lo[start], start}}
	var pool []int32 // runs that resin reaches at the level it has come to
	s.rise[start] = s.lo[start]
	brim = math.Inf(1)
	for len(todo) > 0 && math.IsInf(brim, 1) {
		p := todo.pop()
		if p.rise > s.rise[p.run] {
			continue
		}
		pool = append(pool[:0], p.run)
		for len(pool) > 0 {
			r := pool[len(pool)-1]
			pool = pool[:len(pool)-1]
			if s.border(r) {
				brim = p.rise
				break
			}
			for _, t := range s.of(r) {
				switch z := max(p.rise, s.lo[t]); {
				case z >= s.rise[t]:
				case z == p.rise:
					s.rise[t] = z
					pool = append(pool, t)
				default:
					s.rise[t] = z
					todo.push(passage{z, t})
				}
			}
		}
	}
	for i := range s.rise {
		if s.rise[i] >= brim {
			s.rise[i] = math.Inf(1)
		}
	}
	return brim, nil
}

// downhill is where resin poured onto a run collects.
func (s *lidState) downhill(r int32) int32 {
	for {
		best := r
		for _, t := range s.of(r) {
			if s.lo[t] < s.lo[best] || (s.lo[t] == s.lo[best] && t < best) {
				best = t
			}
		}
		if best == r || s.border(best) {
			return r
		}
		r = best
	}
}

// border says whether a run is in the outermost ring of columns: outside the mould.
func (s *lidState) border(r int32) bool {
	i, j := int(s.column[r])%s.nx, int(s.column[r])/s.nx
	return i == 0 || j == 0 || i == s.nx-1 || j == s.ny-1
}

// balance finds the level at which the resin has its volume, and lets run over what the brim does not
// hold.
func (s *lidState) balance(brim float64) {
	held := 0.0 // space in the pockets that is not air
	top := math.Inf(-1)
	s.reach = 0
	for i := range s.lo {
		if s.held[i] >= 0 {
			held += (s.hi[i] - s.lo[i]) * s.area
		}
		if !math.IsInf(s.rise[i], 1) {
			top = max(top, min(s.hi[i], brim))
			s.reach += (min(s.hi[i], max(s.lo[i], brim)) - s.lo[i]) * s.area
		}
	}
	for _, g := range s.gas {
		held -= g
	}
	fits, _ := s.below(top)
	fits += held
	if s.liquid > fits {
		s.over += s.liquid - fits
		s.liquid = fits
		s.level = top
		return
	}
	lo, hi := math.Inf(1), top
	for i := range s.lo {
		if !math.IsInf(s.rise[i], 1) {
			lo = min(lo, s.lo[i])
		}
	}
	// The space below a level grows piece by piece in straight lines: Newton's step lands on the level
	// once it is on the right piece; halving keeps it between the bounds.
	z := (lo + hi) / 2
	for range 60 {
		v, area := s.below(z)
		if v += held - s.liquid; v > 0 {
			hi = z
		} else {
			lo = z
		}
		next := z - v/area
		if !(next > lo && next < hi) {
			next = (lo + hi) / 2
		}
		if next == z || hi-lo < levelShare*s.pitch {
			break
		}
		z = next
	}
	s.level = z
}

// levelShare of the pitch: a level is not worth knowing better.
const levelShare = 1e-12

// below is the open space below a level that resin reaches, and the surface it has there.
func (s *lidState) below(z float64) (mm3, mm2 float64) {
	for i, rise := range s.rise {
		if rise < z && s.held[i] < 0 {
			if hi := s.hi[i]; hi < z {
				mm3 += hi - s.lo[i]
			} else {
				mm3 += z - s.lo[i]
				mm2++
			}
		}
	}
	return mm3 * s.area, mm2 * s.area
}

// surface is the height of the lower face of the air in a run.
func (s *lidState) surface(r int32) float64 {
	switch {
	case s.held[r] >= 0:
		return s.face[s.held[r]]
	case s.rise[r] < s.level:
		return s.level
	}
	return s.lo[r]
}

// sortAir finds which air has a way out at this level, and gathers what has none into pockets.
func (s *lidState) sortAir() {
	s.findOut()
	// Pockets whose air has reached the open are free: their air leaves.
	old, oldGas := s.held, s.gas
	freed := make([]bool, len(oldGas))
	for i, h := range old {
		if h >= 0 && s.out[i] {
			freed[h] = true
		}
	}
	s.held = make([]int32, len(s.lo))
	for i := range s.held {
		s.held[i] = noPocket
	}
	caught := make(map[int32]float64) // air newly caught, by run
	waiting := make([]int32, 0, 64)   // runs with air that has no way out
	for i := range s.lo {
		h := old[i]
		switch {
		case h >= 0 && !freed[h]:
		case h >= 0 || s.out[i]:
			continue
		default:
			z := s.surfaceOpen(int32(i))
			if !(s.hi[i] > z+faceMM) {
				continue
			}
			caught[int32(i)] = (s.hi[i] - z) * s.area
		}
		s.held[i] = unsorted
		waiting = append(waiting, int32(i))
	}
	var pockets []pocket
	for _, i := range waiting {
		if s.held[i] != unsorted {
			continue
		}
		id := int32(len(pockets))
		p := pocket{runs: []int32{i}}
		s.held[i] = id
		for at := 0; at < len(p.runs); at++ {
			r := p.runs[at]
			p.gas += caught[r]
			if h := old[r]; h >= 0 && !freed[h] {
				p.from = append(p.from, h)
			}
			for _, t := range s.of(r) {
				if s.held[t] == unsorted {
					s.held[t] = id
					p.runs = append(p.runs, t)
				}
			}
		}
		slices.Sort(p.from)
		p.from = slices.Compact(p.from)
		pockets = append(pockets, p)
	}
	s.share(pockets, oldGas)
}

const (
	// noPocket holds a run whose air is free, or that has none.
	noPocket int32 = -1
	// unsorted marks a run whose air is caught, in a pocket that is not known yet.
	unsorted int32 = -2
)

// pocket is air without a way out: the runs it stands in, its volume, and the pockets of the position
// before that it comes from.
type pocket struct {
	runs []int32
	from []int32
	gas  float64
}

// surfaceOpen is the height of resin or floor in a run that no pocket holds any more.
func (s *lidState) surfaceOpen(r int32) float64 {
	if s.rise[r] < s.level {
		return max(s.level, s.lo[r])
	}
	return s.lo[r]
}

// share gives the air of the old pockets to those they have become, the highest first, as much as each
// holds; what none of them holds has been squeezed out below the rim and leaves.
func (s *lidState) share(pockets []pocket, oldGas []float64) {
	order := make([]int, len(pockets))
	top, holds := make([]float64, len(pockets)), make([]float64, len(pockets))
	for g, p := range pockets {
		order[g], top[g] = g, math.Inf(-1)
		for _, r := range p.runs {
			holds[g] += (s.hi[r] - s.lo[r]) * s.area
			top[g] = max(top[g], s.hi[r])
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(top[b], top[a]) })
	left := slices.Clone(oldGas)
	for _, g := range order {
		p := &pockets[g]
		for _, h := range p.from {
			take := min(left[h], max(0, holds[g]-p.gas))
			p.gas += take
			left[h] -= take
		}
	}
	s.gas, s.face = make([]float64, len(pockets)), make([]float64, len(pockets))
	for g, p := range pockets {
		s.gas[g], s.face[g] = p.gas, s.faceOf(p)
	}
}

// faceOf is the height above which a pocket's runs hold its air: Newton's steps, kept between bounds by
// halving, as for the level of the resin.
func (s *lidState) faceOf(p pocket) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, r := range p.runs {
		lo, hi = min(lo, s.lo[r]), max(hi, s.hi[r])
	}
	z := (lo + hi) / 2
	for range 60 {
		v, area := -p.gas, 0.0
		for _, r := range p.runs {
			if top := s.hi[r]; top > z {
				v += (top - max(z, s.lo[r])) * s.area
				if s.lo[r] < z {
					area += s.area
				}
			}
		}
		if v > 0 {
			lo = z
		} else {
			hi = z
		}
		next := z + v/area
		if !(next > lo && next < hi) {
			next = (lo + hi) / 2
		}
		if next == z || hi-lo < levelShare*s.pitch {
			break
		}
		z = next
	}
	return z
}

// findOut marks the runs whose air is joined to the open: above the pieces, beside them, or by a vent.
func (s *lidState) findOut() {
	var queue []int32
	for i := range s.lo {
		s.out[i] = s.sky[i] || s.border(int32(i))
		if s.out[i] {
			queue = append(queue, int32(i))
		}
	}
	for _, m := range s.mouths {
		if !s.out[m.run] && m.z > s.surface(m.run)+faceMM {
			s.out[m.run] = true
			queue = append(queue, m.run)
		}
	}
	for len(queue) > 0 {
		r := queue[len(queue)-1]
		queue = queue[:len(queue)-1]
		z := s.surface(r)
		for _, t := range s.of(r) {
			if !s.out[t] && min(s.hi[r], s.hi[t]) > max(z, s.surface(t))+faceMM {
				s.out[t] = true
				queue = append(queue, t)
			}
		}
	}
}

// swallowed says whether somewhere under the lid more than deep mm of air has gone since the state
// before, and the resin stands over the ceiling now.
func (s *lidState) swallowed(prev *lidState, deep float64) bool {
	for k := range s.nx * s.ny {
		for i := s.first[k]; i < s.first[k+1]; i++ {
			if s.sky[i] || s.held[i] >= 0 || !(s.rise[i] < s.level && s.hi[i] <= s.level) {
				continue
			}
			for j := prev.first[k]; j < prev.first[k+1]; j++ {
				if prev.held[j] < 0 && !prev.sky[j] && prev.lo[j] < s.hi[i] && s.lo[i] < prev.hi[j] && prev.hi[j]-prev.surface(j) > deep {
					return true
				}
			}
		}
	}
	return false
}

// trapped is the air in all pockets.
func (s *lidState) trapped() float64 {
	v := 0.0
	for _, g := range s.gas {
		v += g
	}
	return v
}

// pocket is the highest point of the largest pocket, in the frame.
func (s *lidState) pocket() r3.Vec {
	best := int32(-1)
	for g := range s.gas {
		if best < 0 || s.gas[g] > s.gas[best] {
			best = int32(g)
		}
	}
	at := r3.Vec{Z: math.Inf(-1)}
	for i, h := range s.held {
		if h >= 0 && h == best && s.hi[i] > at.Z {
			at = s.point(int32(i), s.hi[i])
		}
	}
	if best < 0 {
		return r3.Vec{}
	}
	return at
}
