package batch

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"sort"
	"strings"
)

// Verify re-checks a plan against the bench from the plan's own words: every time, mould, mass and
// place in the pot. It shares no code with the search. Steps that happened already are taken as they
// are; what follows them is checked.
func Verify(b *Bench, p *Plan) error {
	c := &checker{b: b, p: p, shots: map[string]*shotTimes{}, loads: map[string]*loadTimes{}}
	for _, check := range []func() error{c.collect, c.checkHands, c.checkMixes, c.checkShots, c.checkPots, c.checkMoulds, c.checkShelf, c.checkDemand} {
		if err := check(); err != nil {
			return err
		}
	}
	return nil
}

// span is a use of something.
type span struct {
	from, to int64
	name     string
	happened bool
}

type shotTimes struct {
	coat, pour, close, demould Step
	mould                      string
	version                    int
	trims                      []Step
}

type loadTimes struct {
	in, press, out *Step
}

type mixTimes struct {
	mix, degas Step
	hasDegas   bool
}

type checker struct {
	b     *Bench
	p     *Plan
	shots map[string]*shotTimes // by load/mix/number
	mixes map[string]*mixTimes
	loads map[string]*loadTimes
	order []string // shots in order
}

func (c *checker) collect() error {
	c.mixes = map[string]*mixTimes{}
	for i := range c.p.Loads {
		lp := &c.p.Loads[i]
		c.loads[lp.Name] = &loadTimes{}
		for _, mp := range lp.Mixes {
			v := -1
			for k := range c.b.Versions {
				if c.b.Versions[k].Name == mp.Version {
					v = k
				}
			}
			if v < 0 {
				return fmt.Errorf("%s: no version %q", mp.Name, mp.Version)
			}
			c.mixes[mp.Name] = &mixTimes{}
			for s, mould := range mp.Moulds {
				id := fmt.Sprintf("%s/%s/S%d", lp.Name, mp.Name, s+1)
				c.shots[id] = &shotTimes{mould: mould, version: v}
				c.order = append(c.order, id)
			}
		}
	}
	for i := range c.p.Steps {
		st := &c.p.Steps[i]
		if !st.Done && st.StartS < c.p.NowS {
			return fmt.Errorf("%s starts at %d s, before now, %d s", st.ID, st.StartS, c.p.NowS)
		}
		if err := c.collectStep(st); err != nil {
			return err
		}
	}
	return nil
}

func (c *checker) collectStep(st *Step) error {
	var ld, mx string
	var n int
	if k, _ := fmt.Sscanf(replaceSlashes(st.ID), "%s %s S%d", &ld, &mx, &n); k == 3 {
		shot := c.shots[fmt.Sprintf("%s/%s/S%d", ld, mx, n)]
		if shot == nil || shot.mould != st.Mould {
			return fmt.Errorf("%s: no such shot, or not in %q", st.ID, st.Mould)
		}
		r := &c.b.Recipes[c.b.Versions[shot.version].Recipe]
		want := map[string]int64{"coat": r.CoatS, "pour": r.PourS, "close": r.CloseS, "demould": r.DemouldS, "trim": r.TrimS}[st.Kind]
		if st.EndS-st.StartS != want {
			return fmt.Errorf("%s takes %d s, its recipe says %d s", st.ID, st.EndS-st.StartS, want)
		}
		switch st.Kind {
		case "coat":
			shot.coat = *st
		case "pour":
			shot.pour = *st
		case "close":
			shot.close = *st
		case "demould":
			shot.demould = *st
		case "trim":
			shot.trims = append(shot.trims, *st)
		}
		return nil
	}
	switch st.Kind {
	case "mix":
		c.mixes[st.Mix].mix = *st
	case "degas":
		c.mixes[st.Mix].degas, c.mixes[st.Mix].hasDegas = *st, true
	case "load pot":
		c.loads[st.Load].in = st
	case "pressure":
		c.loads[st.Load].press = st
	case "unload pot":
		c.loads[st.Load].out = st
	}
	return nil
}

func replaceSlashes(s string) string {
	out := []byte(s)
	for i := range out {
		if out[i] == '/' {
			out[i] = ' '
		}
	}
	return string(out)
}

