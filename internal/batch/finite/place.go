package finite

import "fmt"

// Schedule is a shop that is being filled.
type Schedule struct {
	shop     *Shop
	profiles []*profile
	uses     []int
	stations map[int]station
	placed   []*Placement

	lower []int64 // scratch: the earliest that each task of the job may start
	taken []int
}

type station struct {
	state string
	free  int64
}

// NewSchedule is the empty shop.
func NewSchedule(shop *Shop) *Schedule {
	s := &Schedule{shop: shop, uses: make([]int, len(shop.Resources)), stations: map[int]station{}}
	for i := range shop.Resources {
		s.profiles = append(s.profiles, newProfile(&shop.Resources[i]))
	}
	for r, state := range shop.States {
		s.stations[r] = station{state: state}
	}
	return s
}

// reset empties the shop again.
func (s *Schedule) reset() {
	for i := range s.profiles {
		s.profiles[i].reset()
		s.uses[i] = 0
	}
	clear(s.stations)
	for r, state := range s.shop.States {
		s.stations[r] = station{state: state}
	}
	s.placed = nil
}

// Placed lists the jobs in the order they were placed.
func (s *Schedule) Placed() []*Placement { return s.placed }

// maxTries bounds how often a job's tasks are moved later: each time at least one lower bound grows,
// nearly always by far more than a second.
const maxTries = 20_000

// Place gives the job its times. On an error the schedule is as before.
func (s *Schedule) Place(j *Job) (*Placement, error) { return s.placeFirst(j, len(j.Tasks), 0) }

// PlaceOpen gives the first n tasks of a job their times. What it holds beyond them stays held until Finish has
// placed the others, which must not have a longest lag. So other jobs can go before those: a mould that is cured
// may wait while the next is poured.
func (s *Schedule) PlaceOpen(j *Job, n int) (*Placement, error) { return s.placeFirst(j, n, 0) }

// Finish places the tasks that PlaceOpen left.
func (s *Schedule) Finish(pl *Placement) error {
	j := pl.Job
	for k := pl.open; k < len(j.Tasks); k++ {
		t := &j.Tasks[k]
		from := j.Release
		for _, l := range j.Lags {
			if l.To == k {
				from = max(from, pl.End(l.From)+l.Min)
			}
		}
		at, needing := s.earliest(t, from)
		if at+t.Seconds > s.shop.Horizon {
			return &NoRoomError{j.Name, t.Name, s.shop.Horizon, "it waits for " + needing}
		}
		pl.Starts[k] = at
		s.mark(pl, k, 1)
	}
	for h, hold := range j.Holds {
		if hold.To >= pl.open {
			s.profiles[pl.Held[h]].add(pl.End(hold.To), s.shop.Horizon, -hold.Units)
		}
	}
	pl.open = len(j.Tasks)
	return nil
}

// placeAfter places a job that does not start before a moment.
func (s *Schedule) placeAfter(j *Job, from int64) (*Placement, error) {
	return s.placeFirst(j, len(j.Tasks), from)
}

// placeFirst places the first tasks of a job, not before a moment.
func (s *Schedule) placeFirst(j *Job, first int, from int64) (*Placement, error) {
	pl := &Placement{Job: j, Starts: make([]int64, len(j.Tasks)), Absent: make([]bool, len(j.Tasks)), Held: make([]int, len(j.Holds)), open: first}
	s.lower = append(s.lower[:0], make([]int64, len(j.Tasks))...)
	for k := range s.lower {
		s.lower[k] = max(j.Release, from)
	}
	for _, a := range j.After {
		s.lower[0] = max(s.lower[0], s.placed[a.Job].End(a.Task))
	}
	for range maxTries {
		n, err := s.placeTasks(pl)
		if err == nil {
			var again bool
			if again, err = s.checkTies(pl); err == nil && !again {
				s.keep(pl)
				return pl, nil
			}
		}
		s.takeBack(pl, n)
		if err != nil {
			return nil, err
		}
	}
	return nil, &NoRoomError{j.Name, j.Tasks[0].Name, s.shop.Horizon, "its longest lags cannot all be kept beside what is planned already"}
}

// placeTasks sets the tasks one after the other and marks their use; n is how many were set.
func (s *Schedule) placeTasks(pl *Placement) (n int, err error) {
	j := pl.Job
	states := map[int]station{} // as this job leaves them
	for k := range pl.open {
		t := &j.Tasks[k]
		from := s.lower[k]
		for _, l := range j.Lags {
			if l.To == k {
				from = max(from, pl.End(l.From)+l.Min)
			}
		}
		pl.Absent[k] = false
		if t.Station != NoStation {
			st, ok := states[t.Station]
			if !ok {
				st = s.stations[t.Station]
			}
			from = max(from, st.free)
			pl.Absent[k] = t.IsChange && (st.state == t.State || st.state == "") && t.Fixed == nil
		}
		switch {
		case t.Fixed != nil:
			pl.Starts[k] = *t.Fixed
		case pl.Absent[k]:
			pl.Starts[k] = from
		default:
			at, needing := s.earliest(t, from)
			if at+t.Seconds > s.shop.Horizon {
				return k, &NoRoomError{j.Name, t.Name, s.shop.Horizon, "it waits for " + needing}
			}
			pl.Starts[k] = at
		}
		s.mark(pl, k, 1)
		if t.Station != NoStation && !pl.Absent[k] {
			states[t.Station] = station{t.State, pl.End(k)}
		}
	}
	return pl.open, nil
}

