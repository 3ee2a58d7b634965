package steps

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"mouldwright/internal/fill"
	"mouldwright/internal/job"
	"mouldwright/internal/material"
	"mouldwright/internal/tooling"
)

// setUp puts the mould in its place.
func (k *maker) setUp() {
	s := Step{ID: "set-up", Phase: Set, Title: "Level and tilt", Words: []string{"Check the bench with a level in two directions."}}
	f := k.rep.Fill
	if screws := namesOf(k.features("levelling screw")); len(screws) > 0 {
		s.Words = append(s.Words, "Set the tray level with "+listed(screws)+": a spirit level on its rim, one way and the other.")
		s.Hard, s.Why = true, "the resin levels by itself; the casting is as even as the tray stands"
	}
	switch {
	case k.stage.silicone() || f == nil:
		s.Title = "Level the mould"
	case f.Tilt.TiltDeg > tiltFromDeg:
		s.Title = fmt.Sprintf("Tilt the mould by %.1f°", f.Tilt.TiltDeg)
		s.Ask = &Ask{Words: "tilt", Unit: "°", Want: math.Round(f.Tilt.TiltDeg*10) / 10}
		s.Words = append(s.Words, sentence(f.Tilt.Words))
		if f.Wedge != nil {
			s.Words = append(s.Words, "Stand it on its "+f.Wedge.Words+".")
		}
		s.Why = "a flat mould would keep air in its high places"
	default:
		s.Title = "Level the mould"
		s.Words = append(s.Words, "It stands level: no tilt traps less air.")
	}
	k.add(s)
	k.ballsInMould()
	if k.stage.closes != "" {
		k.add(Step{ID: "put-together", Phase: Set, Title: "Put it together", Words: append([]string{k.stage.closes}, k.glued()...)})
	}
	k.bolts()
	k.standOnHead()
}

// glued is the run's note on what holds the master, where it holds to a plate.
func (k *maker) glued() []string {
	if !slices.Contains(k.stage.printed, tooling.BasePlate) {
		return nil
	}
	return k.notes("into the base plate")
}

// standOnHead turns a mould over whose sprue goes in from below, as it is drawn.
func (k *maker) standOnHead() {
	var below []job.FeatureReport
	for _, f := range k.features("sprue") {
		if f.AtMM[2] < 0 {
			below = append(below, f)
		}
	}
	if len(below) == 0 || !k.stage.casting() {
		return
	}
	k.add(Step{ID: "on-its-head", Phase: Set, Hard: true, Title: "Stand the closed mould on its head", Piece: below[0].Piece,
		Words: []string{fmt.Sprintf("The %s is on top now, with %s in it; level it again.", below[0].Piece, listed(namesOf(append(below, k.channels("vent")...)))),
			"Drawings show it the other way up."}, Why: "sprue and vents go in from what is the underside in the drawings"})
}

// tiltFromDeg: less than this is no tilt that a bench can set.
const tiltFromDeg = 0.5

// bolts closes a mould that is filled closed.
func (k *maker) bolts() {
	bolts := k.features("bolt", "cross bolt")
	if len(bolts) == 0 || k.pouredOpen() || k.stage.closed {
		return
	}
	k.add(k.boltStep(bolts))
}

func (k *maker) boltStep(bolts []job.FeatureReport) Step {
	s := Step{ID: "bolts", Phase: Set, Title: "Close and bolt: " + boltSizes(bolts),
		Words: []string{"Seat the keys. Draw the bolts in turn, crosswise, in three rounds, until the faces meet all round."}}
	if k.stage.longer != "" {
		s.Title = fmt.Sprintf("Close and bolt, with %d bolts", len(bolts))
		for _, w := range k.rep.Warnings {
			if strings.Contains(w, k.stage.longer) {
				s.Words = append(s.Words, sentence(w))
			}
		}
	}
	if k.bench.TorqueNM > 0 {
		s.Quantities = append(s.Quantities, Quantity{Name: "torque, each bolt", Value: k.bench.TorqueNM, Unit: "N·m", Note: "as given for this bench"})
	} else {
		s.Words = append(s.Words, "No torque is given: hand-tight with a short key; printed faces creep under more.")
	}
	if f := k.rep.Fill; f != nil && f.Load != nil && !k.stage.silicone() {
		s.Words = append(s.Words, sentence(f.Load.Words))
	}
	return s
}