// checkHands: hand work lies in shifts, and no more of it at once than there are operators.
func (c *checker) checkHands() error {
	var busy []span
	for _, st := range c.p.Steps {
		if st.Kind == "degas" || st.Kind == "pressure" {
			continue
		}
		busy = append(busy, span{st.StartS, st.EndS, st.ID, st.Done})
		if st.Done || len(c.b.Staff) > 0 || c.inShift(c.b.Shifts, st.StartS, st.EndS) {
			continue
		}
		return fmt.Errorf("%s, %s to %s, is outside the shifts", st.ID, c.b.Clock(st.StartS), c.b.Clock(st.EndS))
	}
	if err := atMost(busy, c.b.Operators, "operators"); err != nil {
		return err
	}
	return c.checkStaff()
}

// checkStaff: every step by hand has one person, who is there for all of it and does nothing else meanwhile.
func (c *checker) checkStaff() error {
	byName := map[string][]span{}
	for _, st := range c.p.Steps {
		if !st.ByHand || st.Done || st.StartS == st.EndS {
			continue
		}
		if st.By == "" {
			return fmt.Errorf("%s is done by nobody", st.ID)
		}
		byName[st.By] = append(byName[st.By], span{st.StartS, st.EndS, st.ID, false})
		for i := range c.b.Staff {
			o := &c.b.Staff[i]
			if o.Name != st.By {
				continue
			}
			shifts := o.Shifts
			if len(shifts) == 0 {
				shifts = c.b.Shifts
			}
			if !c.inShift(shifts, st.StartS, st.EndS) {
				return fmt.Errorf("%s, %s to %s, is outside the shifts of %s", st.ID, c.b.Clock(st.StartS), c.b.Clock(st.EndS), st.By)
			}
			for _, a := range o.Away {
				if st.StartS < a.ToS && a.FromS < st.EndS {
					return fmt.Errorf("%s is given to %s, who is away (%s)", st.ID, st.By, a.Why)
				}
			}
		}
	}
	for _, name := range slices.Sorted(maps.Keys(byName)) {
		if err := atMost(byName[name], 1, "of "+name); err != nil {
			return err
		}
	}
	return nil
}

// inShift looks for shifts that cover the time, minute by minute where it spans several.
func (c *checker) inShift(shifts []Shift, from, to int64) bool {
	for t := from; t < to; {
		next := t
		date := c.b.Start.AddDate(0, 0, int(t/86400))
		for _, s := range shifts {
			on := false
			for _, d := range s.Days {
				on = on || d == date.Weekday()
			}
			for _, d := range c.b.Closed {
				on = on && !d.Equal(date)
			}
			if base := t / 86400 * 86400; on && base+s.From <= t && t < base+s.To {
				next = max(next, base+s.To)
			}
		}
		if next == t {
			return false
		}
		t = next
	}
	return true
}

// atMost checks by counting, at every start, what is running.
func atMost(us []span, most int, what string) error {
	sort.SliceStable(us, func(a, b int) bool { return us[a].from < us[b].from })
	var running []span
	for _, u := range us {
		if u.from == u.to {
			continue
		}
		kept := running[:0]
		for _, r := range running {
			if r.to > u.from {
				kept = append(kept, r)
			}
		}
		running = append(kept, u)
		if len(running) > most && !u.happened {
			return fmt.Errorf("%s at %d s needs one of %d %s, but all are taken (%s)", u.name, u.from, most, what, running[0].name)
		}
	}
	return nil
}

