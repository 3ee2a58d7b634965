package job

import (
	"cmp"
	"errors"
	"fmt"
	"math"

	"mouldwright/internal/material"
	"mouldwright/internal/tooling"
)

// ShrinkReport is the chain of shrinkages from the drawn mould to the finished casting.
type ShrinkReport struct {
	LengthMM float64             `json:"length_mm"` // the part's longest side, which the error is of
	Axis     string              `json:"axis"`      // x, y or z of the part
	Chain    material.ChainScale `json:"chain"`
	// PrintScale is what the pieces are to be enlarged by when they are printed, as the files do not count
	// the print's own shrinkage.
	PrintScale float64 `json:"print_scale"`
}

// BenchReport is the time budget of a session at the bench that job.toml describes.
type BenchReport struct {
	ShopC    float64             `json:"shop_c"`
	CureC    float64             `json:"cure_c"`
	CupML    float64             `json:"cup_ml"`
	CupGiven bool                `json:"cup_given"` // else it is the smallest that does
	Fillings int                 `json:"fillings"`
	Vacuum   bool                `json:"vacuum"`
	PourS    float64             `json:"pour_s"`
	CloseS   float64             `json:"close_s"`
	Printed  material.Surface    `json:"printed"`
	PotKPa   float64             `json:"pot_kpa,omitempty"` // absolute, while it cures
	Batch    *material.BatchPlan `json:"batch"`             // null when it cannot be done
	Problem  string              `json:"problem,omitempty"` // why not
	Demould  *material.TimeAt    `json:"demould,omitempty"`
	Thin     string              `json:"thin_sections,omitempty"` // a warning
	// MouldPerK is the linear expansion of what shapes the casting: the silicone where there is one, else
	// the print; 0 where it is not known.
	MouldPerK float64 `json:"mould_expansion_per_k"`
	// Warm is what a cure at another temperature does to the part's longest side; null at the shop's.
	Warm *material.WarmCure `json:"warm_cure,omitempty"`
	// HottestC is what the mix would reach if it kept all its heat; 0 where that is not known.
	HottestC float64 `json:"hottest_c,omitempty"`
}

const (
	// A typical value may be off by half of itself; a data sheet's by a fifth, since temperature, mass and
	// section move it (common practice, no source).
	typicalShrinkOff = 0.5
	sheetShrinkOff   = 0.2
	// printOffPct: what a tuned printer's length is off by (common practice, no source).
	printOffPct = 0.2
	// PrintPerK is a cured photopolymer's linear expansion (typical, from memory).
	PrintPerK = 9e-5

	// The bench of a job that does not describe its own, °C and s.
	DefaultShopC  = 23
	DefaultPourS  = 60 // common practice, no source
	DefaultCloseS = 30 // common practice, no source
)

// plainShot is what every mix of the job has: margin, cup and scale.
func (f *File) plainShot() material.ShotOptions {
	return material.ShotOptions{OverfillPct: orElse(f.Shot.OverfillPct, defaultOverfillPct), CupResidueG: orElse(f.Shot.CupResidueG, defaultCupResidueG), ScaleStepG: f.Shot.ScaleStepG}
}

// shotOptions are the job's choices for one filling of its casting material.
func (f *File) shotOptions() material.ShotOptions {
	o := f.plainShot()
	if f.Material.PigmentPct > 0 {
		o.Pigments = []material.Pigment{{Name: cmp.Or(f.Material.Pigment, "pigment"), Pct: f.Material.PigmentPct, Of: f.Material.PigmentOf}}
	}
	if q := f.Filler; q.Pct > 0 {
		o.Filler = &material.FillerShare{Filler: material.Filler{Name: cmp.Or(q.Name, "filler"), DensityGPerML: q.GPerML, MaxShare: q.MaxSharePct / 100}, Pct: q.Pct}
	}
	if q := f.Thinner; q.Pct > 0 {
		o.Thinner = &material.ThinnerShare{Name: cmp.Or(q.Name, "thinner"), DensityGPerML: q.GPerML, Pct: q.Pct}
	}
	return o
}