// boltSizes counts the bolts of each size, in the order in which the report names them.
func boltSizes(bolts []job.FeatureReport) string {
	var sizes, out []string
	count := map[string]int{}
	for _, b := range bolts {
		size, _, _ := strings.Cut(b.Words, ",")
		if count[size]++; count[size] == 1 {
			sizes = append(sizes, size)
		}
	}
	for _, size := range sizes {
		out = append(out, fmt.Sprintf("%d × %s", count[size], size))
	}
	return listed(out)
}

// pouredOpen says whether resin goes in before the mould is closed: there is no sprue.
func (k *maker) pouredOpen() bool {
	return k.stage.casting() && len(k.features("sprue", "side sprue")) == 0
}

// shot is what one filling of the stage takes.
func (k *maker) shot() (*material.Shot, error) {
	switch {
	case k.stage.ballast:
		return k.rep.Ballast.Backfill, nil
	case !k.stage.silicone():
		return k.rep.Shot, nil
	}
	for _, p := range k.rep.Pours {
		if p.Piece != k.stage.pours {
			continue
		}
		if p.Shot != nil && p.Shot.MaterialID == k.m.ID {
			return p.Shot, nil
		}
		return k.m.Shot([]material.Volume{{Name: p.Piece, VolumeMM3: 1000 * p.ML}}, material.ShotOptions{OverfillPct: siliconeOverPct, CupResiduePct: siliconeCupPct})
	}
	return nil, fmt.Errorf("the report has no pour of the piece %q; run the job again", k.stage.pours)
}

const (
	// siliconeOverPct is the margin on what the piece, port and vents take; siliconeCupPct what thick silicone leaves in a
	// cup (common practice, no source).
	siliconeOverPct = 5
	siliconeCupPct  = 5
)

// mix weighs, stirs, degasses and pours, mix by mix.
func (k *maker) mix() error {
	shot, err := k.shot()
	if err != nil {
		return err
	}
	opt := material.BatchOptions{Shots: k.bench.Shots, CupML: k.bench.CupML, TempC: k.bench.TempC, PourS: k.bench.PourS, CloseS: k.bench.CloseS, NoDegas: !k.bench.Vacuum}
	degassed := k.bench.Vacuum && k.m.DegasS > 0
	if k.bench.Vacuum && !degassed {
		k.plan.Warnings = append(k.plan.Warnings, fmt.Sprintf("How long %s is degassed is not known, so the plan leaves no time for it: put degas_s in the material file.", k.m.ID))
	}
	if k.stage.silicone() {
		opt.Shots = 1
	}
	if opt.CupML == 0 {
		opt.CupML = k.m.CupFor(shot.MixML, degassed)
	}
	b, err := k.m.PlanMixes(shot.MixML, opt)
	if err != nil {
		return err
	}
	if k.stage.casting() {
		k.plan.Batch, k.plan.CupML = b, opt.CupML
	}
	k.plan.Warnings = append(k.plan.Warnings, b.Warnings...)
	if why, do, ok := k.m.Moisture(); ok {
		k.add(Step{ID: "dry", Phase: Mix, Title: "Keep water out", Words: []string{sentence(do)}, Ask: &Ask{Words: "humidity", Unit: "%"}, Why: why, Source: practice})
	}
	what := "mould"
	if k.stage.ballast {
		what = "casting"
	}
	k.add(Step{ID: "warm-up", Phase: Mix, Title: fmt.Sprintf("Bring bottles and %s to %g °C", what, k.bench.TempC), Words: []string{"Shake or stir each bottle that settles. Check the date on every label; write the lots down."},
		Ask: &Ask{Words: "temperature of the components", Unit: "°C", Want: k.bench.TempC}, Why: b.PotLife.Basis})
	// A mix is poured before the next is begun: its pot life runs.
	for i, x := range b.Mixes {
		k.weigh(shot, b, x, i, len(b.Mixes), opt.CupML)
		k.stir(b, x, i, len(b.Mixes))
		k.pour(x, i, len(b.Mixes))
	}
	return nil
}

func numbered(id string, i, n int) string {
	if n == 1 {
		return id
	}
	return fmt.Sprintf("%s-%d", id, i+1)
}

func ofMany(title string, i, n int) string {
	if n == 1 {
		return title
	}
	return fmt.Sprintf("%s, mix %d of %d", title, i+1, n)
}

