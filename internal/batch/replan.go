package batch

import (
	"fmt"
	"slices"
	"sort"

	"mouldwright/internal/batch/finite"
)

// stillS is how much sooner a plan made anew must end, or how much less late it must be, before loads are
// moved for it: people have read the last plan (common practice, no source).
const stillS = 15 * 60

// lastLoads are the loads of the last plan that are still to come, by their make-up.
type lastLoads struct {
	of    map[string][]lastLoad
	loads []load // in the order in which they were placed
}

type lastLoad struct {
	plan   *LoadPlan
	startS int64
}

// newLastLoads lists what the last plan had still to come. A load of a version that is gone is left out.
func newLastLoads(m *model, h *History) *lastLoads {
	l := &lastLoads{of: map[string][]lastLoad{}}
	begun := map[string]bool{}
	for _, bg := range h.Loads {
		begun[bg.plan.Name] = true
	}
	starts := h.Plan.loadStarts()
	var to []*LoadPlan
	for i := range h.Plan.Loads {
		if lp := &h.Plan.Loads[i]; !begun[lp.Name] && !slices.Contains(h.Spoiled, lp.Name) {
			to = append(to, lp)
		}
	}
	for _, lp := range to {
		var ld load
		for _, mp := range lp.Mixes {
			if v := m.b.version(mp.Version); v >= 0 {
				ld = append(ld, mix{v, len(mp.Moulds)})
			}
		}
		if len(ld) == len(lp.Mixes) {
			key := fmt.Sprint(ld)
			l.of[key] = append(l.of[key], lastLoad{lp, starts[lp.Name]})
			l.loads = append(l.loads, ld)
		}
	}
	for _, same := range l.of {
		sort.SliceStable(same, func(a, b int) bool { return same[a].startS < same[b].startS })
	}
	return l
}

// loadStarts is when each load begins.
func (p *Plan) loadStarts() map[string]int64 {
	out := map[string]int64{}
	for i := range p.Steps { // by start
		if s := &p.Steps[i]; s.Kind != stepTrim {
			if _, ok := out[s.Load]; !ok {
				out[s.Load] = s.StartS
			}
		}
	}
	return out
}

// start is the last plan's loads as far as they are still wanted, and what is wanted besides.
func (l *lastLoads) start(s *searcher) (out []load) {
	left := append([]int(nil), s.want...)
	for _, ld := range l.loads {
		var keep load
		for _, mx := range ld {
			n := min(mx.shots, left[mx.version], s.l.perMix[mx.version])
			if left[mx.version] -= n; n > 0 {
				keep = append(keep, mix{mx.version, n})
			}
		}
		if len(keep) > 0 && s.feasible(keep) {
			out = append(out, keep)
			continue
		}
		for _, mx := range keep {
			left[mx.version] += mx.shots
		}
	}
	for v, n := range left {
		for n > 0 {
			k := min(n, s.l.perMix[v])
			out = append(out, load{{v, k}})
			n -= k
		}
	}
	return out
}

// match pairs the loads of a schedule that are still to come with those of the last plan of the same
// make-up, in the order of their starts.
func (l *lastLoads) match(s *searcher, sched *finite.Schedule) map[int]*LoadPlan {
	out := map[int]*LoadPlan{}
	l.pairs(s, sched, func(k int, was lastLoad, _ int64) { out[k] = was.plan }, func(int64) {})
	return out
}

// newLoadS is what a load that the last plan did not have counts as in seconds of moving.
const newLoadS = day

// displacement is by how much the loads were moved against the last plan, in all.
func (l *lastLoads) displacement(s *searcher, sched *finite.Schedule) (sum int64) {
	l.pairs(s, sched, func(_ int, was lastLoad, startS int64) { sum += max(startS-was.startS, was.startS-startS) }, func(int64) { sum += newLoadS })
	return sum
}

func (l *lastLoads) pairs(s *searcher, sched *finite.Schedule, pair func(k int, was lastLoad, startS int64), alone func(startS int64)) {
	type at struct {
		k      int
		startS int64
	}
	var order []at
	for k, pl := range sched.Placed() {
		if k >= s.begun() && s.m.loads[pl.Job] != nil {
			order = append(order, at{k, pl.FirstStart()})
		}
	}
	sort.SliceStable(order, func(a, b int) bool { return order[a].startS < order[b].startS })
	taken := map[string]int{}
	for _, o := range order {
		key := s.m.keys[sched.Placed()[o.k].Job]
		if n := taken[key]; n < len(l.of[key]) {
			taken[key]++
			pair(o.k, l.of[key][n], o.startS)
		} else {
			alone(o.startS)
		}
	}
}