// checkMixes: one mix at a time, none too large, the tools purged between colours, degassed whole.
func (c *checker) checkMixes() error {
	colour := map[string]string{}
	for _, lp := range c.p.Loads {
		for _, mp := range lp.Mixes {
			v := &c.b.Versions[c.versionOf(mp.Version)]
			r := &c.b.Recipes[v.Recipe]
			colour[mp.Name] = v.Colour
			if mass := float64(len(mp.Moulds)) * r.ShotG; math.Abs(mass-mp.MassG) > 1e-6 || mass > c.b.Mixing.CapacityG+1e-6 {
				return fmt.Errorf("%s: %.1f g for %d shots of %.1f g, of at most %.1f g", mp.Name, mp.MassG, len(mp.Moulds), r.ShotG, c.b.Mixing.CapacityG)
			}
			mt := c.mixes[mp.Name]
			if mt.mix.EndS-mt.mix.StartS != r.MixS {
				return fmt.Errorf("%s: no mix of %d s", mp.Name, r.MixS)
			}
			if c.b.Vacuum == nil || r.DegasS == 0 {
				continue
			}
			if !mt.hasDegas || mt.degas.EndS-mt.degas.StartS != r.DegasS || mt.degas.StartS != mt.mix.EndS && !mt.degas.Done || mp.MassG > c.b.Vacuum.CapacityG+1e-6 {
				return fmt.Errorf("%s: not degassed whole right after mixing", mp.Name)
			}
		}
	}
	var place, vacuum []span
	last, now := "", c.p.Steps
	for _, st := range now { // steps are in order of start
		switch st.Kind {
		case "mix", "purge":
			place = append(place, span{st.StartS, st.EndS, st.ID, st.Done})
			col := colour[st.Mix]
			if st.Kind == "mix" && last != "" && last != col && !st.Done && c.b.Mixing.PurgeS > 0 {
				return fmt.Errorf("%s: %q after %q without a purge", st.ID, col, last)
			}
			last = col
			if st.Kind == "purge" && st.EndS-st.StartS != c.b.Mixing.PurgeS {
				return fmt.Errorf("%s takes %d s, not %d s", st.ID, st.EndS-st.StartS, c.b.Mixing.PurgeS)
			}
		case "degas":
			vacuum = append(vacuum, span{st.StartS, st.EndS, st.ID, st.Done})
		}
	}
	if err := atMost(place, 1, "mixing places"); err != nil {
		return err
	}
	if c.b.Vacuum != nil {
		return atMost(vacuum, c.b.Vacuum.Count, "vacuum chambers")
	}
	return nil
}

func (c *checker) versionOf(name string) int {
	for v := range c.b.Versions {
		if c.b.Versions[v].Name == name {
			return v
		}
	}
	return 0 // collect has refused unknown ones
}

// checkShots: each shot in the order of its recipe, no mix past its pot life, no coat past its time.
func (c *checker) checkShots() error {
	for _, id := range c.order {
		s := c.shots[id]
		r := &c.b.Recipes[c.b.Versions[s.version].Recipe]
		var ld, mx string
		if _, err := fmt.Sscanf(replaceSlashes(id), "%s %s", &ld, &mx); err != nil {
			return fmt.Errorf("%s: %w", id, err)
		}
		mt := c.mixes[mx]
		ready := mt.mix.EndS
		if mt.hasDegas {
			ready = mt.degas.EndS
		}
		switch {
		case s.pour.ID == "" || s.close.ID == "" || s.coat.ID == "" || s.demould.ID == "":
			return fmt.Errorf("%s lacks a step", id)
		case s.pour.Done:
		case s.pour.StartS < ready:
			return fmt.Errorf("%s is poured before its mix is ready", id)
		case strings.HasSuffix(id, "/S1") && s.pour.StartS > ready:
			return fmt.Errorf("%s: its cup stands for %d s before the first pour", id, s.pour.StartS-ready)
		case s.pour.StartS < s.coat.EndS+r.DryS || s.pour.StartS > s.coat.EndS+r.CoatValidS:
			return fmt.Errorf("%s is poured %d s after its release coat; allowed are %d to %d s", id, s.pour.StartS-s.coat.EndS, r.DryS, r.CoatValidS)
		}
		if !s.close.Done && (s.close.StartS < s.pour.EndS || s.close.EndS > mt.mix.StartS+r.PotLifeS) {
			return fmt.Errorf("%s is closed %d s after its mix began; the pot life is %d s", id, s.close.EndS-mt.mix.StartS, r.PotLifeS)
		}
		if !s.demould.Done && s.demould.StartS < s.pour.EndS+r.CureS {
			return fmt.Errorf("%s is demoulded %d s after the pour; it cures %d s", id, s.demould.StartS-s.pour.EndS, r.CureS)
		}
		if err := c.checkTrims(id, s, r); err != nil {
			return err
		}
	}
	return nil
}