// weigh lists the components of one mix: the filling's doses times its fillings.
func (k *maker) weigh(shot *material.Shot, b *material.BatchPlan, x material.MixPlan, i, n int, cupML float64) {
	s := Step{ID: numbered("weigh", i, n), Phase: Mix, Hard: true, Title: ofMany("Weigh", i, n), Ask: &Ask{Words: "total weighed", Unit: "g"},
		Why: fmt.Sprintf("the mixing ratio may be off by %g %% at most", shot.RatioTolerancePct)}
	times := float64(x.Shots)
	total := 0.0
	for _, d := range shot.Components {
		q := Quantity{Name: d.Name, Value: grams(d.G * times), Unit: "g"}
		if d.ML > 0 {
			q.Note = fmt.Sprintf("%.1f mL", d.ML*times)
		}
		s.Quantities, total = append(s.Quantities, q), total+q.Value
	}
	for _, e := range shot.Extras {
		q := Quantity{Name: e.Name, Value: grams(e.G * times), Unit: "g", Note: fmt.Sprintf("%s, %.1f mL, %.2g %% of %s", e.Kind, e.ML*times, e.GotPct, e.Of)}
		s.Quantities, total = append(s.Quantities, q), total+q.Value
	}
	for _, p := range shot.Pigments {
		q := Quantity{Name: p.Name, Value: grams(p.G * times), Unit: "g", Note: fmt.Sprintf("%.2g %% of %s", p.GotPct, p.Of)}
		s.Quantities, total = append(s.Quantities, q), total+q.Value
	}
	s.Ask.Want = grams(total)
	s.Words = []string{fmt.Sprintf("Scale in steps of %g g; tare between components.", shot.ScaleStepG)}
	if x.Shots > 1 {
		s.Words = append(s.Words, fmt.Sprintf("For %d fillings.", x.Shots))
	}
	cup := fmt.Sprintf("Cup of at least %.0f mL for %.1f mL of mix", cupML, x.CupML)
	if x.Cups > 1 {
		cup = fmt.Sprintf("Into %d cups of %.0f mL, each its share of every component: %.1f mL a cup", x.Cups, cupML, x.CupML)
	}
	if b.FoamRise > 1 {
		cup += fmt.Sprintf("; under vacuum that rises to %.0f mL, and %.0f mL stay free", x.NeedsML, x.HeadML)
	}
	s.Words = append(s.Words, cup+".")
	if len(shot.Pigments) > 0 && shot.Pigments[0].Of != "all components" {
		s.Words = append(s.Words, "Stir the pigment into "+shot.Pigments[0].Of+" before the others are added.")
	}
	k.add(s)
}

// stir starts the pot life.
func (k *maker) stir(b *material.BatchPlan, x material.MixPlan, i, n int) {
	l := b.PotLife
	stirS := k.m.StirS
	if stirS == 0 {
		stirS = 90
	}
	s := Step{ID: numbered("stir", i, n), Phase: Mix, Title: ofMany("Stir", i, n),
		Words:    []string{"Start the pot-life timer when the components meet. Scrape sides and floor; pour into a second cup and stir again.", fmt.Sprintf("The plan takes %.0f s of the pot life and leaves %.0f s of its low estimate.", x.UsedS, x.SpareS)},
		Timers:   []Timer{{Name: "pot life", S: l.Seconds, LowS: l.LowS, HighS: l.HighS, Basis: l.Basis}, {Name: "stir each cup", S: stirS}},
		Cautions: k.m.Cautions()[:max(0, len(k.m.Cautions())-1)]}
	if words := k.heat(x); words != "" {
		s.Words = append(s.Words, words)
	}
	if k.bench.Vacuum && k.m.DegasS > 0 {
		s.Timers = append(s.Timers, Timer{Name: "degas", S: k.m.DegasS})
		s.Words = append(s.Words, fmt.Sprintf("Degas: it rises to about %.0f mL in its cup, then falls back; stop when it boils gently.", x.NeedsML))
	}
	k.add(s)
}

// heat says how much of the mass that may be mixed at once a mix is, and how hot it could get; "" where
// neither is known.
func (k *maker) heat(x material.MixPlan) string {
	var parts []string
	if k.m.MaxMixG > 0 {
		parts = append(parts, fmt.Sprintf("this mix is %.0f g of the %g g that may be mixed at once for its heat", x.G, k.m.MaxMixG))
	}
	if rise, ok := k.m.PeakRiseK(); ok {
		parts = append(parts, fmt.Sprintf("kept in a full cup it could come near %.0f °C: spread what is left over in a flat tray", k.bench.TempC+rise))
	}
	return sentence(strings.Join(parts, "; "))
}