// Changes is what a plan made anew has otherwise than the plan that was followed.
type Changes struct {
	SinceS    int64         `json:"since_s"`      // planned anew from here
	Frozen    int           `json:"frozen_steps"` // steps that happened
	Kept      int           `json:"kept_loads"`   // loads still to come that stay where they were, within a quarter of an hour
	Moved     []MovedLoad   `json:"moved"`        // loads still to come that start at another time
	Fresh     []string      `json:"new_loads"`    // loads that the last plan did not have
	Gone      []string      `json:"gone_loads"`   // loads of the last plan that are no longer needed
	Ready     []ReadyChange `json:"ready"`        // versions whose last part is ready at another time
	MovedByS  int64         `json:"moved_by_s"`   // all moves added up
	EndShiftS int64         `json:"end_shift_s"`  // how much later all is done
}

// MovedLoad is a load that starts at another time.
type MovedLoad struct {
	Load string `json:"load"`
	WasS int64  `json:"was_s"`
	IsS  int64  `json:"is_s"`
}

// ReadyChange is a version that is ready at another time.
type ReadyChange struct {
	Version string `json:"version"`
	WasS    int64  `json:"was_s"`
	IsS     int64  `json:"is_s"`
	LateS   int64  `json:"late_s"` // after its date; 0 is in time or without a date
}

// Compare says what a plan made anew has otherwise than the one that was followed.
func (b *Bench) Compare(was, is *Plan) *Changes {
	c := &Changes{SinceS: is.NowS, EndShiftS: is.EndS - was.EndS}
	before, now := was.loadStarts(), is.loadStarts()
	begun := map[string]bool{}
	for _, s := range is.Steps {
		if s.Done {
			c.Frozen++
			begun[s.Load] = true
		}
	}
	for _, lp := range is.Loads {
		old, known := before[lp.Name]
		switch at := now[lp.Name]; {
		case begun[lp.Name]:
		case !known:
			c.Fresh = append(c.Fresh, lp.Name)
		default:
			c.MovedByS += max(at-old, old-at)
			if max(at-old, old-at) < stillS {
				c.Kept++
			} else {
				c.Moved = append(c.Moved, MovedLoad{lp.Name, old, at})
			}
		}
	}
	for _, lp := range was.Loads {
		if _, ok := now[lp.Name]; !ok {
			c.Gone = append(c.Gone, lp.Name)
		}
	}
	ready := map[string]int64{}
	for _, d := range was.Versions {
		ready[d.Version] = d.ReadyS
	}
	for _, d := range is.Versions {
		old, ok := ready[d.Version]
		if !ok || old == d.ReadyS {
			continue
		}
		r := ReadyChange{Version: d.Version, WasS: old, IsS: d.ReadyS}
		if v := b.version(d.Version); v >= 0 && b.Versions[v].Due != nil {
			r.LateS = max(0, d.ReadyS-*b.Versions[v].Due)
		}
		c.Ready = append(c.Ready, r)
	}
	return c
}

// words says what changed, a line each.
func (b *Bench) changeWords(c *Changes) (out []string) {
	add := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	add("Planned anew from %s: %s frozen, %s still to come where they were, %s moved by %s in all.",
		b.Clock(c.SinceS), counted(c.Frozen, "step"), counted(c.Kept, "load"), counted(len(c.Moved), "load"), spell(c.MovedByS))
	for _, m := range c.Moved {
		way := "later"
		if m.IsS < m.WasS {
			way = "sooner"
		}
		add("%s starts %s instead of %s, %s %s", m.Load, b.Clock(m.IsS), b.Clock(m.WasS), spell(max(m.IsS-m.WasS, m.WasS-m.IsS)), way)
	}
	for _, l := range c.Fresh {
		add("%s is new", l)
	}
	for _, l := range c.Gone {
		add("%s is no longer needed", l)
	}
	for _, r := range c.Ready {
		late := ""
		if r.LateS > 0 {
			late = ", " + spell(r.LateS) + " late"
		}
		add("%q is ready %s instead of %s%s", r.Version, b.Clock(r.IsS), b.Clock(r.WasS), late)
	}
	return out
}

// counted is a number of things in words.
func counted(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}
