package fill

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// BuoyancyN is the force that lifts a core which displaces a volume of resin: ρ·g·V (Archimedes).
func BuoyancyN(displacedMM3, densityGML float64) float64 {
	return densityGML * 1000 * gravityMS2 * displacedMM3 * 1e-9
}

// LoadQuestion asks what the resin does to a lid.
type LoadQuestion struct {
	Up r3.Vec // zero means +z
	// Lid marks the facets of the cavity mesh that the lid makes; nil means every facet that faces
	// up.
	Lid        []bool
	SurfaceMM  float64 // height of the free surface, in the cup, over the cavity's lowest point
	DensityGML float64 // 0 means 1.1
	// GaugeKPa is pressure on the resin above that outside the mould: by a syringe, or a pot line
	// into the mould alone. A mould wholly inside the pot has none.
	GaugeKPa float64
	Bolts    int
	Safety   float64 // 0 means 3: resin, printed threads and hand tightening; common practice, no source
}

// Load is the answer, in newtons.
type Load struct {
	LiftN       float64 `json:"lift_n"`   // on the lid, along Up; negative presses it down
	AreaMM2     float64 `json:"area_mm2"` // of the lid seen from above, wetted
	MostKPa     float64 `json:"most_kpa"`
	SafetyTimes float64 `json:"safety"`
	BoltN       float64 `json:"bolt_n"` // clamp load of one bolt, safety in it
	Words       string  `json:"words"`
}

const defaultSafety = 3

// LidLoad adds up the pressure of the resin at rest over the lid's facets. Pressure grows straight with
// depth, so a facet's mean is that at its centroid: the sum is exact while all of the facet is below
// the free surface.
func (c *Cavity) LidLoad(q LoadQuestion) (*Load, error) {
	if r3.Norm(q.Up) == 0 {
		q.Up = r3.Vec{Z: 1}
	}
	if q.DensityGML == 0 {
		q.DensityGML = defaultDensityGML
	}
	if q.Safety == 0 {
		q.Safety = defaultSafety
	}
	switch {
	case q.Lid != nil && len(q.Lid) != len(c.mesh.Tris):
		return nil, fmt.Errorf("the lid is marked on %d facets, the cavity has %d", len(q.Lid), len(c.mesh.Tris))
	case !(q.Safety >= 1) || math.IsInf(q.Safety, 0):
		return nil, &OptionError{"the safety factor", q.Safety, "1 or more"}
	case !(q.DensityGML > 0) || math.IsInf(q.DensityGML, 0):
		return nil, &OptionError{"the density in g/mL", q.DensityGML, "above 0"}
	case q.Bolts < 0:
		return nil, &OptionError{"the number of bolts", float64(q.Bolts), "0 or more"}
	}
	up := r3.Unit(q.Up)
	low := math.Inf(1)
	for _, v := range c.mesh.Verts {
		low = min(low, r3.Dot(v, up))
	}
	l := &Load{SafetyTimes: q.Safety}
	for f := range c.mesh.Tris {
		area := r3.Dot(c.normal(f), up) / 2
		if q.Lid != nil && !q.Lid[f] || q.Lid == nil && area <= 0 {
			continue
		}
		depth := q.SurfaceMM - (r3.Dot(c.mesh.Facet(f).Centroid(), up) - low)
		if depth < 0 && q.GaugeKPa == 0 {
			continue
		}
		p := HeadKPa(q.DensityGML, max(0, depth)) + q.GaugeKPa
		l.LiftN += p * area / 1000 // kPa·mm² = 1e-3 N
		l.AreaMM2 += max(0, area)
		l.MostKPa = max(l.MostKPa, p)
	}
	l.Words = fmt.Sprintf("the resin lifts the lid with %.1f N (%.2f kPa at most, %.0f mm² seen from above)", l.LiftN, l.MostKPa, l.AreaMM2)
	if q.Bolts > 0 {
		l.BoltN = max(0, l.LiftN) * q.Safety / float64(q.Bolts)
		l.Words += fmt.Sprintf("; each of %d bolts has to clamp with %.1f N, %g times its share", q.Bolts, l.BoltN, q.Safety)
	}
	return l, nil
}
