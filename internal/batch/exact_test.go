package batch

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"
)

// slotS is the step of time of the small shops: every time in them is a number of slots, so some best plan has
// all its starts on slots.
const slotS = 1800

// smallShop is a shop whose best plan can be found by walking through every state that it can be in: one operator,
// whose every step takes one slot.
type smallShop struct {
	want           []int // shots by version; each version has a colour of its own
	moulds         int
	perMix         int
	hasPot         bool
	inPot          int // moulds that the pot holds
	potLife        int // slots from the start of the mix
	pressure, cure int // slots
	purge          bool
	shifts         [][2]int // slots of a day
	days           int
}

func (s *smallShop) open(slot int) bool {
	d, h := slot/48, slot%48
	if wd := d % 7; wd == 5 || wd == 6 { // the plan starts on a Monday
		return false
	}
	return slices.ContainsFunc(s.shifts, func(w [2]int) bool { return w[0] <= h && h < w[1] })
}

// openMix is a cup that is not empty, or whose moulds wait for the pot.
type openMix struct{ version, start, left int }

// shopState is all that matters of a shop at the start of a slot.
type shopState struct {
	rem    [2]int
	colour int // last in the mixing tools; 0 is clean
	mixes  [3]openMix
	nMix   int
	shut   int    // poured moulds of the load that is being made up, with a pot
	ready  string // the slots from which the moulds in it are cured; in the load, in the pot, out
	potIn  string
	potTo  int // when the pressure ends; 0: the pot is empty
	out    string
}

// best walks slot by slot through every state, and gives the slot by which all is demoulded at the soonest; −1
// where nothing is within the days. It shares nothing with the planner: no loads are made up beforehand, no order
// is searched, no bound is used.
func (s *smallShop) best(t *testing.T, most int) int {
	now := map[shopState]bool{{rem: [2]int{s.want[0], s.want[1]}}: true}
	for slot := 0; slot < s.days*48; slot++ {
		next := map[shopState]bool{}
		for st := range now {
			if st.rem == [2]int{} && st.nMix == 0 && st.shut == 0 && st.potTo == 0 && st.out == "" && st.ready == "" {
				return slot
			}
			s.step(st, slot, next)
		}
		next = settled(next, slot+1)
		if len(next) > most {
			t.Logf("%d states at slot %d", len(next), slot)
			return -2
		}
		now = next
	}
	return -1
}

func (s *smallShop) inUse(st *shopState) int {
	n := st.shut + len(st.potIn)/4 + len(st.out)/4
	for _, m := range st.mixes[:st.nMix] {
		n += m.left // the mould of every shot of a cup stands ready
	}
	return n
}

func slots(at []int) (out string) {
	slices.Sort(at)
	for _, v := range at {
		out += fmt.Sprintf("%04d", v)
	}
	return out
}

func unslots(s string) (out []int) {
	for k := 0; k < len(s); k += 4 {
		v, _ := strconv.Atoi(s[k : k+4]) // written by slots
		out = append(out, v)
	}
	return out
}

// step adds every state that one slot leads to.
func (s *smallShop) step(st shopState, slot int, next map[shopState]bool) {
	must := -1 // a cup that was mixed just now is poured at once
	for k, m := range st.mixes[:st.nMix] {
		if m.start+1 == slot {
			must = k
		}
		if m.left > 0 && slot >= m.start+s.potLife || s.hasPot && slot >= m.start+s.potLife {
			return // past its pot life
		}
	}
	if !s.open(slot) {
		if must < 0 {
			next[st] = true
		}
		return
	}
	for k := range st.nMix { // pour
		if st.mixes[k].left == 0 || must >= 0 && k != must {
			continue
		}
		n := st
		n.mixes[k].left--
		cured := slot + 1 + s.cure
		if s.hasPot {
			n.shut++
			n.ready = slots(append(unslots(n.ready), cured))
		} else {
			n.out = slots(append(unslots(n.out), cured))
			if n.mixes[k].left == 0 {
				n.drop(k)
			}
		}
		next[n] = true
	}
	if must >= 0 {
		return
	}
	at := unslots(st.out)
	if !(len(at) > 0 && slot >= at[0]) && !(st.potTo > 0 && slot >= st.potTo) {
		next[st] = true // wait: never better than to take out what can be taken out
	}
	for v := range st.rem {
		if st.rem[v] == 0 || st.nMix == len(st.mixes) {
			continue
		}
		if s.purge && st.colour != 0 && st.colour != v+1 {
			n := st
			n.colour = v + 1
			next[n] = true
			continue
		}
		for k := 1; k <= min(s.perMix, st.rem[v], s.moulds-s.inUse(&st)); k++ {
			if s.hasPot {
				load := st.shut + k
				for _, m := range st.mixes[:st.nMix] {
					load += m.left
				}
				if load > s.inPot {
					continue
				}
			}
			n := st
			n.rem[v] -= k
			n.colour = v + 1
			n.mixes[n.nMix] = openMix{v, slot, k}
			n.nMix++
			next[n] = true
		}
	}
	poured := true
	for _, m := range st.mixes[:st.nMix] {
		poured = poured && m.left == 0
	}
	if s.hasPot && st.shut > 0 && poured && st.potTo == 0 { // into the pot
		n := st
		n.mixes, n.nMix, n.shut = [3]openMix{}, 0, 0
		n.potIn, n.ready, n.potTo = st.ready, "", slot+1+s.pressure
		next[n] = true
	}
	if st.potTo > 0 && slot >= st.potTo { // out of it
		n := st
		n.out = slots(append(unslots(st.out), unslots(st.potIn)...))
		n.potIn, n.potTo = "", 0
		next[n] = true
	}
	if len(at) > 0 && slot >= at[0] { // demould the one that was cured first: all are alike
		n := st
		n.out = slots(at[1:])
		next[n] = true
	}
}

