package material

import (
	"errors"
	"fmt"
)

// Share of space that equal balls take when poured at random, and when shaken down (Scott & Kilgour
// 1969: 0.60 loose, 0.6366 close; from memory). Near walls it is less, by about a ball's width.
const (
	LoosePacking = 0.60
	ClosePacking = 0.64
)

// Ballast is a hollow filled with balls, the rest with resin.
type Ballast struct {
	Packing    float64 `json:"packing"` // share of the hollow that the balls take
	BallsG     float64 `json:"balls_g"`
	BallsML    float64 `json:"balls_ml"`
	ResinML    float64 `json:"resin_ml"` // backfill
	ResinG     float64 `json:"resin_g"`
	MassG      float64 `json:"mass_g"`
	DensityGML float64 `json:"density_g_per_ml"` // of the filled hollow
}

// BallastRange is a ballast filled loosely and shaken down: the real one lies between.
type BallastRange struct {
	Loose    Ballast  `json:"loose"`
	Close    Ballast  `json:"close"`
	ResinML  float64  `json:"resin_ml"` // to mix: that of the loose filling, so that it is never too little
	Warnings []string `json:"warnings"`
}

// BallFill fills a hollow with balls of one size and backfills it with a resin. Balls that are not
// small against the hollow pack less densely; leastMM is the hollow's least width.
func BallFill(hollowMM3, ballGPerML, ballMM, leastMM, resinGPerML float64) (*BallastRange, error) {
	var all []error
	for _, v := range []struct {
		what      string
		v, lo, hi float64
	}{{"the hollow, mm³", hollowMM3, 1, 1e10}, {"the balls' density, g/mL", ballGPerML, 0.02, 22}, {"the balls' diameter, mm", ballMM, 0.05, 100}, {"the hollow's least width, mm", leastMM, 0.1, 1e4}, {"the resin's density, g/mL", resinGPerML, 0.1, 10}} {
		if !(v.v >= v.lo && v.v <= v.hi) {
			all = append(all, fmt.Errorf("%s: %g; it must be from %g to %g", v.what, v.v, v.lo, v.hi))
		}
	}
	if ballMM > leastMM {
		all = append(all, fmt.Errorf("balls of %g mm do not go into a hollow %g mm wide", ballMM, leastMM))
	}
	if len(all) > 0 {
		return nil, errors.Join(all...)
	}
	fill := func(share float64) Ballast {
		b := Ballast{Packing: share, BallsML: hollowMM3 / 1000 * share}
		b.ResinML = hollowMM3/1000 - b.BallsML
		b.BallsG, b.ResinG = b.BallsML*ballGPerML, b.ResinML*resinGPerML
		b.MassG = b.BallsG + b.ResinG
		b.DensityGML = b.MassG / (hollowMM3 / 1000)
		return b
	}
	r := &BallastRange{Loose: fill(LoosePacking), Close: fill(ClosePacking), Warnings: []string{}}
	r.ResinML = r.Loose.ResinML
	const wide = 10 // ball widths from which walls no longer matter much
	if leastMM < wide*ballMM {
		r.Warnings = append(r.Warnings, fmt.Sprintf("The hollow is only %.1f balls wide: near walls balls pack less densely, so it may take fewer balls and more resin than said.", leastMM/ballMM))
	}
	return r, nil
}
