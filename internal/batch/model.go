package batch

import (
	"fmt"

	"mouldwright/internal/batch/finite"
)

// mix is a number of shots of one version from one cup.
type mix struct{ version, shots int }

// load is what goes into the pot together: one mix or more.
type load []mix

// model turns loads into jobs for package finite.
type model struct {
	b       *Bench
	shop    *finite.Shop
	hands   int
	station int
	pot     int   // −1 without
	vacuum  int   // −1 without
	shelf   int   // −1 for any number
	moulds  []int // first resource of each tool
	jobs    map[string]*finite.Job
	kinds   map[*finite.Job][]stepKind
	loads   map[*finite.Job]load
	keys    map[*finite.Job]string // of loads, by their make-up

	firstDemould map[*finite.Job]int // the task from which a load's demoulding is
	now          int64               // nothing that has not happened starts before
}

// stepKind says what a task of a job is to the bench.
type stepKind struct {
	kind      string
	mix, shot int // within the load; −1 for all
	version   int // −1 for all
}

// The kinds of steps, in the order a shot meets them.
const (
	stepCoat    = "coat"
	stepPurge   = "purge"
	stepMix     = "mix"
	stepDegas   = "degas"
	stepPour    = "pour"
	stepClose   = "close"
	stepLoad    = "load pot"
	stepPress   = "pressure"
	stepUnload  = "unload pot"
	stepDemould = "demould"
	stepTrim    = "trim"
)

func newModel(b *Bench) *model {
	m := &model{b: b, pot: -1, vacuum: -1, shelf: -1, jobs: map[string]*finite.Job{}, kinds: map[*finite.Job][]stepKind{}, loads: map[*finite.Job]load{}, keys: map[*finite.Job]string{}, firstDemould: map[*finite.Job]int{}}
	s := &finite.Shop{Horizon: int64(b.Days) * day, States: map[int]string{}}
	add := func(r finite.Resource) int {
		s.Resources = append(s.Resources, r)
		return len(s.Resources) - 1
	}
	m.hands = add(finite.Resource{Name: "an operator", Capacity: b.Operators, Windows: b.windows()})
	m.station = add(finite.Resource{Name: "the mixing place", Capacity: 1})
	if b.Pot != nil {
		m.pot = add(finite.Resource{Name: "the pressure pot", Capacity: b.Pot.Count})
	}
	if b.Vacuum != nil {
		m.vacuum = add(finite.Resource{Name: "the vacuum chamber", Capacity: b.Vacuum.Count})
	}
	if b.Shelf > 0 {
		m.shelf = add(finite.Resource{Name: "the shelf", Capacity: b.Shelf})
	}
	for t := range b.Tools {
		tool := &b.Tools[t]
		m.moulds = append(m.moulds, len(s.Resources))
		for k := range tool.Count {
			r := finite.Resource{Name: tool.MouldName(k), Capacity: 1}
			switch left := tool.left(k); {
			case left > 0:
				r.Uses = left
			case left == 0:
				r.Capacity = 0 // worn out
			}
			add(r)
		}
	}
	m.shop = s
	return m
}

// jobBuilder collects the tasks of one load.
type jobBuilder struct {
	m     *model
	job   *finite.Job
	kinds []stepKind
}

func (jb *jobBuilder) task(k stepKind, t finite.Task) int {
	jb.job.Tasks = append(jb.job.Tasks, t)
	jb.kinds = append(jb.kinds, k)
	return len(jb.job.Tasks) - 1
}

// byHand is a task of one operator.
func (jb *jobBuilder) byHand(k stepKind, name string, s int64) int {
	return jb.task(k, finite.Task{Name: name, Seconds: s, Station: finite.NoStation, Needs: []finite.Need{{Resource: jb.m.hands, Units: 1}}})
}

func (jb *jobBuilder) lag(from, to int, least, most int64) {
	jb.job.Lags = append(jb.job.Lags, finite.Lag{From: from, To: to, Min: least, Max: most})
}

