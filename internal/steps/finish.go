package steps

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"mouldwright/internal/job"
	"mouldwright/internal/tooling"
)

// open takes the mould apart in the order that was proven.
func (k *maker) open() {
	if n := len(k.features("bolt", "cross bolt")); n > 0 {
		k.add(Step{ID: "unbolt", Phase: Open, Title: fmt.Sprintf("Take out all %d bolts", n), Words: []string{"Count them on the bench before you pry."}})
	}
	s := Step{ID: "open", Phase: Open, Title: "Open in the proven order", Words: []string{}}
	s.Words = append(s.Words, sentences(k.rep.Mould.Opening)...)
	for _, l := range k.rep.Mould.Stages {
		if k.stage.proof != "" && strings.Contains(l, k.stage.proof) && !k.proven[l] {
			k.proven[l] = true
			s.Words = append(s.Words, sentence("from the proof: "+l))
		}
	}
	if pry := namesOf(k.features("pry slot", "split pry slot")); len(pry) > 0 {
		s.Words = append(s.Words, "Twist a flat blade in "+listed(pry)+" by turns, a little at a time.")
	}
	if !k.stage.byHand {
		s.Words = append(s.Words, k.order()...)
	}
	if k.stage.opens != "" {
		s.Words = append(s.Words, k.stage.opens)
	}
	for _, f := range k.features("cut") {
		if k.stage.silicone() { // the block is cut once
			s.Words = append(s.Words, sentence(f.Name+": "+f.Words))
		}
	}
	if k.stage.silicone() && k.rep.Mould.Castings() > 1 { // how deep and where: the run's own words
		s.Words = append(s.Words, k.notes("slit the block upright")...)
	}
	s.Cautions = []string{"If it does not move, stop: wait, cool it, blow air into a vent. Force tears castings and chips edges."}
	k.add(s)
}

// castingG is the weight of a trimmed casting: what fills the cavity, since it keeps its mass when it
// shrinks.
func (k *maker) castingG() float64 {
	v := cmp.Or(k.rep.Mould.CavityMM3(), k.rep.Part.VolumeMM3)
	return v / 1000 * k.rep.Shot.Density.GPerML
}

// order is how the pieces leave: those that go up first, the casting out of the last one.
func (k *maker) order() []string {
	pieces := k.pieces(false)
	slices.SortStableFunc(pieces, func(a, b job.PieceReport) int { return cmp.Compare(b.Exit[2], a.Exit[2]) })
	var out []string
	for _, p := range pieces {
		if p.Name != k.stage.fixed {
			out = append(out, fmt.Sprintf("%d. The %s leaves along (%s), straight.", len(out)+1, p.Name, direction(p.Exit)))
		}
	}
	return out
}

// direction prints a unit vector without negative zeros.
func direction(v [3]float64) string {
	for i := range v {
		if v[i] = math.Round(v[i]*1000) / 1000; v[i] == 0 {
			v[i] = 0
		}
	}
	return fmt.Sprintf("%g, %g, %g", v[0]+0, v[1]+0, v[2]+0)
}

// finish trims and inspects.
func (k *maker) finish() {
	k.stage = stage{name: "casting"}
	mould := k.rep.Mould
	trim := Step{ID: "trim", Phase: Finish, Title: "Trim", Words: []string{fmt.Sprintf("Cut %s off; take the flash off %.0f mm of parting line with a fresh blade, away from show faces.", k.sprues(), mould.LineMM)}}
	if mould.Family == tooling.TrayFamily {
		trim = k.trayTrim()
	}
	k.jig(&trim)
	n := mould.Castings()
	if n > 1 {
		trim.Words = append(k.whichIsWhich(n), trim.Words...)
	}
	if mould.LineOnShowMM > 0 {
		trim.Words = append(trim.Words, fmt.Sprintf("%.1f mm of the line lie on show faces: under a lens, or not at all.", mould.LineOnShowMM))
	}
	k.add(trim)
	look := Step{ID: "inspect", Phase: Finish, Title: "Inspect and weigh", Words: append([]string{"Voids, pinholes, tacky places, steps, tears, colour: against the first good casting, in the same light."}, k.plan.NeverTouch...)}
	g := k.castingG()
	if b := k.rep.Ballast; b != nil && b.Backfill == nil { // its balls lie in the casting
		g = b.With.MassG
	}
	name := "casting, trimmed"
	if n > 1 {
		name = fmt.Sprintf("each of %d castings, trimmed", n)
	}
	look.Quantities = []Quantity{{Name: name, Value: math.Round(g*10) / 10, Unit: "g",
		Note: fmt.Sprintf("predicted, ± %g %% for the density", k.rep.Shot.Density.ErrorPct)}}
	look.Ask = &Ask{Words: "weight, trimmed", Unit: "g", Want: math.Round(g*10) / 10}
	k.add(look)
}

// sprues names what hangs on a casting besides flash.
func (k *maker) sprues() string {
	var out []string
	for _, q := range []struct {
		name  string
		kinds []string
	}{{"sprue", []string{"sprue", "side sprue"}}, {"vents", []string{"vent", "side vent"}}, {"overflow", []string{"gutter", "overflow bleed"}}} {
		if len(k.features(q.kinds...)) > 0 {
			out = append(out, q.name)
		}
	}
	return orWords(out, "what ran over")
}

// record ends the run.
func (k *maker) record() {
	k.stage = stage{name: "casting"}
	s := Step{ID: "record", Phase: Record, Title: "Record the shot", Words: []string{"Mould, lots, mix, outcome, defects with a photo, weight. Look the mould over: edges, release, keys."}}
	if n := k.rep.Mould.Castings(); n > 1 {
		s.Words = append(s.Words, fmt.Sprintf("One entry for each of the %d castings, with its cavity number: a defect that keeps to one cavity shows only so.", n))
	}
	k.add(s)
}
