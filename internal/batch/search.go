package batch

import (
	"context"
	"fmt"
	"math/rand/v2"
	"sort"
	"time"

	"mouldwright/internal/batch/finite"
)

// Options steers Make; the zero value is sensible.
type Options struct {
	Seed       uint64
	Iterations int           // schedules built in the search; 0: by the size of the batch
	TimeLimit  time.Duration // looked at between rounds of roundLength schedules; 0 is none
	Progress   func(done float64)
	Before     *History // what happened so far; nil: nothing

	like *Plan // of nearly the same bench, to begin with; nil: rules alone
}

// roundLength is how many schedules are built between looks at the clock, so that the clock only
// chooses how many rounds are done.
const roundLength = 16

// value of a schedule: how late the versions are in all, when all is done, and how soon the parts are
// ready on the whole. The first that differs decides.
type value = finite.Value

// built is a list of loads with its schedule.
type built struct {
	loads    []load
	wait     []int8 // for how many loads the demoulding of each waits; those begun are not among them
	schedule *finite.Schedule
	loadOf   []int // load of each placement; trims have their load's
	value    value
}

type searcher struct {
	ctx     context.Context // looked at before every load
	m       *model
	l       *limits
	want    []int // shots of each version
	history *History
	rng     *rand.Rand
	fits    map[string]bool
	builds  int
	bound   int64      // no plan ends sooner
	last    *lastLoads // what the last plan had still to come; nil for a first plan
}

// build places the loads in order, then all trimming in the order of demoulding, which fills what
// time is left.
func (s *searcher) build(loads []load, wait []int8) (*built, error) {
	s.builds++
	sched := finite.NewSchedule(s.m.shop)
	out := &built{loads: s.withHistory(loads), wait: fitted(wait, len(loads)), schedule: sched}
	open := &openMoulds{m: s.m, sched: sched}
	for k, ld := range out.loads {
		if err := s.ctx.Err(); err != nil {
			return nil, err
		}
		if k < s.begun() {
			if err := s.placeBegun(sched, k); err != nil {
				return nil, err
			}
		} else if err := open.place(ld, out.wait[k-s.begun()]); err != nil {
			return nil, err
		}
		out.loadOf = append(out.loadOf, k)
	}
	if err := open.finish(len(open.pending)); err != nil {
		return nil, err
	}
	trimmed, err := s.trims(sched, out.loads)
	if err != nil {
		return nil, err
	}
	out.loadOf = append(out.loadOf, trimmed...)
	out.value = s.rate(sched)
	return out, nil
}

// waitLong lets a demoulding wait until its mould is wanted or all loads are placed.
const waitLong = int8(100)

// fitted is a list of waits for n loads.
func fitted(wait []int8, n int) []int8 {
	out := make([]int8, n)
	copy(out, wait)
	return out
}

func waits(n int, w int8) []int8 {
	out := make([]int8, n)
	for k := range out {
		out[k] = w
	}
	return out
}

// openMoulds places loads whose demoulding waits while later loads are placed before it.
type openMoulds struct {
	m       *model
	sched   *finite.Schedule
	pending []openLoad
}

type openLoad struct {
	placed *finite.Placement
	load   load
	left   int8 // how many loads it still lets pass
}

// place places a load. Moulds that it needs are opened first.
func (o *openMoulds) place(ld load, wait int8) error {
	for _, mx := range ld {
		tool := o.m.b.Versions[mx.version].Tool
		if err := o.makeRoom(tool, ld); err != nil {
			return err
		}
	}
	job := o.m.loadJob(ld)
	if wait == 0 {
		if _, err := o.sched.Place(job); err != nil {
			return err
		}
	} else {
		pl, err := o.sched.PlaceOpen(job, o.m.firstDemould[job])
		if err != nil {
			return err
		}
		o.pending = append(o.pending, openLoad{pl, ld, wait})
	}
	n := 0
	for k := range o.pending {
		if o.pending[k].placed.Job != job || k < len(o.pending)-1 {
			o.pending[k].left--
		}
		if o.pending[k].left <= 0 {
			n = k + 1
		}
	}
	return o.finish(n)
}

// makeRoom opens moulds of a tool, the first poured first, until as many are not waiting as the load needs.
func (o *openMoulds) makeRoom(tool int, ld load) error {
	need := 0
	for _, mx := range ld {
		if o.m.b.Versions[mx.version].Tool == tool {
			need += mx.shots
		}
	}
	for {
		waiting, last := 0, 0
		for k, p := range o.pending {
			for _, mx := range p.load {
				if o.m.b.Versions[mx.version].Tool == tool {
					waiting += mx.shots
					if last == 0 {
						last = k + 1
					}
				}
			}
		}
		if waiting == 0 || o.m.b.Tools[tool].usable()-waiting >= need {
			return nil
		}
		if err := o.finish(last); err != nil {
			return err
		}
	}
}