// blend checks pigment, filler and thinner against the material, and says what the mix becomes by them.
func (f *File) blend(m *material.Material) (material.Blend, error) {
	if of := f.Material.PigmentOf; of != "" && f.Material.PigmentPct > 0 && !m.Has(of) {
		return material.Blend{}, f.wrong("material.pigment_of", "%s has no component %q; its components are %s", m.ID, of, m.ComponentNames())
	}
	o := f.shotOptions()
	b, err := m.Blend(o)
	switch {
	case err == nil:
		return b, nil
	case errors.As(err, new(*material.ThinnerError)) || o.Filler == nil:
		return b, f.wrong("thinner.pct", "%w", err)
	}
	return b, f.wrong("filler.pct", "%w", err)
}

// blended is the material as it flows: with filler, thicker and of another density.
func blended(m *material.Material, b material.Blend) *material.Material {
	if b.Density == m.MixedDensity() {
		return m
	}
	q := *m
	q.MixedDensityGPerML, q.ViscosityMPaS = b.Density.GPerML, m.ViscosityMPaS*b.Thickens
	return &q
}

// amounts works out one filling, the shrinkage chain and the time budget of a mould, into the report.
// silicone is what its soft pieces are poured of; nil where there are none.
func (s *trying) amounts(mould *tooling.Mould, silicone *material.Material) error {
	var vols []material.Volume
	all := material.Volume{Name: cavityWords(max(1, len(mould.Cavities)))}
	for _, l := range mould.Ledger {
		switch l.Name {
		case "sprue", "vents", "runner", "overflow gutter":
			vols = append(vols, material.Volume{Name: l.Name, VolumeMM3: l.VolumeMM3})
		}
	}
	for k := range max(1, len(mould.Cavities)) {
		all.VolumeMM3 += ledgerOf(mould, tooling.CavityName(k+1, len(mould.Cavities)))
	}
	vols = append(vols, s.lessBalls(all))
	var err error
	if s.report.Shot, err = s.material.Shot(vols, s.file.shotOptions()); err != nil {
		return err
	}
	if s.report.Shrink, err = s.shrinkChain(silicone); err != nil {
		return err
	}
	return s.bench(silicone)
}

// cavityWords names the volume of all cavities.
func cavityWords(n int) string {
	if n == 1 {
		return "cavity"
	}
	return fmt.Sprintf("%d cavities", n)
}

func ledgerOf(m *tooling.Mould, name string) (v float64) {
	for _, l := range m.Ledger {
		if l.Name == name {
			v += l.VolumeMM3
		}
	}
	return v
}

// lessBalls takes the balls that lie in the casting out of the cavity's volume.
func (s *trying) lessBalls(v material.Volume) material.Volume {
	if b := s.report.Ballast; b != nil && b.Where == inCasting && v.Name == "cavity" {
		v.Name, v.VolumeMM3 = "cavity, less the balls in it", max(0, v.VolumeMM3-1000*b.Fill.Loose.BallsML)
	}
	return v
}

// longest is the part's longest side.
func (p *part) longest() (axis int, mm float64) {
	for i, l := range p.report.SizeMM {
		if l > mm {
			axis, mm = i, l
		}
	}
	return axis, mm
}