// pour fills the moulds of one mix, and closes what must be closed.
func (k *maker) pour(x material.MixPlan, i, n int) {
	s := Step{ID: numbered("pour", i, n), Phase: Pour, Title: ofMany("Pour", i, n), Timers: []Timer{{Name: "each filling", S: k.bench.PourS}}}
	if x.Shots > 1 {
		s.Title = ofMany(fmt.Sprintf("Pour %d fillings", x.Shots), i, n)
	}
	sprue := namesOf(k.channels("sprue", "side sprue", "fill port"))
	switch {
	case k.stage.ballast:
		s.Words = []string{"A thin stream down one side of the hollow, so that the air rises before it on the other; stop now and then, tap, and let it sink between the balls. Level with the brim."}
		if k.rep.Ballast.BallGPerML <= k.m.MixedDensity().GPerML {
			s.Words = append(s.Words, "The balls are lighter than the resin and float: hold them down under a weighted mesh until it gels.")
		}
	case k.stage.into != "":
		s.Words = []string{"A thin stream from about half a metre into " + k.stage.into + "; let it rise over the master by itself."}
	case k.stage.silicone():
		s.Words = []string{"A thin stream from about half a metre into " + orWords(sprue, "the fill port") + " alone; let it push the air before it."}
	case k.stage.brim:
		s.Words = k.brim()
	case k.pouredOpen():
		s.Words = []string{"Into the lowest place, a thin stream; brush it into sharp corners first. Stop at the brim of the cavity."}
	default:
		s.Words = []string{"A thin stream into " + listed(sprue) + ", without a break, until it stands in every vent."}
	}
	if n := k.rep.Mould.Castings(); n > 1 && k.stage.casting() && (k.pouredOpen() || len(sprue) > 1) {
		s.Words = append(s.Words, fmt.Sprintf("%d cavities, each by itself, one after the other: %.1f mL each.", n, k.rep.Mould.CavityMM3()/1000))
	}
	if f := k.rep.Fill; f != nil && f.Flow != nil && k.stage.casting() {
		s.Words = append(s.Words, sentence(f.Flow.Words))
	}
	k.add(s)
	if !k.pouredOpen() && !k.stage.ballast {
		k.purge(sprue, i, n)
	}
	if k.pouredOpen() && !k.stage.brim {
		k.close(i, n)
		k.purge(nil, i, n)
	}
}

// purge is the sign-off of each vent: air out, then shut.
func (k *maker) purge(sprue []string, i, n int) {
	vents := k.channels("vent")
	for j, v := range vents {
		s := Step{ID: numbered("purge-"+slug(v.Name), i, n), Phase: Pour, Title: ofMany("Purge vent "+v.Name+", then plug it", i, n), Piece: v.Piece, Source: practice,
			Words: []string{fmt.Sprintf("At x %.1f, y %.1f mm of the mould. Wait until it runs out of %s without bubbles; tap the mould; then plug it with wax or clay.", tenth(v.AtMM[0]), tenth(v.AtMM[1]), v.Name)}}
		if j == len(vents)-1 && !k.pouredOpen() {
			s.Words = append(s.Words, "It was the last: top "+orWords(sprue, "the sprue")+" up.")
			if k.bench.Pot && !k.stage.silicone() {
				s.Words = append(s.Words, "Leave the sprue open, so that the pressure in the pot is the same inside and outside.")
			}
		}
		k.add(s)
	}
}

// grams takes the tail of float noise off a sum of whole steps of a scale.
func grams(g float64) float64 { return math.Round(g*1e4) / 1e4 }

// tenth rounds to 0.1 without a negative zero.
func tenth(mm float64) float64 { return math.Round(mm*10)/10 + 0 }

// orWords is the names, or other words where there are none.
func orWords(names []string, other string) string {
	if len(names) == 0 {
		return other
	}
	return listed(names)
}

// close puts the lid on a mould that is filled open.
func (k *maker) close(i, n int) {
	lid := k.lid()
	k.add(Step{ID: numbered("close", i, n), Phase: Pour, Title: ofMany("Close the "+lid+" at an angle", i, n), Hard: true,
		Words: []string{"Set one edge down first and lower the " + lid + " slowly, so that the resin pushes the air before it to the far edge. Never flat.",
			"Go on when surplus has come out all round."}, Timers: []Timer{{Name: "lower it over", S: k.bench.CloseS}}, Why: "a lid put down flat shuts a pocket of air in"})
	if bolts := k.features("bolt", "cross bolt"); len(bolts) > 0 {
		s := k.boltStep(bolts)
		s.ID, s.Phase, s.Title = numbered(s.ID, i, n), Pour, ofMany(s.Title, i, n)
		k.add(s)
	}
}

