package job

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/atomicfile"
	"mouldwright/internal/fill"
	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
	"mouldwright/internal/prose"
	"mouldwright/internal/solid"
)

// LidOptions ask how the upper half goes down onto a lower half that was poured first. The zero value
// of every field is sensible.
type LidOptions struct {
	LiquidML float64   // poured into the lower half; 0 takes the cavity and both tolerances, or what the half holds
	Hinges   []string  // sides of the block to lower the lid about: left, right, front, back; nil tries all
	Angles   []float64 // degrees to start from; nil tries flat, 5, 10, 20 and 30
	// PourPct is how far the poured amount may be off, each way; 0 means 2 %. CavityPct is how far the
	// printed cavity may be; 0 means 1 %. Common practice, no source.
	PourPct, CavityPct float64
	GutterMM2          float64 // section of a gutter that is there; 0 sizes one
	Workers            int
	Progress           func(done float64)
	Pool               *solid.Pool // nil: one of its own
}

// LidReport says how to close the lid. Places are in the mould frame.
type LidReport struct {
	LiquidML float64             `json:"liquid_ml"`  // poured first
	HoldsML  float64             `json:"holds_ml"`   // the open lower half, to its rim
	CavityML float64             `json:"cavity_ml"`  // of the casting, without sprue and vents
	TopUpML  float64             `json:"top_up_ml"`  // the cavity's rest, through the sprue
	Closings *fill.LidComparison `json:"comparison"` // by hinge then angle
	Gutter   *fill.Gutter        `json:"gutter"`
	GutterMM float64             `json:"gutter_length_mm"` // its centre line, taken round the cavity
	Picture  string              `json:"picture"`          // file
	Advice   []string            `json:"advice"`
	PitchMM  float64             `json:"pitch_mm"` // of the columns
	// Bare: the halves were closed without keys and bolt holes; else the gaps about those hold air too.
	Bare      bool    `json:"bare_halves"`
	PourPct   float64 `json:"pour_tolerance_pct"`
	CavityPct float64 `json:"cavity_tolerance_pct"`
}

const (
	defaultPourPct, defaultCavityPct = 2.0, 1.0
	// gutterOffMM is from the cavity to the middle of a gutter: a land of 4 mm and half a gutter of 4 mm.
	gutterOffMM = 6
	// lidColumnsJob is about how many columns a closing is followed on: a comparison takes some seconds.
	lidColumnsJob = 8000
	// seedTries places are tried for the one where the resin is poured.
	seedTries = 40
	// leastHeldMM3: a lower half that holds less has no hollow to pour into.
	leastHeldMM3 = 1
)

// ErrNoHollow: nothing can be poured into the lower half before it is closed.
var ErrNoHollow = errors.New("the lower half has no hollow to pour into")

// CloseLid closes the mould of the last run over its lower half, poured first, from each edge and
// angle asked for, and writes the chart into out/pictures. Everything else in out/ stays as it is.
func CloseLid(ctx context.Context, folder string, o LidOptions) (*LidReport, error) {
	if err := o.complete(); err != nil {
		return nil, err
	}
	unlock, err := lock(folder)
	if err != nil {
		return nil, err
	}
	defer unlock()
	if o.Pool == nil {
		o.Pool = solid.NewPool(solid.Options{})
		defer o.Pool.Close()
	}
	l, err := openLid(ctx, folder, o.Pool)
	if err != nil {
		return nil, err
	}
	hinges, err := l.hinges(o.Hinges)
	if err != nil {
		return nil, err
	}
	r := &LidReport{Bare: l.bare, CavityML: l.cavityMM3 / 1000, GutterMM: l.gutterMM(), PitchMM: l.pitch(), PourPct: o.PourPct, CavityPct: o.CavityPct}
	held, err := l.holds(ctx)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", folder, err)
	}
	r.HoldsML = held / 1000
	r.pour(o)
	s := fill.LidSearch{Lid: l.lid, Hinges: hinges, Angles: o.Angles, Workers: o.Workers, Progress: o.Progress}
	s.LiquidMM3 = 1000 * r.LiquidML
	if r.Closings, err = fill.SearchLid(ctx, s); err != nil {
		return nil, fmt.Errorf("%s: %w", folder, err)
	}
	if err := r.gutter(o); err != nil {
		return nil, err
	}
	r.advise()
	r.Picture = filepath.Join(folder, OutName, "pictures", "lid.svg")
	if err := atomicfile.Write(r.Picture, r.Closings.Chart().WriteSVG); err != nil {
		return nil, err
	}
	return r, nil
}

