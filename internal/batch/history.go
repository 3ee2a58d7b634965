package batch

import (
	"fmt"
	"slices"
	"sort"
	"strings"

	"mouldwright/internal/batch/finite"
)

// History is what really happened of an earlier plan. Loads that were begun keep their make-up, their
// moulds and what was done; everything else is planned anew from NowS.
type History struct {
	NowS  int64
	Plan  *Plan // the plan that was followed, cut to what was done of the loads that were begun
	Steps []Happened
	// Followed is the plan that was followed, whole.
	Followed *Plan
	// Spoiled names loads that came to nothing: their shots are planned anew, and what was done of them
	// is forgotten.
	Spoiled []string

	Loads []begun // filled by prepare

	byID    map[string]Happened
	planned map[string]int64 // the starts of the plan that was followed
	jobs    []*finite.Job    // of Loads, made when they are first wanted
}

// Happened is a step that was begun.
type Happened struct {
	ID     string
	StartS int64
	Scrap  bool // the shot gave no good part
}

type begun struct {
	load  load
	plan  *LoadPlan
	mould map[[2]int]int // mix and shot: resource
}

// HistoryError says what of the history cannot be.
type HistoryError struct{ ID, Words string }

func (e *HistoryError) Error() string { return fmt.Sprintf("%s: %s", e.ID, e.Words) }

func (h *History) loads() (out []load) {
	for _, l := range h.Loads {
		out = append(out, l.load)
	}
	return out
}

// happened finds a step by its id.
func (h *History) happened(id string) (Happened, bool) {
	s, ok := h.byID[id]
	return s, ok
}

// prepare matches the history with the plan and takes what is begun off the shots wanted.
func (h *History) prepare(m *model, want []int) error {
	h.byID, h.planned = map[string]Happened{}, map[string]int64{}
	for _, st := range h.Steps {
		h.byID[st.ID] = st
	}
	for i := range h.Plan.Steps {
		h.planned[h.Plan.Steps[i].ID] = h.Plan.Steps[i].StartS
	}
	planned := map[string]*Step{}
	for i := range h.Plan.Steps {
		planned[h.Plan.Steps[i].ID] = &h.Plan.Steps[i]
	}
	started := map[string]bool{}
	scrapped := map[string]bool{}
	for _, s := range h.Steps {
		p := planned[s.ID]
		if p == nil {
			return &HistoryError{s.ID, "the plan has no such step; take ids from the plan that was followed"}
		}
		if s.StartS < 0 || s.StartS > h.NowS {
			return &HistoryError{s.ID, fmt.Sprintf("it starts %s, outside the time from the plan's first day to now, %s", m.b.Clock(s.StartS), m.b.Clock(h.NowS))}
		}
		started[p.Load] = !slices.Contains(h.Spoiled, p.Load)
		if s.Scrap {
			if p.Mould == "" {
				return &HistoryError{s.ID, "only a step of one mould can be scrap"}
			}
			scrapped[p.Load+p.Mould] = true
		}
	}
	for v := range m.b.Versions {
		for i := range h.Plan.Loads {
			lp := &h.Plan.Loads[i]
			for _, mp := range lp.Mixes {
				if !started[lp.Name] || mp.Version != m.b.Versions[v].Name {
					continue
				}
				for _, mould := range mp.Moulds {
					if !scrapped[lp.Name+mould] {
						want[v]--
					}
				}
			}
		}
		want[v] = max(0, want[v])
	}
	h.Loads = nil
	for i := range h.Plan.Loads {
		if lp := &h.Plan.Loads[i]; started[lp.Name] {
			bg, err := m.begun(lp)
			if err != nil {
				return err
			}
			h.Loads = append(h.Loads, bg)
		}
	}
	h.jobs = make([]*finite.Job, len(h.Loads))
	return nil
}

// begun reads a load back from its plan.
func (m *model) begun(lp *LoadPlan) (begun, error) {
	bg := begun{plan: lp, mould: map[[2]int]int{}}
	for i, mp := range lp.Mixes {
		v := m.b.version(mp.Version)
		if v < 0 {
			return bg, &HistoryError{lp.Name, fmt.Sprintf("the bench no longer has the version %q", mp.Version)}
		}
		bg.load = append(bg.load, mix{v, len(mp.Moulds)})
		for s, name := range mp.Moulds {
			r := -1
			for _, c := range m.choice(v) {
				if m.shop.Resources[c].Name == name {
					r = c
				}
			}
			if r < 0 {
				return bg, &HistoryError{lp.Name, fmt.Sprintf("the bench no longer has the mould %q", name)}
			}
			bg.mould[[2]int{i, s}] = r
		}
	}
	return bg, nil
}

func (b *Bench) version(name string) int {
	for v := range b.Versions {
		if b.Versions[v].Name == name {
			return v
		}
	}
	return -1
}

// idOf is the id that a task's step had in the plan.
func (bg *begun) idOf(k stepKind) string {
	id := bg.plan.Name
	if k.mix >= 0 {
		id += "/" + bg.plan.Mixes[k.mix].Name
		if k.shot >= 0 {
			id += fmt.Sprintf("/S%d", k.shot+1)
		}
	}
	return id + "/" + k.kind
}

