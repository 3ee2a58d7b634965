package material

import (
	"errors"
	"fmt"
	"math"
)

// recipe is how a mix of components, thinner and filler is made up: shares by mass of the whole.
type recipe struct {
	components float64
	extras     []ingredient
	density    Density // of the whole
	warnings   []string
}

// Blend is what a mix becomes by its filler and thinner.
type Blend struct {
	Density  Density
	Thickens float64 // viscosity over that without filler, at least 1; a thinner's effect is not counted
}

// Blend is the mix of a shot with these options. Errors are those of Shot for filler and thinner.
func (m *Material) Blend(opt ShotOptions) (Blend, error) {
	r, err := m.recipe(opt)
	if err != nil {
		return Blend{}, err
	}
	b := Blend{Density: r.density, Thickens: 1}
	for _, e := range r.extras {
		b.Thickens = max(b.Thickens, e.Thickens)
	}
	return b, nil
}

// ingredient is an extra before it is weighed.
type ingredient struct {
	Extra
	mlPerG float64
}

// recipe works the shares out. With c g of components, thinner is t·c; filler is the share w of all, so
// w/(1−w)·(1+t)·c. Volumes add. Errors: *ThinnerError; those of Fill.
func (m *Material) recipe(opt ShotOptions) (*recipe, error) {
	d := m.MixedDensity()
	r := &recipe{components: 1, density: d}
	if opt.Filler == nil && opt.Thinner == nil {
		return r, nil
	}
	mass, vol := 1.0, 1/d.GPerML // for each g of components
	if t := opt.Thinner; t != nil {
		if err := t.check(m); err != nil {
			return nil, err
		}
		r.extras = append(r.extras, ingredient{Extra{Kind: "thinner", Name: t.Name, Of: "the components", Pct: t.Pct}, 1 / t.DensityGPerML})
		mass += t.Pct / 100
		vol += t.Pct / 100 / t.DensityGPerML
	}
	if f := opt.Filler; f != nil {
		thinned := *m
		thinned.MixedDensityGPerML = mass / vol
		x, err := thinned.Fill(vol, f.Filler, f.Pct) // the shares of it hold for any volume
		if err != nil {
			return nil, err
		}
		r.warnings = append(r.warnings, x.Warnings...)
		r.warnings = append(r.warnings, fmt.Sprintf("%s takes %.0f %% of the mix's volume and makes it about %.1f times thicker (Krieger and Dougherty, for round grains).", f.Name, 100*x.VolumeShare, x.Thickens))
		r.extras = append(r.extras, ingredient{Extra{Kind: "filler", Name: f.Name, Of: "the whole mix", Pct: f.Pct, VolumeShare: x.VolumeShare, Thickens: x.Thickens}, 1 / f.DensityGPerML})
		w := f.Pct / 100
		vol += w / (1 - w) * mass / f.DensityGPerML
		mass += w / (1 - w) * mass
	}
	r.components = 1 / mass
	// Each volume is added up from its own density, so the mix's is an estimate whatever the sheet says.
	r.density = Density{GPerML: mass / vol, Estimated: true, ErrorPct: max(d.ErrorPct, AdditiveErrorPct)}
	return r, nil
}

func (t *ThinnerShare) check(m *Material) error {
	var all []error
	if !(t.Pct > 0) {
		all = append(all, fmt.Errorf("thinner %s is %g %%; it must be above 0", t.Name, t.Pct))
	} else if t.Pct > m.ThinnerMaxPct {
		all = append(all, &ThinnerError{m.ID, t.Pct, m.ThinnerMaxPct})
	}
	if !(t.DensityGPerML >= 0.5 && t.DensityGPerML <= 2) {
		all = append(all, fmt.Errorf("thinner %s has a density of %g g/mL; it must be from 0.5 to 2", t.Name, t.DensityGPerML))
	}
	return errors.Join(all...)
}

// weighed is the extra for so many g of components, and of all that is in the mix before it. A filler is
// rounded up to the scale's step, so that the mix is never too little; a thinner down, so that it never
// goes over what was asked for.
func (e ingredient) weighed(components, before, step float64) Extra {
	x := e.Extra
	if x.Kind == "thinner" {
		x.G = onStep(max(1, math.Floor(components*x.Pct/100/step+countSlack)), step)
		x.GotPct = 100 * x.G / components
	} else {
		x.G = onStep(roundUp([]float64{before * x.Pct / (100 - x.Pct)}, step)[0], step)
		x.GotPct = 100 * x.G / (before + x.G)
	}
	x.ML = x.G * e.mlPerG
	return x
}
