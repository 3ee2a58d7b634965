package batch

import (
	"fmt"
	"math"
	"strings"
)

// Finding is one demand that cannot be met: which constraint, and by how much.
type Finding struct {
	Constraint string  `json:"constraint"` // "mould life", "pot size", "pot life", "mixing capacity", "vacuum capacity", "shift", "date", "tools", "horizon"
	About      string  `json:"about"`
	Need       float64 `json:"need"`
	Have       float64 `json:"have"`
	Unit       string  `json:"unit"`
	Words      string  `json:"words"`
}

// Refusal is the error of a demand that is proven to be impossible.
type Refusal struct{ Findings []Finding }

func (r *Refusal) Error() string {
	var s []string
	for _, f := range r.Findings {
		s = append(s, f.Words)
	}
	return "this batch cannot be made as asked: " + strings.Join(s, "; ")
}

// Refused marks the error for the exit code.
func (r *Refusal) Refused() bool { return true }

// limits are what every plan of the bench must keep, found before anything is placed.
type limits struct {
	perMix []int // the most shots of a version in one mix
}

// findLimits works out how many shots a mix can fill, and refuses what no plan can meet.
func (b *Bench) findLimits(h hours) (*limits, error) {
	l := &limits{perMix: make([]int, len(b.Versions))}
	var no []Finding
	seen := map[string]bool{}
	add := func(f Finding) {
		if !seen[f.Constraint+f.About] {
			seen[f.Constraint+f.About] = true
			no = append(no, f)
		}
	}
	for v := range b.Versions {
		l.perMix[v] = b.mixLimit(v, h, add)
	}
	b.checkLife(add)
	if len(no) > 0 {
		return nil, &Refusal{no}
	}
	return l, nil
}

func (b *Bench) mixLimit(v int, h hours, add func(Finding)) int {
	ver := &b.Versions[v]
	r, tool := &b.Recipes[ver.Recipe], &b.Tools[ver.Tool]
	most := tool.usable()
	if most == 0 && b.Shots(v) > 0 && (tool.Count == 0 || tool.LifeShots == 0) { // worn ones are told by their life
		add(Finding{"tools", tool.Name, 1, 0, "moulds", fmt.Sprintf("%s needs at least one sound mould of %q, there is none", ver.Name, tool.Name)})
	}
	byMass := func(kind string, capacity float64) {
		if r.ShotG > capacity {
			add(Finding{kind + " capacity", r.Name, r.ShotG, capacity, "g",
				fmt.Sprintf("one shot of %q needs %.1f g, the %s takes %.1f g: %.1f g too much", r.Name, r.ShotG, kind, capacity, r.ShotG-capacity)})
		}
		most = min(most, int(capacity/r.ShotG+1e-9))
	}
	byMass("mixing", b.Mixing.CapacityG)
	if b.Vacuum != nil && r.DegasS > 0 {
		byMass("vacuum", b.Vacuum.CapacityG)
	}
	if need := r.chain(1, 1); need > r.PotLifeS {
		add(Finding{"pot life", r.Name, minutes(need), minutes(r.PotLifeS), "min",
			fmt.Sprintf("%q: to mix, pour and close one mould%s takes %s, the pot life is %s: %s too long", r.Name, r.potWords(), spell(need), spell(r.PotLifeS), spell(need-r.PotLifeS))})
	}
	for most > 1 && r.chain(most, b.Operators) > r.PotLifeS {
		most--
	}
	if b.Pot != nil && r.PressureS > 0 {
		most = min(most, b.potLimit(tool, most, add))
	}
	for _, s := range []struct {
		what string
		s    int64
	}{{"release coat", r.CoatS}, {"pour, close and all within the pot life", r.chain(1, 1)}, {"demoulding", r.DemouldS}, {"trimming a part", r.TrimS}} {
		if s.s > h.longest() {
			add(Finding{"shift", r.Name + s.what, minutes(s.s), minutes(h.longest()), "min",
				fmt.Sprintf("%q: %s takes %s, the longest shift is %s: %s too long", r.Name, s.what, spell(s.s), spell(h.longest()), spell(s.s-h.longest()))})
		}
	}
	return max(most, 1)
}