// job is load k with what happened fixed. A step that must have come before one that happened is
// taken to have happened as planned, or as late as that allows.
func (h *History) job(m *model, k int) *finite.Job {
	if h.jobs[k] == nil {
		h.jobs[k] = h.makeJob(m, k)
	}
	return h.jobs[k]
}

func (h *History) makeJob(m *model, k int) *finite.Job {
	bg := &h.Loads[k]
	shared := m.loadJob(bg.load)
	kinds := m.kinds[shared]
	j := *shared
	j.Name = "load " + bg.plan.Name
	j.Tasks = append([]finite.Task(nil), shared.Tasks...)
	j.Holds = append([]finite.Hold(nil), shared.Holds...)
	j.Release = h.NowS
	for t := range j.Tasks {
		if s, ok := h.happened(bg.idOf(kinds[t])); ok {
			at := s.StartS
			j.Tasks[t].Fixed = &at
		}
	}
	h.fixBefore(&j, kinds, bg)
	for i := range j.Holds {
		from := kinds[j.Holds[i].From]
		if r, ok := bg.mould[[2]int{from.mix, from.shot}]; ok && from.kind == stepCoat {
			j.Holds[i].Choice = []int{r} // a mould that is not coated yet waits until it is free
			j.Holds[i].IsFixed, j.Holds[i].Fixed = j.Tasks[j.Holds[i].From].Fixed != nil, r
		} else if h := &j.Holds[i]; j.Tasks[h.From].Fixed != nil && len(h.Choice) == 1 {
			h.IsFixed, h.Fixed = true, h.Choice[0] // it held that, whether or not there was room as planned
		}
	}
	m.kinds[&j], m.loads[&j] = kinds, bg.load
	return &j
}

func (h *History) fixBefore(j *finite.Job, kinds []stepKind, bg *begun) {
	for i := len(j.Lags) - 1; i >= 0; i-- {
		l := j.Lags[i]
		from, to := &j.Tasks[l.From], &j.Tasks[l.To]
		if to.Fixed == nil || from.Fixed != nil {
			continue
		}
		at := *to.Fixed - l.Min - from.Seconds
		if p, ok := h.planned[bg.idOf(kinds[l.From])]; ok {
			at = min(at, p)
		} else if from.IsChange { // the colour had not changed
			*from = finite.Task{Name: from.Name, Station: finite.NoStation}
			at = *to.Fixed
		}
		at = max(0, at)
		from.Fixed = &at
		i = len(j.Lags) // what precedes this one may come later in the list
	}
	for _, l := range j.Lags { // what follows at once has begun too
		if from, to := &j.Tasks[l.From], &j.Tasks[l.To]; l.Max == 0 && from.Fixed != nil && to.Fixed == nil {
			at := *from.Fixed + from.Seconds
			to.Fixed = &at
		}
	}
}

// markScrap carries the shots that failed over to the new plan, whose first loads are those begun.
func (h *History) markScrap(p *Plan) {
	moulds := map[string]string{}
	for _, s := range h.Plan.Steps {
		moulds[s.ID] = s.Mould
	}
	scrap := map[string]bool{}
	for k := range h.Loads {
		for _, s := range h.Steps {
			if s.Scrap && strings.HasPrefix(s.ID, h.Loads[k].plan.Name+"/") {
				scrap[p.Loads[k].Name+"/"+moulds[s.ID]] = true
			}
		}
	}
	for i := range p.Steps {
		st := &p.Steps[i]
		st.Scrap = st.Mould != "" && scrap[st.Load+"/"+st.Mould]
	}
}

// trimJob is the trimming of load k, what happened first.
func (h *History) trimJob(m *model, k int, placed *finite.Placement) *finite.Job {
	j := m.trimJob(h.Loads[k].load, k, placed)
	if j == nil {
		return nil
	}
	bg, kinds := &h.Loads[k], m.kinds[j]
	parts := map[string]int{}
	type trim struct {
		task finite.Task
		kind stepKind
	}
	var trims []trim
	for t := range j.Tasks {
		id := bg.idOf(kinds[t])
		parts[id]++
		if s, ok := h.happened(fmt.Sprintf("%s/P%d", id, parts[id])); ok {
			at := s.StartS
			j.Tasks[t].Fixed = &at
		}
		trims = append(trims, trim{j.Tasks[t], kinds[t]})
	}
	sort.SliceStable(trims, func(a, b int) bool {
		x, y := trims[a].task.Fixed, trims[b].task.Fixed
		return x != nil && (y == nil || *x < *y)
	})
	sorted := make([]stepKind, len(trims))
	for t := range trims {
		j.Tasks[t], sorted[t] = trims[t].task, trims[t].kind
	}
	m.kinds[j] = sorted
	j.Release = h.NowS
	for _, a := range j.After { // the first trim may have happened, and then does not wait for the others
		j.Release = max(j.Release, placed.End(a.Task))
	}
	return j
}