// settled makes states alike that differ only by how long something has been ready.
func settled(states map[shopState]bool, slot int) map[shopState]bool {
	out := make(map[shopState]bool, len(states))
	past := func(text string) string {
		at := unslots(text)
		for k := range at {
			if at[k] <= slot {
				at[k] = 0
			}
		}
		return slots(at)
	}
	for st := range states {
		st.ready, st.potIn, st.out = past(st.ready), past(st.potIn), past(st.out)
		if st.potTo > 0 && st.potTo <= slot {
			st.potTo = 1
		}
		out[st] = true
	}
	return out
}

// drop takes an empty cup away.
func (st *shopState) drop(k int) {
	copy(st.mixes[k:], st.mixes[k+1:])
	st.nMix--
	st.mixes[st.nMix] = openMix{}
}

// bench is the same shop in the planner's own terms.
func (s *smallShop) bench() *Bench {
	const boxMM, highMM = 100.0, 50.0
	b := &Bench{Name: "small", Start: mustDate("2026-03-02"), Days: s.days, Operators: 1, Mixing: Mixing{CapacityG: float64(s.perMix) * 10}}
	if s.purge {
		b.Mixing.PurgeS = slotS
	}
	for _, w := range s.shifts {
		b.Shifts = append(b.Shifts, Shift{Days: workdays, From: int64(w[0]) * slotS, To: int64(w[1]) * slotS})
	}
	b.Tools = []Tool{{Name: "mould", Count: s.moulds, Cavities: 1, BoxMM: [3]float64{boxMM, boxMM, highMM}}}
	b.Recipes = []Recipe{{Name: "r", ShotG: 10, MixS: slotS, PourS: slotS, CoatValidS: 1 << 40, PotLifeS: int64(s.potLife) * slotS, CureS: int64(s.cure) * slotS, DemouldS: slotS}}
	if s.hasPot {
		b.Pot = &Pot{Count: 1, DiameterMM: 142, HeightMM: highMM * float64(s.inPot)}
		b.Recipes[0].LoadS, b.Recipes[0].UnloadS, b.Recipes[0].PressureS = slotS, slotS, int64(s.pressure)*slotS
	}
	for v, n := range s.want {
		b.Versions = append(b.Versions, Version{Name: fmt.Sprint("v", v), Colour: fmt.Sprint("c", v), Quantity: n})
	}
	return b
}

func randomSmall(rng *rand.Rand) *smallShop {
	s := &smallShop{moulds: 1 + rng.IntN(4), perMix: 1 + rng.IntN(3), purge: rng.IntN(2) == 0, days: 28, cure: []int{6, 12, 26, 32}[rng.IntN(4)]}
	n := 2 + rng.IntN(11)
	s.want = []int{n, 0}
	if n > 1 && rng.IntN(3) > 0 {
		s.want[1] = 1 + rng.IntN(n-1)
		s.want[0] -= s.want[1]
	}
	if s.hasPot = rng.IntN(2) == 0; s.hasPot {
		s.inPot = 1 + rng.IntN(4)
	}
	s.potLife = 3 + rng.IntN(4)
	s.pressure = s.potLife + rng.IntN(8) // longer than a pot life, so that no second load waits for the pot
	s.shifts = [][][2]int{{{16, 24}, {26, 34}}, {{16, 30}}, {{36, 44}}}[rng.IntN(3)]
	return s
}

// leastAgreed is the share of the small shops whose planned end is the soonest there is, to the second. Of 200 of
// seed 1 it is 189; where it is not, it is mostly by one step.
const leastAgreed = 0.85

// TestAgainstEveryState: the planner's end against the soonest of all, on random shops of up to twelve shots. It is
// never sooner, the bound is never later than the soonest, and they agree in nearly all. SMALL_SHOPS=200 draws as
// many, SMALL_SEED another lot.
func TestAgainstEveryState(t *testing.T) {
	shops, seed := 12, uint64(1)
	if v, err := strconv.Atoi(os.Getenv("SMALL_SHOPS")); err == nil {
		shops = v
	}
	if v, err := strconv.ParseUint(os.Getenv("SMALL_SEED"), 10, 64); err == nil {
		seed = v
	}
	t.Logf("seed %d", seed)
	agreed, skipped := 0, 0
	for k := range shops {
		s := randomSmall(rand.New(rand.NewPCG(seed, uint64(k))))
		best := s.best(t, 400_000)
		p, err := Make(context.Background(), s.bench(), Options{})
		switch {
		case best == -2:
			skipped++
			continue
		case best < 0:
			if err == nil {
				t.Errorf("shop %d %+v: planned to end at %d s, and no state is done in time", k, s, p.EndS)
			}
			continue
		case err != nil:
			t.Errorf("shop %d %+v: %v", k, s, err)
			continue
		case p.EndS < int64(best)*slotS:
			t.Errorf("shop %d %+v: planned to end at %d s, sooner than any state allows, %d s", k, s, p.EndS, best*slotS)
		case p.BoundS > int64(best)*slotS:
			t.Errorf("shop %d %+v: bound %d s is later than the soonest end, %d s", k, s, p.BoundS, best*slotS)
		case p.EndS > int64(best)*slotS:
			t.Logf("shop %d %+v: ends at slot %g, the soonest is %d", k, s, float64(p.EndS)/slotS, best)
		default:
			agreed++
		}
	}
	if float64(agreed) < leastAgreed*float64(shops-skipped) {
		t.Errorf("%d of %d shops agree", agreed, shops-skipped)
	}
	t.Logf("%d of %d shops agree, %d had too many states", agreed, shops, skipped)
}