// finish demoulds the first n that wait.
func (o *openMoulds) finish(n int) error {
	for _, p := range o.pending[:n] {
		if err := o.sched.Finish(p.placed); err != nil {
			return err
		}
	}
	o.pending = append(o.pending[:0], o.pending[n:]...)
	return nil
}

// begun is how many loads the history has.
func (s *searcher) begun() int {
	if s.history == nil {
		return 0
	}
	return len(s.history.Loads)
}

// withHistory lists the loads that were begun and then those to come.
func (s *searcher) withHistory(loads []load) []load {
	if s.history == nil {
		return append([]load(nil), loads...)
	}
	return append(s.history.loads(), loads...)
}

func (s *searcher) placeBegun(sched *finite.Schedule, k int) error {
	if _, err := sched.Place(s.history.job(s.m, k)); err != nil {
		return &HistoryError{s.history.Loads[k].plan.Name, "what was begun cannot be finished within its limits; note all that happened of it, or list it under spoiled_loads: " + err.Error()}
	}
	return nil
}

// trims places the trimming of every load, and gives the load of each job that it placed.
func (s *searcher) trims(sched *finite.Schedule, loads []load) (loadOf []int, err error) {
	order := make([]int, len(loads))
	for k := range order {
		order[k] = k
	}
	placed := sched.Placed()
	sort.SliceStable(order, func(a, b int) bool { return placed[order[a]].LastEnd() < placed[order[b]].LastEnd() })
	for _, k := range order {
		if err := s.ctx.Err(); err != nil {
			return nil, err
		}
		var job *finite.Job
		if k < s.begun() {
			job = s.history.trimJob(s.m, k, placed[k])
		} else {
			job = s.m.trimJob(loads[k], k, placed[k])
		}
		if job == nil {
			continue
		}
		if _, err := sched.Place(job); err != nil {
			return nil, err
		}
		loadOf = append(loadOf, k)
	}
	return loadOf, nil
}

// order searches for a better order of the loads that were made up, by the critical path (package finite).
func (s *searcher) order(best *built, opt Options, iterations int) (*built, error) {
	loads := best.loads[s.begun():]
	if len(loads) < 2 || iterations < 1 {
		return best, nil
	}
	p := &finite.Problem{Shop: s.m.shop, Value: func(sched *finite.Schedule) finite.Value { s.builds++; return s.rate(sched) }}
	for _, ld := range loads {
		p.Jobs = append(p.Jobs, s.m.loadJob(ld))
	}
	for k := range s.begun() {
		p.First = append(p.First, s.history.job(s.m, k))
	}
	p.Then = func(sched *finite.Schedule) error {
		placed := make([]load, len(sched.Placed()))
		for k, pl := range sched.Placed() {
			placed[k] = s.m.loadOf(pl.Job)
		}
		_, err := s.trims(sched, placed)
		return err
	}
	start := make([]int, len(loads))
	for k := range start {
		start[k] = k
	}
	res, err := finite.Solve(s.ctx, p, finite.Options{Seed: opt.Seed, Iterations: iterations, Patience: iterations, Elites: 1, Lanes: 1, Start: start, TimeLimit: opt.TimeLimit})
	if res == nil || !res.Value.Less(best.value) {
		return best, err
	}
	next := make([]load, len(loads))
	for k, i := range res.Order {
		next[k] = loads[i]
	}
	got, buildErr := s.build(next, nil)
	if buildErr != nil || !got.value.Less(best.value) {
		return best, err
	}
	return got, err
}

func (s *searcher) rate(sched *finite.Schedule) (v value) {
	done := make([]int64, len(s.m.b.Versions))
	var sum, end int64
	for _, p := range sched.Placed() {
		for k, kind := range s.m.kinds[p.Job] {
			if kind.kind == stepDemould || kind.kind == stepTrim {
				done[kind.version] = max(done[kind.version], p.End(k))
			}
			if kind.kind == stepTrim || kind.kind == stepDemould && s.m.b.Recipes[s.m.b.Versions[kind.version].Recipe].TrimS == 0 {
				sum += p.End(k)
			}
		}
		end = max(end, p.LastEnd())
	}
	v = value{0, end, sum}
	if s.last != nil {
		v[1] = (end + stillS - 1) / stillS * stillS
		v[2] = s.last.displacement(s, sched)
	}
	for n, e := range done {
		if due := s.m.b.Versions[n].Due; due != nil {
			v[0] += max(0, e-*due) * int64(max(1, s.m.b.Versions[n].Priority))
		}
	}
	return v
}

