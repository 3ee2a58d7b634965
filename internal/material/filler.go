package material

import (
	"errors"
	"fmt"
	"math"
)

// Filler is a powder or fibre stirred into a mix.
type Filler struct {
	Name          string
	DensityGPerML float64 // of the grains, not of the heap
	// MaxShare is the share of volume at which the mix no longer flows; 0 means 0.64, the close random
	// packing of equal spheres. Fibres and flakes reach far less.
	MaxShare float64
}

// Filled is a mix with filler in it.
type Filled struct {
	FillerG     float64  `json:"filler_g"`
	ResinG      float64  `json:"resin_g"`
	ML          float64  `json:"ml"`
	Density     float64  `json:"density_g_per_ml"`
	VolumeShare float64  `json:"volume_share"` // of the filler
	Thickens    float64  `json:"thickens"`     // viscosity over that without filler
	Warnings    []string `json:"warnings"`
}

// Fill is the mix of a volume in which filler has a share by mass of all, in %. Volumes add. The
// viscosity follows Krieger and Dougherty (1959): (1 − φ/φm)^(−2.5·φm), which for little filler is
// Einstein's 1 + 2.5·φ; it is for smooth, round grains and an estimate for others.
func (m *Material) Fill(volumeML float64, f Filler, massPct float64) (*Filled, error) {
	if f.MaxShare == 0 {
		f.MaxShare = ClosePacking
	}
	var all []error
	for _, v := range []struct {
		what      string
		v, lo, hi float64
	}{{"the volume, mL", volumeML, 1e-3, 1e6}, {"the filler's density, g/mL", f.DensityGPerML, 0.02, 22}, {"the filler's share, %", massPct, 0, 99}, {"the filler's largest share of volume", f.MaxShare, 0.05, 0.95}} {
		if !(v.v >= v.lo && v.v <= v.hi) {
			all = append(all, fmt.Errorf("%s: %g; it must be from %g to %g", v.what, v.v, v.lo, v.hi))
		}
	}
	if err := errors.Join(append(all, m.Check())...); err != nil {
		return nil, err
	}
	w, rho := massPct/100, m.MixedDensity().GPerML
	out := &Filled{ML: volumeML, Density: 1 / (w/f.DensityGPerML + (1-w)/rho), Warnings: []string{}}
	out.FillerG, out.ResinG = volumeML*out.Density*w, volumeML*out.Density*(1-w)
	out.VolumeShare = out.FillerG / f.DensityGPerML / volumeML
	if out.VolumeShare >= f.MaxShare {
		return nil, fmt.Errorf("%g %% of %s is %.0f %% of the volume, and at %.0f %% it no longer flows; use less", massPct, f.Name, 100*out.VolumeShare, 100*f.MaxShare)
	}
	out.Thickens = math.Pow(1-out.VolumeShare/f.MaxShare, -2.5*f.MaxShare)
	if m.FillerMaxPct > 0 && massPct > m.FillerMaxPct {
		out.Warnings = append(out.Warnings, fmt.Sprintf("%g %% of filler is more than the %g %% that %s allows.", massPct, m.FillerMaxPct, m.ID))
	}
	if m.FillerMaxPct == 0 {
		out.Warnings = append(out.Warnings, fmt.Sprintf("How much filler %s takes is not known: test a cup.", m.ID))
	}
	return out, nil
}

// ThinnerError says that more thinner is asked for than the material takes.
type ThinnerError struct {
	ID          string
	Pct, MaxPct float64
}

func (e *ThinnerError) Error() string {
	if e.MaxPct == 0 {
		return fmt.Sprintf("how much thinner %s takes is not known, so none is allowed; put thinner_max_pct of its data sheet in the material file", e.ID)
	}
	return fmt.Sprintf("%g %% of thinner is more than the %g %% that %s allows; more weakens it and makes it shrink", e.Pct, e.MaxPct, e.ID)
}

// ThinnerG is the thinner for a mix, % of its mass. Errors: *ThinnerError.
func (m *Material) ThinnerG(mixG, pct float64) (float64, error) {
	if !(mixG > 0) || !(pct >= 0) {
		return 0, fmt.Errorf("%g %% of thinner in %g g; both must be positive", pct, mixG)
	}
	if pct > m.ThinnerMaxPct {
		return 0, &ThinnerError{m.ID, pct, m.ThinnerMaxPct}
	}
	return mixG * pct / 100, nil
}
