package job

import (
	"context"
	"fmt"
	"math"
	"slices"

	"mouldwright/internal/fill"
	"mouldwright/internal/geom"
	"mouldwright/internal/material"
	"mouldwright/internal/tooling"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// FillReport says how the finished mould fills: how to stand it, where air stays, how long the resin
// takes and how hard it pushes. Places are in the mould frame.
type FillReport struct {
	Rest    [3]float64         `json:"rest"` // up, when the mould stands as built: its sprue on top
	Flat    *fill.Result       `json:"flat"`
	Tilt    fill.TiltChoice    `json:"tilt"`           // best with the sprue and vents it has
	Tilted  *fill.Result       `json:"tilted"`         // filled there; null when flat is best
	Wedge   *fill.Wedge        `json:"wedge"`          // that props the mould; null when none is wanted
	Vents   []fill.VentSpot    `json:"vents_proposed"` // at that tilt, for air that still stays
	ThenMM3 float64            `json:"trapped_with_proposed_mm3"`
	Trial   *VentTrial         `json:"vents_again,omitempty"` // the mould built again for its vents; null when it was not
	Flow    *fill.FlowAnswer   `json:"flow"`                  // null when the viscosity or pot life is not known
	Thin    []fill.ThinSection `json:"thin"`                  // the slowest narrow sections, at most thinShown
	Load    *fill.Load         `json:"load"`
	Words   []string           `json:"words"`

	setup  fill.Setup
	tilts  *fill.TiltResult
	wanted []fill.VentSpot // had the mould no vents yet
}

const (
	// cupMM is the head of resin kept in a cup over the sprue: common practice, no source.
	cupMM = 20
	// fullSearch tilts are looked at on meshes up to manyFacets, fewSearch beyond.
	fullSearch, fewSearch, manyFacets = 500, 150, 60_000
	// thinShown narrow sections are reported; those that do not fill are put into words too.
	thinShown = 3
	// onShowMM: a facet of the casting this close to a show face of the part lies on it.
	onShowMM = 1e-4
)

// pouring is what a pour on paper needs to know beside the mould.
type pouring struct {
	show     []bool // of the part's facets
	material *material.Material
	rule     FillRule
	workers  int
}

// mould pours the finished mould on paper.
func (p pouring) mould(ctx context.Context, m *tooling.Mould, progress func(float64)) (*FillReport, error) {
	pour, vents := feeds(m)
	if len(pour) == 0 {
		return nil, nil // a mould without a sprue is poured open
	}
	c, err := fill.NewCavity(m.Cast, fill.Options{Show: castShow(m, p.show), Workers: p.workers, SnapMM: 2})
	if err != nil {
		return nil, fmt.Errorf("fill the mould: %w", err)
	}
	rest := restOf(m, pour[0])
	r := &FillReport{Rest: [3]float64{rest.X, rest.Y, rest.Z}}
	r.setup = fill.Setup{Up: rest, Pour: pour, Vents: vents, MarksOnShow: true, PotKPa: p.rule.PotKPa, Frames: fillFrames()}
	if d := p.material.MixedDensity().GPerML; d > 0 { // NaN when it is not known
		r.setup.DensityGML = d
	}
	if r.Flat, err = c.Fill(ctx, r.setup); err != nil {
		return nil, fmt.Errorf("fill the mould: %w", err)
	}
	progress(0.3)
	if err := r.tilt(ctx, c, m, p.rule); err != nil {
		return nil, fmt.Errorf("fill the mould: %w", err)
	}
	progress(1)
	return r, r.measure(ctx, c, m, p.material)
}

// feeds are the mouths of sprue and vents.
func feeds(m *tooling.Mould) (pour, vents []r3.Vec) {
	for _, f := range m.Features {
		switch f.Kind {
		case "sprue", "side sprue":
			pour = append(pour, f.At)
		case "vent":
			vents = append(vents, f.At)
		}
	}
	return pour, vents
}

// restOf is the side of the block that the sprue comes out of: it is turned up for pouring.
func restOf(m *tooling.Mould, sprue r3.Vec) r3.Vec {
	b := m.Block
	best, up := math.Inf(1), r3.Vec{Z: 1}
	for _, side := range []struct {
		off float64
		up  r3.Vec
	}{{b.Max.Z - sprue.Z, r3.Vec{Z: 1}}, {sprue.X - b.Min.X, r3.Vec{X: -1}}, {b.Max.X - sprue.X, r3.Vec{X: 1}}, {sprue.Y - b.Min.Y, r3.Vec{Y: -1}}, {b.Max.Y - sprue.Y, r3.Vec{Y: 1}}} {
		if off := math.Abs(side.off); off < best {
			best, up = off, side.up
		}
	}
	return up
}

// castShow carries the part's show faces over to the casting, whose facets are the part's cut by sprue
// and vents.
func castShow(m *tooling.Mould, show []bool) []bool {
	n := max(1, len(m.Cavities)) // bodies, one after another, with the same facets
	if n*len(show) != len(m.Part.Tris) {
		return nil
	}
	var marked [][3]uint32
	for f, t := range m.Part.Tris {
		if show[f%len(show)] {
			marked = append(marked, t)
		}
	}
	if marked == nil {
		return nil
	}
	tree := geom.NewBVH(m.Part.Verts, marked)
	out := make([]bool, len(m.Cast.Tris))
	for f := range out {
		_, out[f] = tree.NearestWithin(m.Cast.Facet(f).Centroid(), onShowMM)
	}
	return out
}

// tilt looks for the best way to prop the mould as it is, then for vents that it could do with.
func (r *FillReport) tilt(ctx context.Context, c *fill.Cavity, m *tooling.Mould, rule FillRule) error {
	o := fill.TiltOptions{Rest: r.setup.Up, Pour: r.setup.Pour, Vents: r.setup.Vents, MarksOnShow: true, OnlyThese: true, Directions: fullSearch}
	o.MaxXDeg, o.MaxYDeg = rule.limits()
	if len(m.Cast.Tris) > manyFacets {
		o.Directions = fewSearch
	}
	var err error
	if r.tilts, err = c.SearchTilt(ctx, o); err != nil {
		return err
	}
	r.Tilt = r.tilts.Best
	if r.Tilt.TiltDeg > 0 {
		at := r.setup
		at.Up = r.Tilt.Up
		if r.Tilted, err = c.Fill(ctx, at); err != nil {
			return err
		}
		f := geom.FrameTo(r.setup.Up)
		stood := m.Block
		if r.setup.Up.Z != 1 {
			stood = boxOf(f, m.Block)
		}
		if r.Wedge, err = fill.NewWedge(stood, f.Apply(r.Tilt.Up), 0); err != nil {
			return err
		}
	}
	prop, err := c.Propose(r.Tilt.Up, o)
	if err != nil {
		return err
	}
	r.Vents, r.ThenMM3 = inCavities(m, prop.Spots), prop.TrappedMM3
	if err := r.want(ctx, c, o); err != nil {
		return err
	}
	r.wanted = inCavities(m, r.wanted)
	return nil
}

// inCavities leaves out the spots over a runner: what air stays there is cut off with it.
func inCavities(m *tooling.Mould, spots []fill.VentSpot) []fill.VentSpot {
	if m.Runner == nil {
		return spots
	}
	return slices.DeleteFunc(slices.Clone(spots), func(v fill.VentSpot) bool {
		return !tooling.Outline(m.Shadow).Contains(r2.Vec{X: v.At.X, Y: v.At.Y})
	})
}

// boxOf is a box in a frame that swaps axes.
func boxOf(f geom.Frame, b r3.Box) r3.Box {
	p, q := f.Apply(b.Min), f.Apply(b.Max)
	return r3.Box{Min: r3.Vec{X: min(p.X, q.X), Y: min(p.Y, q.Y), Z: min(p.Z, q.Z)}, Max: r3.Vec{X: max(p.X, q.X), Y: max(p.Y, q.Y), Z: max(p.Z, q.Z)}}
}

// used is the fill that the maker will see.
func (r *FillReport) used() *fill.Result {
	if r.Tilted != nil {
		return r.Tilted
	}
	return r.Flat
}

// measure adds times and loads, and the words.
func (r *FillReport) measure(ctx context.Context, c *fill.Cavity, m *tooling.Mould, mat *material.Material) error {
	up := r.used().Up
	low, top := math.Inf(1), r3.Dot(r.setup.Pour[0], up)
	for _, v := range m.Cast.Verts {
		low = min(low, r3.Dot(v, up))
	}
	cup := top - low + cupMM
	r.Words = append(r.Words, r.Tilt.Words)
	for _, k := range r.used().Pockets {
		r.Words = append(r.Words, k.Words)
	}
	for _, v := range r.Vents {
		r.Words = append(r.Words, fmt.Sprintf("a vent at (%.1f, %.1f, %.1f) of the mould would let %.3g mm³ out", v.At.X, v.At.Y, v.At.Z, v.PocketMM3))
	}
	if mat.ViscosityMPaS > 0 && mat.PotLife != nil && mat.PotLife.Seconds > 0 {
		q := fill.FlowQuestion{CupMM: cup, ViscosityMPaS: mat.ViscosityMPaS, DensityGML: r.setup.DensityGML, PotLifeS: mat.PotLife.Seconds}
		for _, f := range m.Features {
			switch b, ok := boreOf(f); {
			case ok && f.Kind == "sprue":
				q.Sprue = b
			case ok && f.Kind == "vent":
				q.Vents = append(q.Vents, b)
			}
		}
		if m.Runner != nil {
			q.RunnerMM3 = m.Runner.Resistance
		}
		if q.Sprue.DiameterMM > 0 {
			q.EntryMM = max(0, top-low-q.Sprue.LengthMM)
			a, err := r.used().FlowTime(q)
			if err != nil {
				return fmt.Errorf("time of the fill: %w", err)
			}
			r.Flow = a
			r.Words = append(r.Words, a.Words)
			if err := r.thin(ctx, c, q, a.AllowedS); err != nil {
				return err
			}
		}
	}
	return r.load(c, m, up, cup)
}

// thin names the narrow sections that the resin reaches last.
func (r *FillReport) thin(ctx context.Context, c *fill.Cavity, q fill.FlowQuestion, allowed float64) error {
	all, err := c.ThinSections(ctx, fill.ThinQuestion{Up: r.used().Up, CupMM: q.CupMM, ViscosityMPaS: q.ViscosityMPaS, DensityGML: q.DensityGML, AllowedS: allowed})
	if err != nil {
		return fmt.Errorf("narrow sections: %w", err)
	}
	r.Thin = all[:min(thinShown, len(all))]
	for _, s := range r.Thin {
		if !s.InTime {
			r.Words = append(r.Words, s.Words)
		}
	}
	return nil
}

// boreOf is the bore of a sprue or vent, by its sizes.
func boreOf(f tooling.Feature) (fill.Bore, bool) {
	s := map[string]float64{}
	for _, z := range f.SizesMM {
		s[z.Name] = z.MM
	}
	a, b, l := s["top diameter"], s["bottom diameter"], s["length"]
	if !(a > 0 && b > 0 && l > 0) {
		return fill.Bore{}, false
	}
	return fill.Tapered("the "+f.Name, a, b, l), true
}

// load is the lift on the piece above, of a mould that stands with its upper half up.
func (r *FillReport) load(c *fill.Cavity, m *tooling.Mould, up r3.Vec, cup float64) error {
	if up.Z <= 0.5 {
		return nil // the halves stand side by side
	}
	bolts := 0
	for _, f := range m.Features {
		if f.Kind == "bolt" {
			bolts++
		}
	}
	lid := make([]bool, len(m.Cast.Tris))
	for f := range lid {
		t := m.Cast.Facet(f)
		// The caps of sprue and vents are open.
		lid[f] = t.Normal().Z > 0 && t.Centroid().Z < m.Block.Max.Z-onShowMM
	}
	var err error
	if r.Load, err = c.LidLoad(fill.LoadQuestion{Up: up, Lid: lid, SurfaceMM: cup, DensityGML: r.setup.DensityGML, Bolts: bolts}); err != nil {
		return fmt.Errorf("load on the lid: %w", err)
	}
	r.Words = append(r.Words, r.Load.Words)
	return nil
}