// loadJob gives the job of a load; equal loads share one, since a job does not change.
func (m *model) loadJob(ld load) *finite.Job {
	key := fmt.Sprint(ld)
	if j := m.jobs[key]; j != nil {
		return j
	}
	jb := &jobBuilder{m: m, job: &finite.Job{Name: "load", Release: m.now}}
	var coats, pours, closes [][]int
	for i, mx := range ld { // coats first: they may be done ahead
		r := m.recipe(mx)
		var c []int
		for s := range mx.shots {
			c = append(c, jb.byHand(stepKind{stepCoat, i, s, mx.version}, "release coat", r.CoatS))
		}
		coats = append(coats, c)
	}
	var mixes []int
	for i, mx := range ld {
		mt, p, c := jb.mixAndPour(i, mx, coats[i])
		mixes, pours, closes = append(mixes, mt), append(pours, p), append(closes, c)
	}
	out := jb.potOrShelf(ld, mixes, closes)
	m.firstDemould[jb.job] = len(jb.job.Tasks)
	for i, mx := range ld {
		r := m.recipe(mx)
		for s := range mx.shots {
			d := jb.byHand(stepKind{stepDemould, i, s, mx.version}, "demould", r.DemouldS)
			jb.lag(pours[i][s], d, r.CureS, finite.NoMax)
			from := closes[i][s]
			if out >= 0 {
				from = out
			}
			jb.lag(from, d, 0, finite.NoMax)
			jb.job.Holds = append(jb.job.Holds, finite.Hold{From: coats[i][s], To: d, Choice: m.choice(mx.version), Units: 1})
			if m.shelf >= 0 {
				jb.job.Holds = append(jb.job.Holds, finite.Hold{From: from, To: d, Choice: []int{m.shelf}, Units: 1})
			}
		}
	}
	m.jobs[key], m.kinds[jb.job], m.loads[jb.job] = jb.job, jb.kinds, ld
	m.keys[jb.job] = key
	return jb.job
}

// loadOf is the load that a job was made for.
func (m *model) loadOf(j *finite.Job) load { return m.loads[j] }

func (m *model) recipe(mx mix) *Recipe { return &m.b.Recipes[m.b.Versions[mx.version].Recipe] }

func (m *model) choice(version int) []int {
	t := m.b.Versions[version].Tool
	out := make([]int, m.b.Tools[t].Count)
	for k := range out {
		out[k] = m.moulds[t] + k
	}
	return out
}

// cupWaitS is how long a cup may stand before it is degassed, and before its first pour: not at all. A
// mix that is made early only uses up its pot life (common practice, no source).
const cupWaitS = 0

// mixAndPour adds a purge if the colour changed, the mix, its degassing, and pour and close of each
// mould, all closed within the pot life.
func (jb *jobBuilder) mixAndPour(i int, mx mix, coats []int) (mixTask int, pours, closes []int) {
	m := jb.m
	r, colour := m.recipe(mx), m.b.Versions[mx.version].Colour
	one := []finite.Need{{Resource: m.hands, Units: 1}, {Resource: m.station, Units: 1}}
	purge := jb.task(stepKind{stepPurge, i, -1, mx.version}, finite.Task{Name: "purge", Seconds: m.b.Mixing.PurgeS, Needs: one, Station: m.station, State: colour, IsChange: true})
	mixTask = jb.task(stepKind{stepMix, i, -1, mx.version}, finite.Task{Name: "mix", Seconds: r.MixS, Needs: one, Station: m.station, State: colour})
	jb.lag(purge, mixTask, 0, finite.NoMax)
	ready := mixTask
	if m.vacuum >= 0 && r.DegasS > 0 {
		ready = jb.task(stepKind{stepDegas, i, -1, mx.version}, finite.Task{Name: "degas", Seconds: r.DegasS, Station: finite.NoStation, Needs: []finite.Need{{Resource: m.vacuum, Units: 1}}})
		jb.lag(mixTask, ready, 0, cupWaitS)
	}
	for s := range mx.shots {
		p := jb.byHand(stepKind{stepPour, i, s, mx.version}, "pour", r.PourS)
		c := jb.byHand(stepKind{stepClose, i, s, mx.version}, "close", r.CloseS)
		wait := finite.NoMax
		if s == 0 {
			wait = cupWaitS
		}
		jb.lag(ready, p, 0, wait)
		jb.lag(coats[s], p, r.DryS, r.CoatValidS)
		jb.lag(p, c, 0, finite.NoMax)
		jb.lag(mixTask, c, 0, r.PotLifeS-r.MixS-r.CloseS)
		pours, closes = append(pours, p), append(closes, c)
	}
	return mixTask, pours, closes
}