// lid is the piece that leaves upwards.
func (k *maker) lid() string {
	best, z := "lid", math.Inf(-1)
	for _, p := range k.pieces(false) {
		if p.Exit[2] > z {
			best, z = p.Name, p.Exit[2]
		}
	}
	return best
}

// pressure puts the mould into the pot.
func (k *maker) pressure() {
	if !k.bench.Pot || !k.stage.casting() {
		return
	}
	kPa, words := cmp.Or(k.bench.potKPa, k.m.PotKPa), []string{"Lid seated, all its clamps closed, before any air goes in. Raise the pressure slowly."}
	if kPa == 0 {
		words = append(words, "No pressure is given for this material: use what its data sheet says.")
	}
	s := Step{ID: "pot", Phase: Cure, Title: "Pressure pot", Hard: true, Ask: &Ask{Words: "pressure over the air's", Unit: "kPa", Want: kPa}, Words: words,
		Why: "by Boyle's law, bubbles shrink as the absolute pressure rises",
		Cautions: []string{"A pressure pot can burst. Never above the pressure on its plate; never one that is dented, cracked or without a working relief valve.",
			"Keep your face and hands off the lid under pressure. Let all pressure out, and see the gauge at 0, before a clamp is touched.",
			"No heating of a pot that its maker does not allow to be heated."}}
	switch {
	case k.bench.PotRatedKPa > 0 && kPa > k.bench.PotRatedKPa:
		s.Words = append(s.Words, fmt.Sprintf("%g kPa are asked for, the pot is rated for %g kPa: stay at %g kPa.", kPa, k.bench.PotRatedKPa, k.bench.PotRatedKPa))
		kPa = k.bench.PotRatedKPa
		s.Ask.Want = kPa
	case k.bench.PotRatedKPa == 0:
		s.Words = append(s.Words, "The pot's rating is not given here: read it off its plate and stay below.")
	}
	if kPa > 0 {
		s.Quantities = []Quantity{{Name: "pressure over the air's", Value: kPa, Unit: "kPa", Note: fmt.Sprintf("%.2f bar; bubbles shrink to %.0f %% of their volume", kPa/100, 100*fill.StandardAirKPa/(fill.StandardAirKPa+kPa))}}
	}
	k.add(s)
}

// cure waits.
func (k *maker) cure() error {
	t, err := k.m.DemouldAt(k.bench.CureC)
	s := Step{ID: "cure", Phase: Cure, Title: fmt.Sprintf("Cure at %g °C", k.bench.CureC), Ask: &Ask{Words: "temperature", Unit: "°C", Want: k.bench.CureC}, Hard: true}
	switch {
	case err == nil:
		name := "until it can be opened"
		if k.stage.ballast {
			name = "until it is hard"
		}
		s.Timers = []Timer{{Name: name, S: t.Seconds, LowS: t.LowS, HighS: t.HighS, Basis: t.Basis}}
		s.Words = []string{"Wait the upper end when in doubt: press the rest in the cup, which must not take a mark."}
		s.Why = t.Basis
	case k.m.Demould == nil:
		s.Words = []string{"The demould time is not known: open when the rest in the cup takes no mark from a nail."}
		k.plan.Warnings = append(k.plan.Warnings, err.Error())
	default:
		return err
	}
	if err := k.warm(&s); err != nil {
		return err
	}
	if r := k.rep.Bench; r != nil && r.Thin != "" && k.stage.casting() {
		s.Words = append(s.Words, r.Thin)
	}
	k.add(s)
	return nil
}

// warm says what a cure at another temperature than the shop's does to the casting's longest side.
func (k *maker) warm(s *Step) error {
	if k.bench.CureC == k.bench.TempC || !k.stage.casting() {
		return nil
	}
	mould := job.PrintPerK
	if r := k.rep.Bench; r != nil {
		mould = r.MouldPerK
	}
	if mould == 0 || k.m.ExpansionPerK == 0 {
		s.Words = append(s.Words, fmt.Sprintf("How much the casting's size changes by a cure at %g °C cannot be told: its expansion, or the mould's, is not known.", k.bench.CureC))
		return nil
	}
	size := max(k.rep.Part.SizeMM[0], k.rep.Part.SizeMM[1], k.rep.Part.SizeMM[2])
	w, err := material.WarmCureError(size, mould, k.m.ExpansionPerK, k.bench.CureC, k.bench.TempC)
	if err != nil {
		return fmt.Errorf("warm cure: %w", err)
	}
	s.Words = append(s.Words, sentence("Size: "+w.Words))
	return nil
}
