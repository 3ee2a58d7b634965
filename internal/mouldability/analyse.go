package mouldability

import (
	"context"
	"fmt"
	"math"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// AnalyseOptions steer Analyse. The zero value is the sensible default.
type AnalyseOptions struct {
	Show        []bool  // per facet: must stay free of flash; nil for none
	MinDraftDeg float64 // draft asked for; 0 means DefaultMinDraftDeg
	ToleranceMM float64 // undercuts narrower are dismissed; 0 means DefaultToleranceMM
	DepthCells  int     // cells per undercut for its depth; 0 means DefaultDepthCells
	Workers     int     // 0 means one per processor; the answer doesn't depend on it
	Progress    func(done float64)
}

// DraftClass is the area of the surface with a draft of From up to To degrees.
type DraftClass struct {
	Name           string
	FromDeg, ToDeg float64
	AreaMM2        float64
}

// Report is what Analyse finds for one opening direction.
type Report struct {
	Direction r3.Vec    // unit
	DraftDeg  []float64 // per facet, signed: positive leaves along +d
	Reach     []Reach   // per facet
	CaughtMM2 []float64 // per facet, of its area: what lies in the undercuts
	Undercuts []Undercut
	// UndercutAreaMM2 and TrappedMM3 are the sums over Undercuts.
	UndercutAreaMM2, TrappedMM3 float64
	// DismissedMM2 is caught area in bands narrower than ToleranceMM: sliding contact, no undercut.
	DismissedMM2 float64
	// MinDraftDeg is the least draft of a facet that is pulled off the mould, walls counting as 0.
	MinDraftDeg float64
	Classes     []DraftClass // by draft, without the caught area; then the caught area
	HeightMM    float64      // extent along the direction
	// ProjectedAreaMM2 is the area of the part's shadow; exact up to ClosureMM2.
	ProjectedAreaMM2 float64
	// PartingMM and ShowPartingMM estimate the parting line and the length of it on show faces.
	PartingMM, ShowPartingMM float64
	// ClosureMM2 is floors less roofs of all caught area, seen along the direction. It is 0 for a
	// closed mesh but for rounding and what lies under walls, which are neither; a large value means the
	// mesh is open.
	ClosureMM2  float64
	ToleranceMM float64 // of the undercut test
	NoiseMM     float64 // overlaps narrower than this were taken for shared silhouettes
}

// Burden is what a maker has to overcome to open a mould along a direction.
type Burden struct {
	Sealed           int     // hollows that no piece reaches
	DepthMM, ErrorMM float64 // of the deepest other undercut
	AreaMM2          float64 // caught
}

// Easier says that b is less to overcome than o: fewer sealed hollows, then a less deep undercut, beyond the errors
// of the two, then less caught area.
func (b Burden) Easier(o Burden) bool {
	switch {
	case b.Sealed != o.Sealed:
		return b.Sealed < o.Sealed
	case math.Abs(b.DepthMM-o.DepthMM) > max(b.ErrorMM, o.ErrorMM):
		return b.DepthMM < o.DepthMM
	}
	return b.AreaMM2 < o.AreaMM2
}

// Burden sums up the undercuts.
func (r *Report) Burden() Burden {
	b := Burden{AreaMM2: r.UndercutAreaMM2}
	for i := range r.Undercuts {
		switch u := &r.Undercuts[i]; {
		case u.Sealed:
			b.Sealed++
		case u.DepthMM > b.DepthMM:
			b.DepthMM, b.ErrorMM = u.DepthMM, u.DepthErrorMM
		}
	}
	return b
}

// Analyse answers for the opening direction d, which need not be of unit length. Occluded areas and
// volumes come from exact clipping of facets against each other, so their error is rounding; depth
// comes from a grid and carries its error. It fails on an empty mesh, on vertices that are not
// finite, on a bad direction, and when ctx ends.
func Analyse(ctx context.Context, m *mesh.Mesh, d r3.Vec, opt AnalyseOptions) (*Report, error) {
	if err := opt.complete(m); err != nil {
		return nil, err
	}
	d, err := unitDirection(d)
	if err != nil {
		return nil, err
	}
	p, err := newProjection(m, d)
	if err != nil {
		return nil, err
	}
	all, err := findCaught(ctx, p, opt.Workers, scaled(opt.Progress, 0, 0.8))
	if err != nil {
		return nil, fmt.Errorf("mouldability: analysis stopped: %w", err)
	}
	adj := m.Adjacency()
	r := &Report{Direction: d, ToleranceMM: opt.ToleranceMM, NoiseMM: p.noise}
	r.Undercuts, r.DismissedMM2 = gatherUndercuts(p, adj, all, opt.ToleranceMM)
	if err := describeUndercuts(ctx, p, r.Undercuts, adj, opt, scaled(opt.Progress, 0.8, 0.2)); err != nil {
		return nil, fmt.Errorf("mouldability: analysis stopped: %w", err)
	}
	r.measure(p, all)
	r.classify(p, all, opt.MinDraftDeg)
	held := func(f int32) bool { return r.Reach[f] == Caught }
	r.PartingMM, r.ShowPartingMM = outline(m, adj, p.facing, held, opt.Show)
	return r, nil
}

func (opt *AnalyseOptions) complete(m *mesh.Mesh) error {
	if err := checkMesh(m); err != nil {
		return err
	}
	if opt.Show != nil && len(opt.Show) != len(m.Tris) {
		return fmt.Errorf("mouldability: %d show marks for %d facets", len(opt.Show), len(m.Tris))
	}
	if !(opt.MinDraftDeg >= 0 && opt.MinDraftDeg < 90) || !(opt.ToleranceMM >= 0) || opt.DepthCells < 0 {
		return fmt.Errorf("mouldability: options out of range: draft %g°, tolerance %g mm, %d depth cells", opt.MinDraftDeg, opt.ToleranceMM, opt.DepthCells)
	}
	if opt.MinDraftDeg == 0 {
		opt.MinDraftDeg = DefaultMinDraftDeg
	}
	if opt.ToleranceMM == 0 {
		opt.ToleranceMM = DefaultToleranceMM
	}
	if opt.DepthCells == 0 {
		opt.DepthCells = DefaultDepthCells
	}
	return nil
}

// scaled maps the progress of a stage into that of the whole.
func scaled(progress func(float64), from, share float64) func(float64) {
	if progress == nil {
		return nil
	}
	return func(x float64) { progress(from + share*x) }
}

// measure takes height and the shadow: every column of the shadow leaves through one free floor.
func (r *Report) measure(p *projection, all []caught) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for f, reach := range p.facing {
		a, b, c := p.facet(f)
		lo, hi = min(lo, a.Z, b.Z, c.Z), max(hi, a.Z, b.Z, c.Z)
		if reach == Up {
			r.ProjectedAreaMM2 += p.area[f] * p.nz[f]
		}
	}
	r.HeightMM = hi - lo
	for i := range all {
		if p.facing[all[i].facet] == Up {
			r.ProjectedAreaMM2 -= all[i].m.A
			r.ClosureMM2 += all[i].m.A
		} else {
			r.ClosureMM2 -= all[i].m.A
		}
	}
	for i := range r.Undercuts {
		r.UndercutAreaMM2 += r.Undercuts[i].AreaMM2
		r.TrappedMM3 += r.Undercuts[i].VolumeMM3
	}
}