// earliest is the first time from which all needs are met, and the last resource waited for.
func (s *Schedule) earliest(t *Task, from int64) (int64, string) {
	waited := "the tasks before it"
	for again := true; again; {
		again = false
		for _, n := range t.Needs {
			if at := s.profiles[n.Resource].earliest(from, t.Seconds, n.Units, s.shop.Horizon); at > from {
				from, again, waited = at, len(t.Needs) > 1, s.shop.Resources[n.Resource].Name
			}
		}
		if from >= s.shop.Horizon {
			break
		}
	}
	return from, waited
}

func (s *Schedule) mark(pl *Placement, k, sign int) {
	if pl.Absent[k] {
		return
	}
	for _, n := range pl.Job.Tasks[k].Needs {
		s.profiles[n.Resource].add(pl.Starts[k], pl.End(k), sign*n.Units)
	}
}

func (s *Schedule) takeBack(pl *Placement, n int) {
	for k := range n {
		s.mark(pl, k, -1)
	}
}

// checkTies looks at what ties tasks together. Where a longest lag is broken or a held resource is
// not free, it raises the earliest start of the first task of the tie and asks for another try.
func (s *Schedule) checkTies(pl *Placement) (again bool, err error) {
	j := pl.Job
	for i := len(j.Lags) - 1; i >= 0; i-- { // from the last: its first task may be the last of another
		l := j.Lags[i]
		if l.To >= pl.open {
			continue
		}
		if need := pl.Starts[l.To] - l.Max; l.Max < NoMax && need > pl.End(l.From) {
			if j.Tasks[l.From].Fixed != nil {
				return false, &NoRoomError{j.Name, j.Tasks[l.To].Name, s.shop.Horizon,
					fmt.Sprintf("it can start %d s after %q ended at the soonest, but at most %d s are allowed", pl.Starts[l.To]-pl.End(l.From), j.Tasks[l.From].Name, l.Max)}
			}
			s.lower[l.From] = max(s.lower[l.From], need-(pl.End(l.From)-pl.Starts[l.From]))
			again = true
		}
	}
	if again {
		return true, nil
	}
	return s.takeHolds(pl)
}

// takeHolds gives each hold the free resource that was used least.
func (s *Schedule) takeHolds(pl *Placement) (again bool, err error) {
	s.taken = s.taken[:0]
	for h := range pl.Job.Holds {
		hold := &pl.Job.Holds[h]
		from, to := pl.Starts[hold.From], s.heldTo(pl, hold)
		if hold.IsFixed {
			pl.Held[h] = hold.Fixed
			s.taken = append(s.taken, hold.Fixed)
			continue
		}
		best, soonest, worn := -1, s.shop.Horizon, 0
		for _, r := range hold.Choice {
			res := &s.shop.Resources[r]
			if res.Uses > 0 && s.uses[r]+s.takenTimes(r) >= res.Uses {
				worn++
				continue
			}
			if res.Capacity < hold.Units*(1+s.takenTimes(r)) {
				continue
			}
			at := s.profiles[r].earliest(from, to-from, hold.Units*(1+s.takenTimes(r)), s.shop.Horizon)
			if at == from && (best < 0 || s.uses[r] < s.uses[best]) {
				best = r
			}
			soonest = min(soonest, at)
		}
		if best < 0 {
			if soonest >= s.shop.Horizon {
				why := "none of the resources it could hold is ever free for so long"
				if worn == len(hold.Choice) {
					why = "all resources it could hold are worn out"
				}
				return false, &NoRoomError{pl.Job.Name, pl.Job.Tasks[hold.From].Name, s.shop.Horizon, why}
			}
			s.lower[hold.From] = max(s.lower[hold.From], soonest)
			if pl.Job.Tasks[hold.From].Fixed != nil {
				return false, &NoRoomError{pl.Job.Name, pl.Job.Tasks[hold.From].Name, s.shop.Horizon, "what happened leaves no resource for it"}
			}
			return true, nil
		}
		pl.Held[h] = best
		s.taken = append(s.taken, best)
	}
	return false, nil
}

// heldTo is until when a hold lasts: without an end as long as its last task is not placed.
func (s *Schedule) heldTo(pl *Placement, h *Hold) int64 {
	if h.To >= pl.open {
		return s.shop.Horizon
	}
	return pl.End(h.To)
}

// takenTimes is how many holds of the job that is being placed took r.
func (s *Schedule) takenTimes(r int) (n int) {
	for _, t := range s.taken {
		if t == r {
			n++
		}
	}
	return n
}

// keep makes the placement final.
func (s *Schedule) keep(pl *Placement) {
	for h, hold := range pl.Job.Holds {
		r := pl.Held[h]
		s.profiles[r].add(pl.Starts[hold.From], s.heldTo(pl, &hold), hold.Units)
		s.uses[r]++
	}
	for k := range pl.open {
		t := &pl.Job.Tasks[k]
		if t.Station != NoStation && !pl.Absent[k] {
			s.stations[t.Station] = station{t.State, pl.End(k)}
		}
	}
	s.placed = append(s.placed, pl)
}