func (o *LidOptions) complete() error {
	if o.PourPct == 0 {
		o.PourPct = defaultPourPct
	}
	if o.CavityPct == 0 {
		o.CavityPct = defaultCavityPct
	}
	for _, v := range []struct {
		name      string
		value, hi float64
	}{{"the poured amount, mL", o.LiquidML, math.MaxFloat64}, {"the tolerance of the pour, %", o.PourPct, 50}, {"the tolerance of the cavity, %", o.CavityPct, 50}, {"the gutter's section, mm²", o.GutterMM2, math.MaxFloat64}} {
		if !(v.value >= 0 && v.value <= v.hi) {
			return fmt.Errorf("lid closing: %s, is %g: give a number from 0 to %.3g", v.name, v.value, v.hi)
		}
	}
	for _, a := range o.Angles {
		if !(a >= 0 && a <= 85) {
			return fmt.Errorf("lid closing: the starting angle is %g°: give one from 0 to 85", a)
		}
	}
	return nil
}

// openedLid is the mould of the last run, ready to close.
type openedLid struct {
	lid       fill.Lid
	cast      *mesh.Mesh
	cavityMM3 float64
	bare      bool
}

// openLid reads the two halves of the last run.
func openLid(ctx context.Context, folder string, pool *solid.Pool) (*openedLid, error) {
	rep, err := LastReport(folder)
	if err != nil {
		return nil, err
	}
	if rep.Mould == nil {
		return nil, fmt.Errorf("%s: the last run made no mould; out/report.json says why", folder)
	}
	if n := rep.Mould.Castings(); n > 1 {
		return nil, fmt.Errorf("%s: its mould has %d cavities; how a lid goes down is worked out for one cavity: run a copy of the job with cavities = 1 in [mould]", folder, n)
	}
	l := &openedLid{cavityMM3: rep.Mould.CavityMM3()}
	path, err := resultPath(folder, "mould.3mf")
	if err != nil {
		return nil, fmt.Errorf("read the mould: %w; make it again with: mouldwright run %s", err, folder)
	}
	model, err := meshfile.OpenContext(ctx, path, mesh.Limits{})
	if err != nil {
		return nil, fmt.Errorf("%w; make it again with: mouldwright run %s", err, folder)
	}
	for _, o := range model.InMM().Objects {
		switch o.Name {
		case "lower half":
			l.lid.Base = mesh.Weld(o.Mesh, 0)
		case "upper half":
			l.lid.Lid = mesh.Weld(o.Mesh, 0)
		case "casting":
			l.cast = mesh.Weld(o.Mesh, 0)
		}
	}
	if l.lid.Base == nil || l.lid.Lid == nil || l.cast == nil || !(l.cavityMM3 > 0) {
		return nil, fmt.Errorf("%s: no lower half, upper half and casting of one cavity in it: a lid is closed on moulds of two halves, this one is of the family %q", path, rep.Mould.Family)
	}
	if rep.Mould.SurfaceFlat {
		if err := l.strip(ctx, pool); err != nil {
			return nil, fmt.Errorf("%s: the halves without their keys: %w", path, err)
		}
	}
	// Named, their bores let air out on the wider columns of the check run too. A mouth counts for what lies under it.
	for _, f := range rep.Mould.Features {
		if f.Kind == "sprue" || f.Kind == "vent" {
			l.lid.Vents = append(l.lid.Vents, vec(f.AtMM))
		}
	}
	l.lid.PitchMM = l.pitch()
	return l, nil
}