// feasible remembers what model.feasible said.
func (s *searcher) feasible(ld load) bool {
	key := fmt.Sprint(ld)
	ok, known := s.fits[key]
	if !known {
		ok = s.m.feasible(ld)
		for _, mx := range ld {
			ok = ok && mx.shots <= s.l.perMix[mx.version]
		}
		s.fits[key] = ok
	}
	return ok
}

// starts makes up loads by rule: each number of shots a mix, versions one after the other by due
// date or taking turns, mixes alone or joined two by two where the pot and the pot life allow it.
func (s *searcher) starts() (out [][]load) {
	order := make([]int, len(s.want))
	most := 1
	for v := range order {
		order[v] = v
		most = max(most, s.l.perMix[v])
	}
	due := func(v int) int64 {
		if d := s.m.b.Versions[v].Due; d != nil {
			return *d
		}
		return finite.NoMax
	}
	sort.SliceStable(order, func(a, b int) bool { return due(order[a]) < due(order[b]) })
	sizes := []int{}
	for n := most; n >= 1 && len(sizes) < 6; n-- {
		sizes = append(sizes, n)
	}
	for _, n := range sizes {
		for _, turns := range []bool{false, true} {
			loads := s.deal(order, n, turns)
			out = append(out, loads)
			if j := s.joined(loads); len(j) < len(loads) {
				out = append(out, j)
			}
		}
	}
	return out
}

func (s *searcher) deal(order []int, size int, turns bool) (out []load) {
	left := append([]int(nil), s.want...)
	for again := true; again; {
		again = false
		for _, v := range order {
			for left[v] > 0 {
				n := min(left[v], size, s.l.perMix[v])
				left[v] -= n
				out = append(out, load{{v, n}})
				if turns {
					again = true
					break
				}
			}
		}
	}
	return out
}

func (s *searcher) joined(loads []load) (out []load) {
	for _, ld := range loads {
		if n := len(out); n > 0 {
			if both := s.join(out[n-1], ld); s.feasible(both) {
				out[n-1] = both
				continue
			}
		}
		out = append(out, ld)
	}
	return out
}

// join puts two loads into the pot together; mixes of one version that meet become one, if a cup takes both.
func (s *searcher) join(a, b load) load {
	out := append(load(nil), a...)
	for _, mx := range b {
		if n := len(out) - 1; out[n].version == mx.version && out[n].shots+mx.shots <= s.l.perMix[mx.version] {
			out[n].shots += mx.shots
		} else {
			out = append(out, mx)
		}
	}
	return out
}

// neighbour changes the loads at one place: moves or swaps loads, joins two, parts one, or passes a
// shot from one to another. It returns nil when what was drawn cannot be.
func (s *searcher) neighbour(loads []load) []load {
	n := len(loads)
	out := append([]load(nil), loads...)
	i, j := s.rng.IntN(n), s.rng.IntN(n)
	switch s.rng.IntN(5) {
	case 0: // move
		if i == j {
			return nil
		}
		ld := out[i]
		out = append(out[:i], out[i+1:]...)
		return append(out[:j], append([]load{ld}, out[j:]...)...)
	case 1: // swap
		if i == j || sameLoad(out[i], out[j]) {
			return nil
		}
		out[i], out[j] = out[j], out[i]
		return out
	case 2: // join
		if i == j {
			return nil
		}
		both := s.join(out[i], out[j])
		if !s.feasible(both) {
			return nil
		}
		out[i] = both
		return append(out[:j], out[j+1:]...)
	case 3: // part
		a, b := s.part(out[i])
		if b == nil {
			return nil
		}
		out[i] = a
		return append(out[:i+1], append([]load{b}, out[i+1:]...)...)
	}
	return s.passShot(out, i, j)
}

func sameLoad(a, b load) bool { return fmt.Sprint(a) == fmt.Sprint(b) }

// part splits a load between two mixes, or a mix in two.
func (s *searcher) part(ld load) (a, b load) {
	if len(ld) > 1 {
		k := 1 + s.rng.IntN(len(ld)-1)
		return append(load(nil), ld[:k]...), append(load(nil), ld[k:]...)
	}
	if ld[0].shots < 2 {
		return ld, nil
	}
	k := 1 + s.rng.IntN(ld[0].shots-1)
	return load{{ld[0].version, k}}, load{{ld[0].version, ld[0].shots - k}}
}

