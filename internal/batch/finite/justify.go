package finite

import (
	"context"
	"sort"
)

// mirror is a problem with time running backwards. Placing jobs in it shifts them to the right as far as
// they go without a later end, and placing them anew afterwards shifts them back to the left, often to a
// sooner end than before (double justification: Valls, Ballestín & Quintanilla 2005).
type mirror struct {
	p        *Problem
	arcs     *precedence
	schedule *Schedule
}

// mirrored is a problem's mirror, or nil where time runs one way alone: with windows, states, ties or jobs of
// several tasks.
func mirrored(p *Problem) *mirror {
	if p.Value != nil || p.Then != nil || len(p.First) > 0 || !p.singleTasks() {
		return nil
	}
	for i := range p.Shop.Resources {
		if p.Shop.Resources[i].Windows != nil {
			return nil
		}
	}
	m := &Problem{Shop: p.Shop, Jobs: p.Jobs}
	for _, j := range p.Jobs {
		if j.Release != 0 || j.Tasks[0].Station != NoStation {
			return nil
		}
	}
	for _, a := range p.Arcs {
		m.Arcs = append(m.Arcs, Arc{a.To, a.From})
	}
	return &mirror{m, newPrecedence(m), NewSchedule(p.Shop)}
}

// justify gives the order in which the jobs of a schedule start after they were shifted to the right.
func (m *mirror) justify(ctx context.Context, list []int, placed []*Placement) []int {
	back, ok := m.arcs.repair(byEnd(list, placed))
	if !ok {
		return nil
	}
	m.schedule.reset()
	s, err := m.p.place(ctx, m.arcs, back, m.schedule)
	if err != nil {
		return nil
	}
	return byEnd(back, s.placed)
}

// byEnd lists jobs by their ends, the last first.
func byEnd(list []int, placed []*Placement) []int {
	pos := make([]int, len(list))
	for k := range pos {
		pos[k] = k
	}
	sort.SliceStable(pos, func(a, b int) bool { return placed[pos[a]].LastEnd() > placed[pos[b]].LastEnd() })
	out := make([]int, len(list))
	for k, i := range pos {
		out[k] = list[i]
	}
	return out
}