// classify fills the figures per facet and the areas by draft.
func (r *Report) classify(p *projection, all []caught, asked float64) {
	n := len(p.facing)
	r.Reach, r.DraftDeg = append([]Reach(nil), p.facing...), make([]float64, n)
	for i := range r.Undercuts {
		for _, f := range r.Undercuts[i].Facets {
			r.Reach[f] = Caught
		}
	}
	lost := make([]float64, n)
	for i := range all {
		if f := all[i].facet; r.Reach[f] == Caught {
			lost[f] = all[i].areaMM2(p)
		}
	}
	r.CaughtMM2 = lost
	r.Classes = []DraftClass{
		{Name: "walls without draft"},
		{Name: "less than asked", ToDeg: asked},
		{Name: "up to three times what was asked", FromDeg: asked, ToDeg: 3 * asked},
		{Name: "more", FromDeg: 3 * asked, ToDeg: 90},
		{Name: "caught in undercuts", FromDeg: 0, ToDeg: 90, AreaMM2: r.UndercutAreaMM2},
	}
	r.MinDraftDeg = 90
	for f := range n {
		r.DraftDeg[f] = math.Asin(max(-1, min(1, p.nz[f]))) * 180 / math.Pi
		draft := math.Abs(r.DraftDeg[f])
		k := 0
		switch {
		case p.facing[f] == Wall:
			draft = 0
		case draft < asked:
			k = 1
		case draft < 3*asked:
			k = 2
		default:
			k = 3
		}
		r.Classes[k].AreaMM2 += p.area[f] - lost[f]
		// A needle narrower than the noise has a normal made of noise.
		if r.Reach[f] != Caught && !p.needle(f) {
			r.MinDraftDeg = min(r.MinDraftDeg, draft)
		}
	}
}

// needle says whether facet f is so narrow that its normal can't be trusted.
func (p *projection) needle(f int) bool {
	a, b, c := p.facet(f)
	l := max(r3.Norm(r3.Sub(b, a)), r3.Norm(r3.Sub(c, b)), r3.Norm(r3.Sub(a, c)))
	return 2*p.area[f] <= l*p.noise
}
