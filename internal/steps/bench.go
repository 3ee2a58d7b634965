package steps

import (
	"errors"
	"fmt"
	"slices"

	"mouldwright/internal/material"
)

// Bench is the maker's place and choices; the zero value is a bench at 23 °C, one filling, pieces printed
// in resin, no vacuum, no pressure pot.
type Bench struct {
	TempC       float64          // of the shop; 0 means 23
	CureC       float64          // 0 means the shop's
	Shots       int              // fillings of this run, one for each mould or round; 0 means 1
	CupML       float64          // 0: the plan says how large a cup it takes
	PourS       float64          // a filling; 0 means 60, or the flow's time when that is longer
	CloseS      float64          // a filling; 0 means 30
	Vacuum      bool             // degas the mix
	Pot         bool             // cure in a pressure pot
	PotRatedKPa float64          // what the pot's plate allows over the air; 0: not known
	TorqueNM    float64          // for the bolts; 0: no data, so none is given
	Printed     material.Surface // what the pieces are printed in; "" means printed-resin
	GrainCoats  int              // mist coats for a grained surface; 0 for none
	Again       bool             // the mould was used before: what is done once is left out
	// Silicone is what a mould's soft pieces are poured of; needed where there are any.
	Silicone *material.Material
	// ShowURL is where the bench page of this job is; "" for none.
	ShowURL string
}

const (
	defaultTempC  = 23
	defaultPourS  = 60 // common practice, no source
	defaultCloseS = 30 // common practice, no source
)

func (b Bench) filled() Bench {
	set := func(v *float64, d float64) {
		if *v == 0 {
			*v = d
		}
	}
	set(&b.TempC, defaultTempC)
	set(&b.CureC, b.TempC)
	set(&b.PourS, defaultPourS)
	set(&b.CloseS, defaultCloseS)
	if b.Shots == 0 {
		b.Shots = 1
	}
	if b.Printed == "" {
		b.Printed = material.PrintedResin
	}
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
	in("the mist coats", float64(b.GrainCoats), 0, 20, "")
	if !slices.Contains(material.Surfaces, b.Printed) {
		all = append(all, fmt.Errorf("pieces printed in %q are not known; use printed-resin or printed-filament", b.Printed))
	}
	return errors.Join(all...)
}