func (r *Recipe) potWords() string {
	if r.PressureS > 0 {
		return " and the pot"
	}
	return ""
}

// chain is the time from the start of a mix for n moulds until the last is closed, and in the pot if
// there is one, with nothing between.
func (r *Recipe) chain(n, operators int) int64 {
	turns := int64((n + operators - 1) / operators)
	s := r.MixS + r.DegasS + turns*(r.PourS+r.CloseS)
	if r.PressureS > 0 {
		s += r.LoadS
	}
	return s
}

// potLimit is how many moulds of one kind the pot is seen to hold.
func (b *Bench) potLimit(t *Tool, most int, add func(Finding)) int {
	boxes := make([][3]float64, min(most, b.Pot.most(t.BoxMM)))
	for i := range boxes {
		boxes[i] = t.BoxMM
	}
	if in, _ := b.Pot.Pack(boxes); len(in) > 0 { // equal boxes: what Pack could place, it can place alone
		return len(in)
	}
	diag, room := math.Hypot(t.BoxMM[0], t.BoxMM[1]), b.Pot.DiameterMM-2*b.Pot.ClearanceMM
	if diag > room {
		add(Finding{"pot size", t.Name, diag, room, "mm", fmt.Sprintf(
			"mould %q, %.0f × %.0f mm, needs a pot at least %.1f mm across with its clearance; the pot is %.1f mm: %.1f mm too small",
			t.Name, t.BoxMM[0], t.BoxMM[1], diag+2*b.Pot.ClearanceMM, b.Pot.DiameterMM, diag-room)})
	}
	if t.BoxMM[2] > b.Pot.HeightMM {
		add(Finding{"pot size", t.Name + " height", t.BoxMM[2], b.Pot.HeightMM, "mm", fmt.Sprintf(
			"mould %q is %.1f mm high; the pot is %.1f mm: %.1f mm too low", t.Name, t.BoxMM[2], b.Pot.HeightMM, t.BoxMM[2]-b.Pot.HeightMM)})
	}
	return 1
}

// checkLife compares the shots wanted of each tool with what is left in its moulds.
func (b *Bench) checkLife(add func(Finding)) {
	for t := range b.Tools {
		tool := &b.Tools[t]
		need, have := 0, 0
		for v := range b.Versions {
			if b.Versions[v].Tool == t {
				need += b.Shots(v)
			}
		}
		for m := range tool.Count {
			have += tool.left(m)
		}
		if tool.LifeShots > 0 && need > have {
			more := (need - have + tool.LifeShots - 1) / tool.LifeShots
			add(Finding{"mould life", tool.Name, float64(need), float64(have), "shots", fmt.Sprintf(
				"%q: %d shots are needed, %d are left in its %d moulds: %d short, which is %d more moulds of %d shots",
				tool.Name, need, have, tool.Count, need-have, more, tool.LifeShots)})
		}
	}
}

func minutes(s int64) float64 { return float64(s) / 60 }

// spell writes a length of time for people.
func spell(s int64) string {
	sign := ""
	if s < 0 {
		sign, s = "−", -s
	}
	switch {
	case s < 60:
		return fmt.Sprintf("%s%d s", sign, s)
	case s < 3600 && s%60 == 0:
		return fmt.Sprintf("%s%d min", sign, s/60)
	case s < 3600:
		return fmt.Sprintf("%s%d min %d s", sign, s/60, s%60)
	case s < 2*day:
		return fmt.Sprintf("%s%d h %02d min", sign, s/3600, s%3600/60)
	}
	return fmt.Sprintf("%s%d d %d h", sign, s/day, s%day/3600)
}