func (c *checker) checkTrims(id string, s *shotTimes, r *Recipe) error {
	want := c.b.Tools[c.b.Versions[s.version].Tool].Cavities
	if r.TrimS == 0 {
		want = 0
	}
	if len(s.trims) != want {
		return fmt.Errorf("%s: %d parts are trimmed, it gives %d", id, len(s.trims), want)
	}
	for _, t := range s.trims {
		if !t.Done && t.StartS < s.demould.EndS {
			return fmt.Errorf("%s is trimmed before it is demoulded", id)
		}
	}
	return nil
}

// checkPots: each load in the pot in time and long enough, its moulds really fitting, no more loads
// than pots.
func (c *checker) checkPots() error {
	var busy []span
	for _, lp := range c.p.Loads {
		var press, in int64
		var boxes [][3]float64
		for _, mp := range lp.Mixes {
			v := &c.b.Versions[c.versionOf(mp.Version)]
			press, in = max(press, c.b.Recipes[v.Recipe].PressureS), max(in, c.b.Recipes[v.Recipe].LoadS)
			for range mp.Moulds {
				boxes = append(boxes, c.b.Tools[v.Tool].BoxMM)
			}
		}
		if c.b.Pot == nil || press == 0 {
			continue
		}
		lt := c.loads[lp.Name]
		if lt.in == nil || lt.press == nil || lt.out == nil {
			return fmt.Errorf("%s is not put in the pot", lp.Name)
		}
		if lt.press.EndS-lt.press.StartS < press || lt.press.StartS != lt.in.EndS || lt.out.StartS < lt.press.EndS && !lt.out.Done {
			return fmt.Errorf("%s is under pressure for %d s; it needs %d s, at once after loading", lp.Name, lt.press.EndS-lt.press.StartS, press)
		}
		busy = append(busy, span{lt.in.StartS, lt.out.EndS, lp.Name, lt.in.Done})
		for _, mp := range lp.Mixes {
			r := &c.b.Recipes[c.b.Versions[c.versionOf(mp.Version)].Recipe]
			if late := lt.in.EndS - c.mixes[mp.Name].mix.StartS; late > r.PotLifeS && !lt.in.Done {
				return fmt.Errorf("%s is in the pot %d s after the start of %s; the pot life is %d s", lp.Name, late, mp.Name, r.PotLifeS)
			}
			for s := range mp.Moulds {
				shot := c.shots[fmt.Sprintf("%s/%s/S%d", lp.Name, mp.Name, s+1)]
				if (shot.close.EndS > lt.in.StartS && !lt.in.Done) || (shot.demould.StartS < lt.out.EndS && !shot.demould.Done) {
					return fmt.Errorf("%s: mould %s is not closed before, or demoulded while in, the pot", lp.Name, shot.mould)
				}
			}
		}
		if err := checkPacking(c.b.Pot, boxes, lp.InPot); err != nil {
			return fmt.Errorf("%s: %w", lp.Name, err)
		}
	}
	if c.b.Pot == nil {
		return nil
	}
	return atMost(busy, c.b.Pot.Count, "pots")
}