// potOrShelf adds the pot's steps if the load cures under pressure, and gives the last; else −1.
func (jb *jobBuilder) potOrShelf(ld load, mixes []int, closes [][]int) int {
	m := jb.m
	var loadS, pressS, unloadS int64
	for _, mx := range ld {
		r := m.recipe(mx)
		if r.PressureS > 0 {
			loadS, pressS, unloadS = max(loadS, r.LoadS), max(pressS, r.PressureS), max(unloadS, r.UnloadS)
		}
	}
	if m.pot < 0 || pressS == 0 {
		return -1
	}
	all := stepKind{"", -1, -1, -1}
	kind := func(k string) stepKind { all.kind = k; return all }
	in := jb.byHand(kind(stepLoad), "load the pot", loadS)
	for i, mx := range ld {
		for _, c := range closes[i] {
			jb.lag(c, in, 0, finite.NoMax)
		}
		r := m.recipe(mx)
		jb.lag(mixes[i], in, 0, r.PotLifeS-r.MixS-loadS)
	}
	press := jb.task(kind(stepPress), finite.Task{Name: "cure under pressure", Seconds: pressS, Station: finite.NoStation})
	out := jb.byHand(kind(stepUnload), "unload the pot", unloadS)
	jb.lag(in, press, 0, 0)
	jb.lag(press, out, 0, finite.NoMax)
	jb.job.Holds = append(jb.job.Holds, finite.Hold{From: in, To: out, Choice: []int{m.pot}, Units: 1})
	return out
}

// trimJob trims all parts of a load that was placed as number k.
func (m *model) trimJob(ld load, k int, placed *finite.Placement) *finite.Job {
	jb := &jobBuilder{m: m, job: &finite.Job{Name: "trim", Release: m.now}}
	last := -1
	for d, kind := range m.kinds[placed.Job] {
		if kind.kind != stepDemould {
			continue
		}
		r := &m.b.Recipes[m.b.Versions[kind.version].Recipe]
		if r.TrimS == 0 {
			continue
		}
		kind.kind = stepTrim
		for range m.b.Tools[m.b.Versions[kind.version].Tool].Cavities {
			t := jb.byHand(kind, "trim", r.TrimS)
			if last >= 0 {
				jb.lag(last, t, 0, finite.NoMax)
			}
			last = t
		}
		jb.job.After = append(jb.job.After, finite.Ref{Job: k, Task: d})
	}
	if last < 0 {
		return nil
	}
	m.kinds[jb.job] = jb.kinds
	return jb.job
}

// feasible says whether a load can be made at all: enough moulds, room in the pot, and every mix
// closed and in the pot within its pot life when nothing comes between.
func (m *model) feasible(ld load) bool {
	b := m.b
	need := map[int]int{}
	var boxes [][3]float64
	pressure := 0
	for i, mx := range ld {
		v := &b.Versions[mx.version]
		need[v.Tool] += mx.shots
		if need[v.Tool] > b.Tools[v.Tool].usable() {
			return false
		}
		r := m.recipe(mx)
		if r.PressureS > 0 {
			pressure++
		}
		for range mx.shots {
			boxes = append(boxes, b.Tools[v.Tool].BoxMM)
		}
		s := int64(0) // from the start of mix i on
		for k := i; k < len(ld); k++ {
			rk := m.recipe(ld[k])
			turns := int64((ld[k].shots + b.Operators - 1) / b.Operators)
			s += rk.MixS + rk.DegasS + turns*(rk.PourS+rk.CloseS)
			if k > i && b.Versions[ld[k].version].Colour != b.Versions[ld[k-1].version].Colour {
				s += b.Mixing.PurgeS
			}
		}
		if s+r.LoadS > r.PotLifeS && (r.PressureS > 0 || len(ld) > 1) {
			return false
		}
	}
	if len(ld) > 1 && (b.Pot == nil || pressure < len(ld)) {
		return false
	}
	if b.Pot != nil && pressure > 0 {
		_, ok := b.Pot.Pack(boxes)
		return ok
	}
	return true
}
