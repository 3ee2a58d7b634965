package steps

import (
	"errors"
	"fmt"
	"math"
)

// ballsInMould puts the balls of a weighted casting into the open mould.
func (k *maker) ballsInMould() {
	b := k.rep.Ballast
	if b == nil || b.Backfill != nil || !k.stage.casting() {
		return
	}
	s := k.balls()
	s.ID, s.Phase = "balls", Set
	s.Words = append([]string{fmt.Sprintf("Into %s, before the mould is closed; they must not bridge a vent or the sprue.", b.From)}, s.Words...)
	k.add(s)
}

// balls weighs the balls of one casting, times the fillings.
func (k *maker) balls() Step {
	b := k.rep.Ballast
	n := float64(k.bench.Shots)
	s := Step{Title: "Weigh the balls in", Quantities: []Quantity{{Name: fmt.Sprintf("balls of %g mm, each casting", b.BallMM), Value: math.Round(b.Used.BallsG*10) / 10, Unit: "g",
		Note: fmt.Sprintf("about %d balls; %.1f g loose, %.1f g dense", b.Balls, b.Fill.Loose.BallsG, b.Fill.Close.BallsG)}},
		Words: []string{"Clean, dry, free of oil and rust."}, Ask: &Ask{Words: "balls in all", Unit: "g", Want: math.Round(b.Used.BallsG*n*10) / 10}, Source: practice}
	if b.Packing == "dense" {
		s.Words = append(s.Words, "Shake and tap until the level sinks no more, and top up.")
	} else {
		s.Words = append(s.Words, "Pour them in without shaking.")
	}
	s.Words = append(s.Words, b.Fill.Warnings...)
	return s
}

// ballast fills the hollow of a trimmed casting: balls, then resin between them.
func (k *maker) ballast() error {
	b := k.rep.Ballast
	if b == nil || b.Backfill == nil {
		return nil
	}
	if k.bench.Backfill == nil {
		return errors.New("the hollow is backfilled, and no backfill material is given")
	}
	cast := k.m
	k.stage, k.m = stage{name: "ballast", ballast: true}, k.bench.Backfill
	defer func() { k.m = cast }()
	k.add(Step{ID: "key", Phase: Ballast, Title: "Make the hollow ready", Words: []string{"Wash the release off, roughen with 120, wipe dust away, let it dry. Stand the casting level, mouth up."},
		Why: "release left in the hollow keeps the backfill from bonding, and the ballast rattles", Source: practice})
	s := k.balls()
	s.ID, s.Phase = "fill", Ballast
	s.Words = append(s.Words, "Level, just under the mouth; wait for the backfill before it is carried.")
	k.add(s)
	if err := k.mix(); err != nil {
		return err
	}
	if err := k.cure(); err != nil {
		return err
	}
	w := b.With
	stands := "It does not stand by itself: " + w.Problem + "."
	if w.TipDeg != nil {
		stands = fmt.Sprintf("Its centre of gravity is %.1f mm over the ground; it tips over at %.1f°.", w.HighMM, *w.TipDeg)
	}
	k.add(Step{ID: "balance", Phase: Ballast, Title: "Weigh and stand it", Words: []string{"No ball shows, nothing rattles. " + stands},
		Quantities: []Quantity{{Name: "casting with ballast", Value: math.Round(w.MassG*10) / 10, Unit: "g", Note: fmt.Sprintf("predicted; %.0f g loose, %.0f g dense", b.Loose.MassG, b.Close.MassG)}},
		Ask:        &Ask{Words: "weight with ballast", Unit: "g", Want: math.Round(w.MassG*10) / 10}})
	k.plan.BackfillCautions = k.m.Cautions()
	return nil
}
