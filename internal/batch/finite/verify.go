package finite

import (
	"fmt"
	"sort"
)

// Verify re-checks every constraint of a finished schedule from its model. It shares no code with
// Place. Tasks that happened already may break what could not be helped, so only what ties them to
// tasks still to come is checked.
func Verify(shop *Shop, placed []*Placement) error {
	type use struct {
		from, to int64
		units    int
		name     string
		happened bool
	}
	uses := make([][]use, len(shop.Resources))
	holds := make([]int, len(shop.Resources))
	for _, p := range placed {
		j := p.Job
		if len(p.Starts) != len(j.Tasks) || len(p.Held) != len(j.Holds) {
			return fmt.Errorf("%s: not all tasks and holds are placed", j.Name)
		}
		length := func(k int) int64 {
			if p.Absent[k] {
				return 0
			}
			return j.Tasks[k].Seconds
		}
		for k, t := range j.Tasks {
			name := j.Name + ", " + t.Name
			from, to := p.Starts[k], p.Starts[k]+length(k)
			if p.Absent[k] && !t.IsChange {
				return fmt.Errorf("%s: left out", name)
			}
			if t.Fixed != nil {
				if from != *t.Fixed {
					return fmt.Errorf("%s: it happened at %d s but is planned at %d s", name, *t.Fixed, from)
				}
			} else if from < j.Release || to > shop.Horizon {
				return fmt.Errorf("%s: %d to %d s is outside %d to %d s", name, from, to, j.Release, shop.Horizon)
			}
			if p.Absent[k] {
				continue
			}
			for _, n := range t.Needs {
				uses[n.Resource] = append(uses[n.Resource], use{from, to, n.Units, name, t.Fixed != nil})
				if t.Fixed == nil && !isOpen(shop.Resources[n.Resource].Windows, from, to) {
					return fmt.Errorf("%s: %d to %d s lies outside the hours of %s", name, from, to, shop.Resources[n.Resource].Name)
				}
			}
		}
		for _, l := range j.Lags {
			gap := p.Starts[l.To] - p.Starts[l.From] - length(l.From)
			if (gap < l.Min || gap > l.Max) && j.Tasks[l.To].Fixed == nil {
				return fmt.Errorf("%s: %s starts %d s after %s ends; allowed are %d to %d s", j.Name, j.Tasks[l.To].Name, gap, j.Tasks[l.From].Name, l.Min, l.Max)
			}
		}
		for _, a := range j.After {
			q := placed[a.Job]
			if p.Starts[0] < q.End(a.Task) && j.Tasks[0].Fixed == nil {
				return fmt.Errorf("%s: starts before %s of %s ends", j.Name, q.Job.Tasks[a.Task].Name, q.Job.Name)
			}
		}
		for h, hold := range j.Holds {
			r := p.Held[h]
			known := hold.IsFixed && hold.Fixed == r
			for _, c := range hold.Choice {
				known = known || c == r
			}
			if !known {
				return fmt.Errorf("%s: %s cannot serve it", j.Name, shop.Resources[r].Name)
			}
			holds[r]++
			uses[r] = append(uses[r], use{p.Starts[hold.From], p.Starts[hold.To] + length(hold.To), hold.Units, j.Name, hold.IsFixed})
		}
	}
	for r, us := range uses {
		res := &shop.Resources[r]
		if res.Uses > 0 && holds[r] > res.Uses {
			return fmt.Errorf("%s is used %d times; its life is %d", res.Name, holds[r], res.Uses)
		}
		type event struct {
			at    int64
			units int
			k     int
		}
		var ev []event
		for k, u := range us {
			if u.to > u.from {
				ev = append(ev, event{u.from, u.units, k}, event{u.to, -u.units, k})
			}
		}
		sort.Slice(ev, func(a, b int) bool {
			if ev[a].at != ev[b].at {
				return ev[a].at < ev[b].at
			}
			return ev[a].units < ev[b].units // what ends makes room first
		})
		if name := overWindow(res, func(yield func(from, to int64, units int, name string, happened bool)) {
			for _, u := range us {
				yield(u.from, u.to, u.units, u.name, u.happened)
			}
		}); name != "" {
			return fmt.Errorf("%s: %s takes more than is there at that time", res.Name, name)
		}
		load := 0
		for _, e := range ev {
			if load += e.units; load > res.Capacity && e.units > 0 && !us[e.k].happened {
				return fmt.Errorf("%s at %d s: %s makes %d of %d in use", res.Name, e.at, us[e.k].name, load, res.Capacity)
			}
		}
	}
	return verifyStations(shop, placed)
}

// verifyStations looks for uses of a station that follow another state without a change between.
func verifyStations(shop *Shop, placed []*Placement) error {
	type use struct {
		from, to int64
		state    string
		change   bool
		name     string
		happened bool
	}
	byStation := map[int][]use{}
	for _, p := range placed {
		for k, t := range p.Job.Tasks {
			if t.Station != NoStation && !p.Absent[k] {
				byStation[t.Station] = append(byStation[t.Station], use{p.Starts[k], p.Starts[k] + t.Seconds, t.State, t.IsChange, p.Job.Name + ", " + t.Name, t.Fixed != nil})
			}
		}
	}
	for r := range shop.Resources {
		us := byStation[r]
		sort.SliceStable(us, func(a, b int) bool { return us[a].from < us[b].from })
		state, free := shop.States[r], int64(0)
		for _, u := range us {
			if !u.happened && u.from < free {
				return fmt.Errorf("%s: starts at %d s, before %s is free at %d s", u.name, u.from, shop.Resources[r].Name, free)
			}
			if !u.happened && !u.change && state != u.state && state != "" {
				return fmt.Errorf("%s: %s was last used for %q and not changed to %q", u.name, shop.Resources[r].Name, state, u.state)
			}
			state, free = u.state, max(free, u.to)
		}
	}
	return nil
}

// isOpen says whether one window covers the whole time; nil windows are always open.
func isOpen(ws []Window, from, to int64) bool {
	if ws == nil || from == to {
		return true
	}
	for _, w := range ws {
		if w.From <= from && to <= w.To {
			return true
		}
	}
	return false
}

// overWindow looks, in every window that has less than the whole resource, for a moment with more in use;
// it names what began there.
func overWindow(res *Resource, each func(yield func(from, to int64, units int, name string, happened bool))) (over string) {
	for _, w := range res.Windows {
		if w.Units == 0 || w.Units >= res.Capacity {
			continue
		}
		each(func(at, end int64, _ int, name string, happened bool) {
			if happened || at < w.From || at >= w.To || at == end {
				return
			}
			load := 0
			each(func(from, to int64, units int, _ string, _ bool) {
				if from <= at && at < to {
					load += units
				}
			})
			if load > w.Units {
				over = name
			}
		})
	}
	return over
}