// strip leaves of the halves the block and the cavity alone. Keys, sockets and bolt holes have gaps that
// hold air of their own, which never meets the casting, and keys bind in their sockets while the lid
// turns. Where the parting surface is flat the bare halves are known: the block below and above it,
// less the casting, but for cores: what the casting parts from its half hangs on the other.
func (l *openedLid) strip(ctx context.Context, pool *solid.Pool) error {
	low, high := l.lid.Base.Bounds(), l.lid.Lid.Bounds()
	z := l.partingZ()
	return pool.Do(ctx, func(k *solid.Kernel) error {
		cast, err := k.FromMesh(l.cast)
		if err != nil {
			return err
		}
		base, toLid, err := shorn(k, cast, r3.Box{Min: low.Min, Max: r3.Vec{X: low.Max.X, Y: low.Max.Y, Z: z}}, low.Min.Z)
		if err != nil {
			return err
		}
		lid, toBase, err := shorn(k, cast, r3.Box{Min: r3.Vec{X: high.Min.X, Y: high.Min.Y, Z: z}, Max: high.Max}, high.Max.Z)
		if err != nil {
			return err
		}
		for _, h := range []struct {
			to    **mesh.Mesh
			parts []*solid.Solid
		}{{&l.lid.Base, append(base, toBase...)}, {&l.lid.Lid, append(lid, toLid...)}} {
			whole, err := k.Union(h.parts...)
			if err != nil {
				return err
			}
			if *h.to, err = whole.Mesh(); err != nil {
				return err
			}
		}
		l.bare = true
		return nil
	})
}

// shorn is a box less the casting: what reaches the box's outer face, at a height, and what does not.
func shorn(k *solid.Kernel, cast *solid.Solid, box r3.Box, outerZ float64) (own, cores []*solid.Solid, err error) {
	s, err := k.Box(box)
	if err != nil {
		return nil, nil, err
	}
	if s, err = s.Subtract(cast); err != nil {
		return nil, nil, err
	}
	parts, err := s.Parts()
	if err != nil {
		return nil, nil, err
	}
	for _, p := range parts {
		b, err := p.Bounds()
		if err != nil {
			return nil, nil, err
		}
		if min(math.Abs(b.Min.Z-outerZ), math.Abs(b.Max.Z-outerZ)) < onShowMM {
			own = append(own, p)
		} else {
			cores = append(cores, p)
		}
	}
	return own, cores, nil
}

// partingZ is the height of a flat parting surface: where the two halves' level facets that face each
// other have the most area in common.
func (l *openedLid) partingZ() float64 {
	const perMM = 1e4 // heights are told apart to 0.1 µm
	areas := func(m *mesh.Mesh, sign float64) map[int64]float64 {
		out := map[int64]float64{}
		for f := range m.Tris {
			t := m.Facet(f)
			n := t.Normal()
			if sign*n.Z > (1-1e-9)*r3.Norm(n) {
				out[int64(math.Round(t[0].Z*perMM))] += geom.Area(t)
			}
		}
		return out
	}
	up, down := areas(l.lid.Base, 1), areas(l.lid.Lid, -1)
	best, most := int64(math.MinInt64), 0.0
	for z, a := range up {
		if b := min(a, down[z]); b > most || (b == most && z > best) {
			best, most = z, b
		}
	}
	return float64(best) / perMM
}

// pitch is that of the columns: fine enough that sprue and vents stay open on the coarser grid of the
// run that gives the error, √2 times the pitch: its diagonal fits into the narrowest mouth.
func (l *openedLid) pitch() float64 {
	s := l.lid.Base.Bounds().Size()
	return min(math.Sqrt(s.X*s.Y/lidColumnsJob), 0.95*l.narrowestMM()/2)
}