// passShot takes a shot from load i to load j.
func (s *searcher) passShot(loads []load, i, j int) []load {
	if i == j {
		return nil
	}
	k := s.rng.IntN(len(loads[i]))
	from := append(load(nil), loads[i]...)
	v := from[k].version
	if from[k].shots--; from[k].shots == 0 {
		from = append(from[:k], from[k+1:]...)
	}
	to := append(load(nil), loads[j]...)
	found := false
	for k := range to {
		if to[k].version == v && to[k].shots < s.l.perMix[v] {
			to[k].shots++
			found = true
			break
		}
	}
	if !found {
		to = append(to, mix{v, 1})
	}
	if !s.feasible(to) || len(from) > 0 && !s.feasible(from) {
		return nil
	}
	loads[j] = to
	loads[i] = from
	if len(from) == 0 {
		loads = append(loads[:i], loads[i+1:]...)
	}
	return loads
}

// search builds every start, then climbs from the best: a neighbour is taken if it is no worse than
// the schedule of a while ago (late acceptance, Burke & Bykov 2017), which lets it cross small
// valleys.
func (s *searcher) search(ctx context.Context, opt Options) (*built, error) {
	var best *built
	var firstErr error
	starts := s.starts()
	if opt.like != nil && s.last == nil {
		like := newLastLoads(s.m, &History{Plan: opt.like})
		starts = append([][]load{like.start(s)}, starts[:min(len(starts), likeRules)]...)
	}
	if s.last != nil {
		starts = append([][]load{s.last.start(s)}, starts...)
	}
	for k, loads := range starts {
		if ctx.Err() != nil || s.last != nil && k > 0 && best != nil {
			break // what was planned last is the start, if it can still be done
		}
		for _, wait := range []int8{0, 1, waitLong} {
			got, err := s.build(loads, waits(len(loads), wait))
			if err != nil {
				if firstErr == nil {
					firstErr = err
				}
				continue
			}
			if best == nil || got.value.Less(best.value) {
				best = got
			}
		}
	}
	if best == nil {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		return nil, firstErr
	}
	if len(best.loads) == s.begun() {
		return best, nil
	}
	iterations := opt.Iterations
	if iterations == 0 {
		iterations = defaultIterations(s.tasks())
		if s.last != nil {
			iterations = max(8, iterations/replanShare)
		}
	}
	best, err := s.climb(ctx, best, opt, iterations)
	if err != nil || s.proven(best) {
		return best, err
	}
	return s.order(best, opt, iterations/orderShare)
}

// likeRules is how many make-ups by rule are tried beside that of a plan of nearly the same bench.
const likeRules = 2

// orderShare is the schedules that are spent on what goes into a load for each change of the order of the
// loads that is searched for; a change tries several schedules.
const orderShare = 16

// replanShare: a plan made anew starts from the last one, and takes this part of the schedules of a first one.
const replanShare = 4

// proven says whether nothing can end sooner, and nothing is late.
func (s *searcher) proven(got *built) bool {
	return s.last == nil && got.value[0] == 0 && got.value[1] <= s.bound
}

// lateLength is how many schedules back the one compared with lies.
const lateLength = 20

func (s *searcher) climb(ctx context.Context, best *built, opt Options, iterations int) (*built, error) {
	begun := time.Now()
	now := best
	past := make([]value, lateLength)
	for k := range past {
		past[k] = now.value
	}
	drawn := 0
	for k := 0; k < iterations && drawn < 50*iterations; drawn++ {
		if s.proven(best) && k > iterations/4 {
			break // the end is proven; a while was spent on earlier parts
		}
		next, wait := now.loads[s.begun():], now.wait
		if len(next) > 0 && s.rng.IntN(4) == 0 {
			wait = append([]int8(nil), wait...)
			wait[s.rng.IntN(len(wait))] = []int8{0, 1, 2, waitLong}[s.rng.IntN(4)]
		} else if next = s.neighbour(next); next == nil {
			continue
		}
		if k%roundLength == 0 && (ctx.Err() != nil || opt.TimeLimit > 0 && time.Since(begun) > opt.TimeLimit) {
			break
		}
		k++
		got, err := s.build(next, wait)
		if err != nil {
			continue
		}
		if !past[k%lateLength].Less(got.value) || !now.value.Less(got.value) {
			now = got
		}
		past[k%lateLength] = now.value
		if now.value.Less(best.value) {
			best = now
		}
		if opt.Progress != nil && k%roundLength == 0 {
			opt.Progress(float64(k) / float64(iterations))
		}
	}
	return best, ctx.Err()
}

// tasks is about how many tasks a schedule has.
func (s *searcher) tasks() (n int) {
	for _, w := range s.want {
		n += 6 * w
	}
	return n
}

// defaultIterations spends about the same work on batches of every size, within reason.
func defaultIterations(tasks int) int {
	return min(3000, max(10, 400_000/max(1, tasks)))
}