func (s *trying) shrinkChain(silicone *material.Material) (*ShrinkReport, error) {
	axis, mm := s.part.longest()
	off := func(m *material.Material, pct float64) float64 {
		if m.Typical {
			return math.Abs(pct) * typicalShrinkOff
		}
		return math.Abs(pct) * sheetShrinkOff
	}
	p := s.file.Printer
	links := []material.Shrink{{Name: "print", ShrinkPct: p.ShrinkPct, ErrorPct: orElse(p.ErrorPct, printOffPct)}}
	if silicone != nil {
		pct := shrinkPct(silicone)
		links = append(links, material.Shrink{Name: silicone.Name, ShrinkPct: pct, ErrorPct: off(silicone, pct)})
	}
	at := shrink(s.file, s.material)
	pct := [3]float64{at.X, at.Y, at.Z}[axis]
	links = append(links, material.Shrink{Name: s.material.Name, ShrinkPct: pct, ErrorPct: orElse(s.file.Material.ErrorPct, off(s.material, pct))})
	c, err := material.Chain(mm, links...)
	if err != nil {
		return nil, fmt.Errorf("shrinkage: %w", err)
	}
	return &ShrinkReport{LengthMM: mm, Axis: "xyz"[axis : axis+1], Chain: c, PrintScale: 1 / (1 - p.ShrinkPct/100)}, nil
}

// bench works out whether one session can be poured in time. What cannot be done is a warning: the mould
// is good all the same, at another bench.
func (s *trying) bench(silicone *material.Material) error {
	b, m, shot := s.file.Bench, s.material, s.report.Shot
	r := &BenchReport{ShopC: cmp.Or(b.ShopC, DefaultShopC), CupML: b.CupML, CupGiven: b.CupML > 0, Fillings: max(1, b.Fillings), Vacuum: b.Vacuum,
		PourS: cmp.Or(b.PourS, DefaultPourS), CloseS: cmp.Or(b.CloseS, DefaultCloseS), Printed: material.Surface("printed-" + cmp.Or(b.Printed, "resin")), PotKPa: s.file.Fill.PotKPa}
	r.CureC = orElse(b.CureC, r.ShopC)
	if f := s.report.Fill; f != nil && f.Flow != nil {
		r.PourS = max(r.PourS, f.Flow.SecondsS)
	}
	if !r.CupGiven {
		r.CupML = m.CupFor(shot.MixML, r.Vacuum && m.DegasS > 0)
	}
	s.report.Bench = r
	plan, err := m.PlanMixes(shot.MixML, material.BatchOptions{Shots: r.Fillings, CupML: r.CupML, TempC: r.ShopC, PourS: r.PourS, CloseS: r.CloseS, NoDegas: !r.Vacuum})
	if err != nil {
		r.Problem = err.Error()
		s.report.Warnings = append(s.report.Warnings, "At the bench of job.toml it cannot be poured: "+r.Problem)
	}
	r.Batch = plan
	if t, err := m.DemouldAt(r.CureC); err == nil {
		r.Demould = &t
	} else if m.Demould != nil {
		s.report.Warnings = append(s.report.Warnings, err.Error())
	}
	if k, ok := m.PeakRiseK(); ok {
		r.HottestC = r.ShopC + k
	}
	if r.Thin = s.thinWords(); r.Thin != "" {
		s.report.Warnings = append(s.report.Warnings, r.Thin)
	}
	r.MouldPerK = cmp.Or(s.file.Printer.PerK, PrintPerK)
	if silicone != nil {
		r.MouldPerK = silicone.ExpansionPerK
	}
	return s.warmCure(r)
}

// warmCure is the error of size of a cure at another temperature than the shop's.
func (s *trying) warmCure(r *BenchReport) error {
	if r.CureC == r.ShopC {
		return nil
	}
	if r.MouldPerK == 0 || s.material.ExpansionPerK == 0 {
		s.report.Warnings = append(s.report.Warnings, fmt.Sprintf("Cured at %g °C the casting changes its size, and by how much cannot be told: put expansion_per_k of %s in the material file.", r.CureC, s.material.ID))
		return nil
	}
	_, mm := s.part.longest()
	w, err := material.WarmCureError(mm, r.MouldPerK, s.material.ExpansionPerK, r.CureC, r.ShopC)
	if err != nil {
		return fmt.Errorf("warm cure: %w", err)
	}
	r.Warm = &w
	return nil
}