// narrowestMM is the diameter of a disc as large as the smallest mouth in the top of the block.
func (l *openedLid) narrowestMM() float64 {
	caps := &mesh.Mesh{Verts: l.cast.Verts}
	top := l.lid.Lid.Bounds().Max.Z
	for f, t := range l.cast.Tris {
		if c := l.cast.Facet(f); min(c[0].Z, c[1].Z, c[2].Z) > top-onShowMM {
			caps.Tris = append(caps.Tris, t)
		}
	}
	of, n := caps.Components()
	areas := make([]float64, n)
	for f, k := range of {
		areas[k] += geom.Area(caps.Facet(f))
	}
	if n == 0 {
		return math.Inf(1)
	}
	return 2 * math.Sqrt(slices.Min(areas)/math.Pi)
}

// lidSides are the sides of the block, as a maker who stands in front of it names them, in the order
// of fill.TopEdges.
var lidSides = []string{"left", "right", "front", "back"}

// hinges are the edges asked for.
func (l *openedLid) hinges(asked []string) ([]fill.Hinge, error) {
	if asked == nil {
		asked = lidSides
	}
	all := fill.TopEdges(l.rim())
	var out []fill.Hinge
	for _, a := range asked {
		i := slices.Index(lidSides, a)
		if i < 0 {
			return nil, fmt.Errorf("lid closing: there is no edge %q: it is one of %s", a, strings.Join(lidSides, ", "))
		}
		h := all[i]
		h.Name = "the " + a + " edge"
		out = append(out, h)
	}
	return out, nil
}

// rim is the base's box up to the highest place of its sides: keys stand higher, farther in.
func (l *openedLid) rim() r3.Box {
	const side = 1e-6
	b := l.lid.Base.Bounds()
	top := b.Min.Z
	for _, v := range l.lid.Base.Verts {
		if v.X-b.Min.X < side || b.Max.X-v.X < side || v.Y-b.Min.Y < side || b.Max.Y-v.Y < side {
			top = max(top, v.Z)
		}
	}
	b.Max.Z = top
	return b
}

// holds finds where the open lower half is poured into, and how much it holds to its rim: of far too
// much resin, what has not run over before the lid comes near.
func (l *openedLid) holds(ctx context.Context) (mm3 float64, err error) {
	var floor []int
	for f := range l.cast.Tris {
		if t := l.cast.Facet(f); t.Normal().Z < 0 {
			floor = append(floor, f)
		}
	}
	at := func(f int) r3.Vec { return l.cast.Facet(f).Centroid() }
	slices.SortStableFunc(floor, func(a, b int) int { return cmp.Compare(at(a).Z, at(b).Z) })
	const off = 1e-3 // above the floor
	probe := l.lid
	probe.LiquidMM3, probe.Steps = 4*l.cast.VolumeMM3(), 2
	for i := 0; i < len(floor); i += 1 + len(floor)/seedTries {
		probe.Into = r3.Add(at(floor[i]), r3.Vec{Z: off})
		r, err := fill.CloseLid(ctx, probe)
		var none *fill.NoSpaceError
		if errors.As(err, &none) {
			continue
		}
		if err != nil {
			return 0, err
		}
		if held := probe.LiquidMM3 - r.Steps[0].OverMM3; held >= leastHeldMM3 {
			l.lid.Into = probe.Into
			return held, nil
		}
	}
	return 0, fmt.Errorf("%w: the cavity lies above the parting line; pour through the sprue, or turn the part over (direction in job.toml)", ErrNoHollow)
}

// gutterMM is the length of a gutter's centre line round the cavity: the outline's hull, and the
// circle by which a line so far outside is longer. A gutter round a hollow outline is longer still and
// may be slimmer.
func (l *openedLid) gutterMM() float64 {
	var pts []r2.Vec
	for _, v := range l.cast.Verts {
		pts = append(pts, r2.Vec{X: v.X, Y: v.Y})
	}
	hull := geom.ConvexHull(pts)
	sum := 2 * math.Pi * gutterOffMM
	for i, p := range hull {
		sum += r2.Norm(r2.Sub(hull[(i+1)%len(hull)], p))
	}
	return sum
}