// checkPacking: every mould once, whole inside the pot, clear of every other.
func checkPacking(pot *Pot, boxes [][3]float64, in []InPot) error {
	const eps = 1e-6
	if len(in) != len(boxes) {
		return fmt.Errorf("%d moulds have places in the pot, the load has %d", len(in), len(boxes))
	}
	seen := map[int]bool{}
	for i, a := range in {
		if a.Box < 0 || a.Box >= len(boxes) || seen[a.Box] {
			return fmt.Errorf("place %d in the pot is of no mould or of one that has a place", i)
		}
		seen[a.Box] = true
		w := boxes[a.Box]
		straight := math.Abs(a.WidthMM-w[0])+math.Abs(a.DepthMM-w[1]) < eps
		turned := math.Abs(a.WidthMM-w[1])+math.Abs(a.DepthMM-w[0]) < eps
		if !straight && !turned || math.Abs(a.HeightMM-w[2]) > eps {
			return fmt.Errorf("place %d in the pot has not the size of its mould", i)
		}
		x := math.Max(math.Abs(a.XMM), math.Abs(a.XMM+a.WidthMM))
		y := math.Max(math.Abs(a.YMM), math.Abs(a.YMM+a.DepthMM))
		if math.Hypot(x, y) > pot.DiameterMM/2-pot.ClearanceMM+eps || a.ZMM < 0 || a.ZMM+a.HeightMM > pot.HeightMM+eps {
			return fmt.Errorf("mould %d sticks out of the pot", i)
		}
		for k, o := range in[:i] {
			apart := func(p, pl, q, ql float64) bool { return p+pl+pot.ClearanceMM <= q+eps || q+ql+pot.ClearanceMM <= p+eps }
			if !apart(a.XMM, a.WidthMM, o.XMM, o.WidthMM) && !apart(a.YMM, a.DepthMM, o.YMM, o.DepthMM) && !apart(a.ZMM, a.HeightMM, o.ZMM, o.HeightMM) {
				return fmt.Errorf("moulds %d and %d stand in each other's way", k, i)
			}
		}
	}
	return nil
}

// checkMoulds: a mould is busy from its coat to its demoulding, one shot at a time, no longer than it
// lives.
func (c *checker) checkMoulds() error {
	busy, of := map[string][]span{}, map[string]int{}
	var names []string
	for t := range c.b.Tools {
		for k := range c.b.Tools[t].Count {
			n := c.b.Tools[t].MouldName(k)
			names = append(names, n)
			of[n] = t
		}
	}
	for _, id := range c.order {
		s := c.shots[id]
		if t, ok := of[s.mould]; !ok || t != c.b.Versions[s.version].Tool {
			return fmt.Errorf("%s: %q is no mould of its tool", id, s.mould)
		}
		busy[s.mould] = append(busy[s.mould], span{s.coat.StartS, s.demould.EndS, id, s.coat.Done})
	}
	k, last := 0, -1
	for _, n := range names {
		if of[n] != last {
			k, last = 0, of[n]
		}
		t := &c.b.Tools[of[n]]
		if t.LifeShots > 0 {
			used := 0
			if k < len(t.Used) {
				used = t.Used[k]
			}
			if len(busy[n]) > max(0, t.LifeShots-used) {
				return fmt.Errorf("%s: %d shots planned, %d left of its life", n, len(busy[n]), max(0, t.LifeShots-used))
			}
		}
		k++
		if err := atMost(busy[n], 1, "mould "+n); err != nil {
			return err
		}
	}
	return nil
}

// checkShelf: moulds out of the pot, or closed when there is none, wait on the shelf for demoulding.
func (c *checker) checkShelf() error {
	if c.b.Shelf == 0 {
		return nil
	}
	var busy []span
	for _, id := range c.order {
		var ld string
		if _, err := fmt.Sscanf(replaceSlashes(id), "%s", &ld); err != nil {
			return fmt.Errorf("%s: %w", id, err)
		}
		s, from := c.shots[id], c.shots[id].close.StartS
		if out := c.loads[ld].out; out != nil {
			from = out.StartS
		}
		busy = append(busy, span{from, s.demould.EndS, id, s.close.Done})
	}
	return atMost(busy, c.b.Shelf, "places on the shelf")
}

// checkDemand: enough good shots of every version.
func (c *checker) checkDemand() error {
	good := make([]int, len(c.b.Versions))
	for _, id := range c.order {
		if s := c.shots[id]; !s.pour.Scrap {
			good[s.version]++
		}
	}
	for v := range c.b.Versions {
		ver := &c.b.Versions[v]
		want := float64(ver.Quantity) * (1 + ver.SparePct/100)
		if got := good[v] * c.b.Tools[ver.Tool].Cavities; float64(got) < want-1e-9 {
			return fmt.Errorf("%q: %d parts planned, %.4g wanted with spares", ver.Name, got, want)
		}
	}
	return nil
}
