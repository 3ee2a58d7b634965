package finite

import (
	"errors"
	"testing"

	"pgregory.net/rapid"
)

// randomShop draws a shop with shifts, a station, interchangeable moulds, and jobs of one or two
// batches with longest lags.
func randomShop(t *rapid.T, scale int64) (*Shop, []*Job) {
	n := func(name string, lo, hi int) int64 { return scale * int64(rapid.IntRange(lo, hi).Draw(t, name)) }
	s := &Shop{Horizon: scale * 10_000}
	var ws []Window
	for d := range int64(100) {
		ws = append(ws, Window{From: scale * d * 100, To: scale * (d*100 + 40)})
	}
	s.Resources = []Resource{{Name: "hands", Capacity: rapid.IntRange(1, 3).Draw(t, "hands"), Windows: ws}, {Name: "station", Capacity: 1},
		{Name: "oven", Capacity: rapid.IntRange(1, 2).Draw(t, "ovens")}}
	moulds := []int{}
	for range rapid.IntRange(1, 3).Draw(t, "moulds") {
		moulds = append(moulds, len(s.Resources))
		s.Resources = append(s.Resources, Resource{Name: "mould", Capacity: 1})
	}
	var jobs []*Job
	for range rapid.IntRange(1, 8).Draw(t, "jobs") {
		state := rapid.SampledFrom([]string{"red", "blue"}).Draw(t, "state")
		both := []Need{{0, 1}, {1, 1}}
		j := &Job{Name: "job", Release: n("release", 0, 50)}
		j.Tasks = []Task{
			{Name: "coat", Seconds: n("coat", 0, 5), Needs: []Need{{0, 1}}, Station: NoStation},
			{Name: "change", Seconds: n("change", 0, 5), Needs: both, Station: 1, State: state, IsChange: true},
			{Name: "mix", Seconds: n("mix", 1, 5), Needs: both, Station: 1, State: state},
			{Name: "pour", Seconds: n("pour", 1, 5), Needs: []Need{{0, 1}}, Station: NoStation},
			{Name: "cure", Seconds: n("cure", 0, 80), Needs: []Need{{2, 1}}, Station: NoStation},
			{Name: "demould", Seconds: n("demould", 1, 5), Needs: []Need{{0, 1}}, Station: NoStation},
		}
		j.Lags = []Lag{{0, 3, 0, n("valid", 30, 60)}, {1, 2, 0, NoMax}, {2, 3, 0, n("life", 5, 10)}, {3, 4, 0, n("soon", 0, 20)}, {4, 5, 0, NoMax}}
		j.Holds = []Hold{{From: 0, To: 5, Choice: moulds, Units: 1}}
		jobs = append(jobs, j)
	}
	return s, jobs
}

func placeAll(t *rapid.T, s *Shop, jobs []*Job) []*Placement {
	sched := NewSchedule(s)
	for _, j := range jobs {
		if _, err := sched.Place(j); err != nil {
			var no *NoRoomError
			if errors.As(err, &no) {
				t.Skip("no room")
			}
			t.Fatal(err)
		}
	}
	return sched.Placed()
}

func makespan(ps []*Placement) (end int64) {
	for _, p := range ps {
		end = max(end, p.LastEnd())
	}
	return end
}

// TestAnyOrderIsFeasible: whatever the order of the jobs, the checker finds nothing.
func TestAnyOrderIsFeasible(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, jobs := randomShop(t, 1)
		order := rapid.Permutation(jobs).Draw(t, "order")
		if err := Verify(s, placeAll(t, s, order)); err != nil {
			t.Fatal(err)
		}
	})
}

// TestScaling: all times k-fold, the makespan k-fold.
func TestScaling(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, jobs := randomShop(t, 1)
		before := makespan(placeAll(t, s, jobs))
		const k = 7
		s.Horizon *= k
		for i := range s.Resources[0].Windows {
			s.Resources[0].Windows[i].From *= k
			s.Resources[0].Windows[i].To *= k
		}
		for _, j := range jobs {
			j.Release *= k
			for i := range j.Tasks {
				j.Tasks[i].Seconds *= k
			}
			for i := range j.Lags {
				j.Lags[i].Min *= k
				if j.Lags[i].Max < NoMax {
					j.Lags[i].Max *= k
				}
			}
		}
		if after := makespan(placeAll(t, s, jobs)); after != k*before {
			t.Fatalf("%d became %d", before, after)
		}
	})
}