// pour decides how much goes in first: enough to fill the cavity for certain, unless the half holds less.
func (r *LidReport) pour(o LidOptions) {
	r.LiquidML = o.LiquidML
	if r.LiquidML == 0 {
		r.LiquidML = r.CavityML * (1 + (o.CavityPct+o.PourPct)/100)
		if most := r.HoldsML / (1 + o.PourPct/100); r.LiquidML > most {
			r.LiquidML = most
		}
	}
	r.TopUpML = max(0, r.CavityML-min(r.LiquidML, r.HoldsML))
}

// gutter sizes the gutter for what comes out: by the balance of volumes, or by the closing where more
// came out in it.
func (r *LidReport) gutter(o LidOptions) (err error) {
	best := r.Closings.Closings[r.Closings.Best]
	q := fill.GutterQuestion{CavityMM3: 1000 * r.CavityML, PouredMM3: 1000 * r.LiquidML, LengthMM: r.GutterMM, SectionMM2: o.GutterMM2}
	q.CavityErrMM3, q.PourErrMM3 = q.CavityMM3*o.CavityPct/100, q.PouredMM3*o.PourPct/100
	// Space that neither resin nor trapped air takes is topped up later: until then it counts as air.
	q.TrappedMM3 = max(best.TrappedMM3, q.CavityMM3-(q.PouredMM3-best.OverMM3))
	if r.Gutter, err = fill.SizeGutter(q); err != nil {
		return fmt.Errorf("lid closing: %w", err)
	}
	return nil
}

// advise puts the recommendation into words.
func (r *LidReport) advise() {
	best := &r.Closings.Closings[r.Closings.Best]
	if r.LiquidML > r.HoldsML {
		r.Advice = append(r.Advice, fmt.Sprintf("the open lower half holds %.2f mL to its rim: of %.2f mL, %.2f mL runs over before the lid is on", r.HoldsML, r.LiquidML, r.LiquidML-r.HoldsML))
	}
	r.Advice = append(r.Advice, best.Words)
	if f := r.Closings.Flat; f >= 0 && f != r.Closings.Best {
		r.Advice = append(r.Advice, r.Closings.Closings[f].Words)
	}
	if !r.Bare {
		r.Advice = append(r.Advice, "the parting surface is not flat, so the halves are closed with their keys and bolt holes: the gaps about those count as air, and the keys bind on the way")
	}
	if r.TopUpML > 1e-3*r.CavityML {
		r.Advice = append(r.Advice, fmt.Sprintf("the cavity takes %.2f mL more than the half holds or is given: pour that, and what runs over, through the sprue once the mould is closed and clamped", r.TopUpML))
	}
	r.Advice = append(r.Advice, r.Gutter.Words)
}

// Print writes the report as text.
func (r *LidReport) Print(w io.Writer) error {
	p := &printer{prose.Writer{W: w}}
	p.Line("Lid over a poured lower half")
	p.Item(fmt.Sprintf("poured first: %.2f ± %.2f mL (cavity %.2f mL ± %g %%, the open half holds %.2f mL)", r.LiquidML, r.LiquidML*r.PourPct/100, r.CavityML, r.CavityPct, r.HoldsML))
	p.Line("\nAir under the lid when closed")
	p.columns(func(row func(format string, args ...any)) {
		row("lowered about\tfrom\tair, mm³\truns over, mL\ton the way")
		for i, c := range r.Closings.Closings {
			name, way := strings.TrimPrefix(c.Hinge.Name, "the "), "clear"
			if c.FromDeg == 0 {
				name = "put on flat"
			}
			if c.MeetsMM3 > 0 {
				way = fmt.Sprintf("meets by %.2g mm³ at %.1f°", c.MeetsMM3, c.MeetsDeg)
			}
			if i == r.Closings.Best {
				way += "  (best)"
			}
			row("%s\t%g°\t%.0f ± %.0f\t%.2f\t%s", name, c.FromDeg, c.TrappedMM3, c.ErrorMM3, c.OverMM3/1000, way)
		}
	})
	p.Line("\nWhat to do")
	for _, a := range r.Advice {
		p.Item(a)
	}
	p.Item("chart: " + r.Picture)
	return p.Err
}
