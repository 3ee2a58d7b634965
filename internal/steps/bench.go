package steps

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"mouldwright/internal/fill"
	"mouldwright/internal/job"
	"mouldwright/internal/material"
)

// Bench is the maker's place and choices. A zero value is that of the job's report, and where that has none
// either, a bench at 23 °C, one filling, pieces printed in resin, no vacuum, no pressure pot.
type Bench struct {
	TempC       float64          // of the shop
	CureC       float64          // 0 and none in the report: the shop's
	Shots       int              // fillings of this run, one for each mould or round
	CupML       float64          // 0: the plan says how large a cup it takes
	PourS       float64          // a filling; at least the flow's time
	CloseS      float64          // a filling
	Vacuum      bool             // degas the mix
	Pot         bool             // cure in a pressure pot
	PotRatedKPa float64          // what the pot's plate allows over the air; 0: not known
	TorqueNM    float64          // for the bolts; 0: no data, so none is given
	Printed     material.Surface // what the pieces are printed in; "" means printed-resin
	FinestGrit  int              // the last abrasive paper; 0 means 400
	Blast       bool             // blast the cavity faces after sanding, for an even matt surface
	GrainCoats  int              // mist coats for a grained surface; 0 for none
	Again       bool             // the mould was used before: what is done once is left out
	// Silicone is what an insert is poured of, Backfill what fills the gaps of a ballast in a hollow; needed
	// for those alone.
	Silicone, Backfill *material.Material
	// ShowURL is where the bench page of this job is; "" for none.
	ShowURL string

	potKPa float64 // over the air's, as the job asks; 0: the material's
}

func (b Bench) filled(r *job.BenchReport) Bench {
	set := func(v *float64, d float64) {
		if *v == 0 {
			*v = d
		}
	}
	if r != nil {
		set(&b.TempC, r.ShopC)
		if r.CureC != r.ShopC {
			set(&b.CureC, r.CureC)
		}
		if r.CupGiven {
			set(&b.CupML, r.CupML)
		}
		set(&b.PourS, r.PourS)
		set(&b.CloseS, r.CloseS)
		b.Shots, b.Vacuum = cmp.Or(b.Shots, r.Fillings), b.Vacuum || r.Vacuum
		b.Printed = cmp.Or(b.Printed, r.Printed)
		if r.PotKPa > fill.StandardAirKPa {
			b.Pot, b.potKPa = true, math.Round(r.PotKPa-fill.StandardAirKPa)
		}
	}
	set(&b.TempC, job.DefaultShopC)
	set(&b.CureC, b.TempC)
	set(&b.PourS, job.DefaultPourS)
	set(&b.CloseS, job.DefaultCloseS)
	b.Shots, b.Printed, b.FinestGrit = cmp.Or(b.Shots, 1), cmp.Or(b.Printed, material.PrintedResin), cmp.Or(b.FinestGrit, defaultGrit)
	return b
}

func (b Bench) check() error {
	var all []error
	in := func(what string, v, lo, hi float64, unit string) {
		if !(v >= lo && v <= hi) {
			all = append(all, fmt.Errorf("%s is %g %s; it must be from %g to %g %s", what, v, unit, lo, hi, unit))
		}
	}
	in("the shop's temperature", b.TempC, -10, 50, "°C")
	in("the cure temperature", b.CureC, -10, 120, "°C")
	in("the number of fillings", float64(b.Shots), 1, 10_000, "")
	in("the pressure pot's rating", b.PotRatedKPa, 0, 2000, "kPa")
	in("the bolts' torque", b.TorqueNM, 0, 100, "N·m")
	in("the finest abrasive", float64(b.FinestGrit), float64(grades[0]), float64(grades[len(grades)-1]), "grit")
	in("the mist coats", float64(b.GrainCoats), 0, 20, "")
	if !slices.Contains(material.Surfaces, b.Printed) {
		all = append(all, fmt.Errorf("pieces printed in %q are not known; use printed-resin or printed-filament", b.Printed))
	}
	return errors.Join(all...)
}