// TestOvernight: work by hand waits for the morning, a cure does not.
func TestOvernight(t *testing.T) {
	s := &Shop{Horizon: 1000, Resources: []Resource{{Name: "hands", Capacity: 1, Windows: []Window{{From: 0, To: 40}, {From: 100, To: 140}}}}}
	hands := []Need{{0, 1}}
	j := &Job{Tasks: []Task{{Name: "pour", Seconds: 30, Needs: hands, Station: NoStation}, {Name: "cure", Seconds: 65, Station: NoStation}, {Name: "demould", Seconds: 10, Needs: hands, Station: NoStation}},
		Lags: []Lag{{0, 1, 0, 0}, {1, 2, 0, NoMax}}}
	p, err := NewSchedule(s).Place(j)
	if err != nil {
		t.Fatal(err)
	}
	if p.Starts[0] != 0 || p.Starts[1] != 30 || p.Starts[2] != 100 {
		t.Errorf("starts %v; expected 0, 30, 100", p.Starts)
	}
}

// TestLongestLagMovesTheEarlierTask: the mix waits until its pour can follow in time.
func TestLongestLagMovesTheEarlierTask(t *testing.T) {
	s := &Shop{Horizon: 1000, Resources: []Resource{{Name: "hands", Capacity: 1, Windows: []Window{{From: 0, To: 12}, {From: 100, To: 140}}}}}
	hands := []Need{{0, 1}}
	j := &Job{Tasks: []Task{{Name: "mix", Seconds: 10, Needs: hands, Station: NoStation}, {Name: "pour", Seconds: 5, Needs: hands, Station: NoStation}}, Lags: []Lag{{0, 1, 0, 20}}}
	p, err := NewSchedule(s).Place(j)
	if err != nil {
		t.Fatal(err)
	}
	if p.Starts[0] != 100 || p.Starts[1] != 110 {
		t.Errorf("starts %v; expected 100, 110", p.Starts)
	}
}

func TestWornOut(t *testing.T) {
	s := &Shop{Horizon: 1000, Resources: []Resource{{Name: "mould", Capacity: 1, Uses: 1}}}
	j := &Job{Name: "shot", Tasks: []Task{{Name: "cure", Seconds: 10, Station: NoStation}}, Holds: []Hold{{From: 0, To: 0, Choice: []int{0}, Units: 1}}}
	sched := NewSchedule(s)
	if _, err := sched.Place(j); err != nil {
		t.Fatal(err)
	}
	var no *NoRoomError
	if _, err := sched.Place(j); !errors.As(err, &no) || no.Why != "all resources it could hold are worn out" {
		t.Error(err)
	}
	if len(sched.Placed()) != 1 {
		t.Error("a failed job left traces")
	}
}

// TestVerifyFindsFaults moves and spoils a sound schedule.
func TestVerifyFindsFaults(t *testing.T) {
	make2 := func() (*Shop, []*Placement) {
		s := &Shop{Horizon: 1000, Resources: []Resource{{Name: "hands", Capacity: 1, Windows: []Window{{From: 0, To: 500}}}, {Name: "mould", Capacity: 1, Uses: 2}, {Name: "station", Capacity: 1}}}
		sched := NewSchedule(s)
		for _, state := range []string{"red", "blue"} {
			j := &Job{Name: state, Tasks: []Task{{Name: "change", Seconds: 3, Station: 2, State: state, IsChange: true}, {Name: "mix", Seconds: 10, Needs: []Need{{0, 1}}, Station: 2, State: state}, {Name: "pour", Seconds: 10, Needs: []Need{{0, 1}}, Station: NoStation}},
				Lags: []Lag{{0, 1, 0, NoMax}, {1, 2, 0, 30}}, Holds: []Hold{{From: 1, To: 2, Choice: []int{1}, Units: 1}}}
			if _, err := sched.Place(j); err != nil {
				t.Fatal(err)
			}
		}
		return s, sched.Placed()
	}
	for name, spoil := range map[string]func(s *Shop, ps []*Placement){
		"lag broken":    func(s *Shop, ps []*Placement) { ps[1].Starts[2] += 100 },
		"overlap":       func(s *Shop, ps []*Placement) { ps[1].Starts[1] = ps[0].Starts[1] },
		"outside hours": func(s *Shop, ps []*Placement) { s.Resources[0].Windows[0].To = 30 },
		"worn":          func(s *Shop, ps []*Placement) { s.Resources[1].Uses = 1 },
		"not changed":   func(s *Shop, ps []*Placement) { ps[1].Absent[0] = true },
		"left out":      func(s *Shop, ps []*Placement) { ps[1].Absent[2] = true },
		"past the end":  func(s *Shop, ps []*Placement) { s.Horizon = 20 },
		"wrong holder":  func(s *Shop, ps []*Placement) { ps[0].Held[0] = 0 },
	} {
		s, ps := make2()
		if err := Verify(s, ps); err != nil {
			t.Fatal(err)
		}
		spoil(s, ps)
		if Verify(s, ps) == nil {
			t.Errorf("%s: the checker finds nothing", name)
		}
	}
}
