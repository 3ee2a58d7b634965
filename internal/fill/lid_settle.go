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
	area   float64
	sky    []bool
	liquid float64 // resin still in it, mm³
	over   float64 // resin that has run over on coming to this position
	level  float64
	reach  float64   // space that the resin can reach without running over, mm³
	rise   []float64 // of each run: the level at which resin from the seed reaches it; +Inf never
	held   []int32   // number of the pocket that holds the run; −1 open
	gas    []float64 // of each pocket, mm³ (index by pocket)
	face   []float64 // height of a pocket's lower face
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
	s.rise = make([]float64, len(s.lo))
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
	s.rise[start] = s.lo[start]
	brim = math.Inf(1)
	for len(todo) > 0 {
		p := todo.pop()
		if p.rise > s.rise[p.run] {
			continue
		}
		if s.border(p.run) {
			brim = p.rise
			break
		}
		s.near(p.run, func(t int32) {
			if z := max(p.rise, s.lo[t], s.lo[p.run]); z < s.rise[t] {
				s.rise[t] = z
				todo.push(passage{z, t})
			}
		})
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
		s.near(r, func(t int32) {
			if s.lo[t] < s.lo[best] || (s.lo[t] == s.lo[best] && t < best) {
				best = t
			}
		})
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
	out := s.outside()
	// Pockets whose air has reached the open are free: their air leaves.
	old, oldGas := s.held, s.gas
	freed := make([]bool, len(oldGas))
	for i, h := range old {
		if h >= 0 && out[i] {
			freed[h] = true
		}
	}
	seedGas := make([]float64, len(s.lo)) // air newly caught in a run
	in := make([]bool, len(s.lo))
	for i := range s.lo {
		h := old[i]
		if h >= 0 && !freed[h] {
			in[i] = true
			continue
		}
		if h >= 0 || out[i] {
			continue
		}
		if z := s.surfaceOpen(int32(i)); s.hi[i] > z+faceMM {
			in[i], seedGas[i] = true, (s.hi[i]-z)*s.area
		}
	}
	s.held = make([]int32, len(s.lo))
	for i := range s.held {
		s.held[i] = -1
	}
	s.gas, s.face = nil, nil
	var groups [][]int32
	var newGas []float64
	var from []map[int32]bool
	for i := range s.lo {
		if !in[i] || s.held[i] >= 0 {
			continue
		}
		id := int32(len(groups))
		group, gas, olds := []int32{int32(i)}, 0.0, map[int32]bool{}
		s.held[i] = id
		for at := 0; at < len(group); at++ {
			r := group[at]
			gas += seedGas[r]
			if h := old[r]; h >= 0 && !freed[h] {
				olds[h] = true
			}
			s.near(r, func(t int32) {
				if in[t] && s.held[t] < 0 {
					s.held[t] = id
					group = append(group, t)
				}
			})
		}
		groups, newGas, from = append(groups, group), append(newGas, gas), append(from, olds)
	}
	s.share(groups, newGas, from, oldGas, freed)
}

// surfaceOpen is the height of resin or floor in a run that no pocket holds any more.
func (s *lidState) surfaceOpen(r int32) float64 {
	if s.rise[r] < s.level {
		return max(s.level, s.lo[r])
	}
	return s.lo[r]
}

// share gives the air of the old pockets to the groups they have become, the highest first, as much
// as each holds; what none of them holds has been squeezed out below the rim and leaves.
func (s *lidState) share(groups [][]int32, gas []float64, from []map[int32]bool, oldGas []float64, freed []bool) {
	holds := make([]float64, len(groups))
	top := make([]float64, len(groups))
	order := make([]int, len(groups))
	for g, runs := range groups {
		order[g] = g
		top[g] = math.Inf(-1)
		for _, r := range runs {
			holds[g] += (s.hi[r] - s.lo[r]) * s.area
			top[g] = max(top[g], s.hi[r])
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(top[b], top[a]) })
	left := slices.Clone(oldGas)
	for _, g := range order {
		var olds []int32
		for h := range from[g] {
			olds = append(olds, h)
		}
		slices.Sort(olds)
		for _, h := range olds {
			take := min(left[h], max(0, holds[g]-gas[g]))
			gas[g] += take
			left[h] -= take
		}
	}
	for g, runs := range groups {
		s.gas = append(s.gas, gas[g])
		s.face = append(s.face, s.faceOf(runs, gas[g]))
	}
}

// faceOf is the height above which a group of runs holds a volume of air.
func (s *lidState) faceOf(runs []int32, gas float64) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, r := range runs {
		lo, hi = min(lo, s.lo[r]), max(hi, s.hi[r])
	}
	for range 50 {
		z := (lo + hi) / 2
		v := 0.0
		for _, r := range runs {
			v += max(0, s.hi[r]-max(z, s.lo[r])) * s.area
		}
		if v > gas {
			lo = z
		} else {
			hi = z
		}
	}
	return lo
}

// outside marks the runs whose air is joined to the open.
func (s *lidState) outside() []bool {
	out := make([]bool, len(s.lo))
	var queue []int32
	for i := range s.lo {
		if s.sky[i] || s.border(int32(i)) {
			out[i] = true
			queue = append(queue, int32(i))
		}
	}
	for len(queue) > 0 {
		r := queue[len(queue)-1]
		queue = queue[:len(queue)-1]
		z := s.surface(r)
		s.near(r, func(t int32) {
			if !out[t] && min(s.hi[r], s.hi[t]) > max(z, s.surface(t))+faceMM {
				out[t] = true
				queue = append(queue, t)
			}
		})
	}
	return out
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
