package tooling

import (
	"context"
	"fmt"
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r3"
)

const castingName = "casting"

// verify runs the checks on the finished pieces.
func (b *insertMould) verify(ctx context.Context) error {
	b.opt.tell("checking walls", 0.7)
	m := b.mould
	for _, p := range m.Pieces {
		m.whole(p)
		if c, asked := fits(p, b.opt.BuildVolumeMM); asked && p.Name != InsertBody {
			m.Checks = append(m.Checks, c)
		}
	}
	if err := b.walls(ctx); err != nil {
		return err
	}
	m.Checks = append(m.Checks, slope(m.Surface))
	if err := b.thickness(ctx); err != nil {
		return err
	}
	b.opt.tell("proving that it opens", 0.8)
	if err := b.prove(ctx); err != nil {
		return err
	}
	if err := b.judgeRelease(ctx); err != nil {
		return err
	}
	b.notes()
	return nil
}

func channels(s []Sprue) (out []channel) {
	for _, c := range s {
		out = append(out, c)
	}
	return out
}

// walls measures the casting cap round the core's side of the cavity, and the cradle round the insert.
func (b *insertMould) walls(ctx context.Context) error {
	shell := b.shell
	under := make([]int32, 0, len(b.sheet.Tris))
	top := b.mould.Block.Max.Z
	for f := range shell.Tris {
		if c := shell.Facet(f); c.Normal().Z < 0 && c.Centroid().Z < min(top, b.parting.MinZ) {
			under = append(under, int32(f))
		}
	}
	for _, w := range []struct {
		piece  string
		g      *gauge
		facets []int32
	}{
		{CastingCap, newGauge(b.parting.Mesh, b.mould.Surface, channels(b.vents)), facetsOf(b.parting.Upper, Upper)},
		{Cradle, newGauge(shell, &Surface{Verts: b.mould.Surface.asMesh().Map(b.grown).Verts, Tris: b.mould.Surface.Tris}, nil), under},
	} {
		got, err := w.g.thinnest(ctx, b.mould.piece(w.piece), w.facets)
		if err != nil {
			return err
		}
		b.mould.Checks = append(b.mould.Checks, Check{Name: w.piece + ": thinnest wall", OK: !short(got.Shell.ThicknessMM, b.opt.LeastWallMM),
			Value: got.Shell.ThicknessMM, Limit: b.opt.LeastWallMM, Unit: "mm",
			Words: fmt.Sprintf("%.2f mm at %s, looked at in %d places", got.Shell.ThicknessMM, placeWords(got.Shell.At), got.Rays)})
		// The cradle's ridges are the creases of a swept skin: blunt, and nothing shows them.
		if w.piece == CastingCap && got.Rib.ThicknessMM < b.opt.LeastWallMM {
			b.mould.Notes = append(b.mould.Notes, fmt.Sprintf("%s: a ridge is only %.2f mm thick at %s (mould frame), thinner than the %.1f mm that prints soundly",
				w.piece, got.Rib.ThicknessMM, placeWords(got.Rib.At), b.opt.LeastWallMM))
		}
	}
	return nil
}

// freeMM says that the exact outer face lies straight behind a place at the thickness asked: neither the
// draft nor a hollow of the part asks for more there.
const freeMM = 0.001

// thickness measures the silicone from every facet that it makes to its outer face, as poured.
func (b *insertMould) thickness(ctx context.Context) error {
	outer := geom.NewBVH(b.sheet.Verts, b.sheet.Tris)
	t := &b.out.Thickness
	*t = InsertThickness{AskedMM: b.opt.InsertMM, LeastMM: math.Inf(1), OuterErrorMM: b.sheet.Error.MaxMM}
	area, free := 0.0, 0.0
	for i, f := range facetsOf(b.parting.Upper, Lower) {
		if i%256 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		tri := b.parting.Mesh.Facet(int(f))
		n := tri.Normal()
		if r3.Norm(n) == 0 {
			continue
		}
		p := b.grown(tri.Centroid())
		d := outer.Nearest(p).Distance
		t.Places++
		area += tri.Area()
		if math.Abs(b.sheet.StrayMM(r3.Add(p, r3.Scale(t.AskedMM, r3.Unit(n))))) <= freeMM {
			free += tri.Area()
			if off := math.Abs(d - t.AskedMM); off > t.FreeOffMM {
				t.FreeOffMM, t.FreeOffAt = off, p
			}
		}
		if d < t.LeastMM {
			t.LeastMM, t.LeastAt = d, p
		}
		if d > t.MostMM {
			t.MostMM, t.MostAt = d, p
		}
	}
	if area > 0 {
		t.FreePct = 100 * free / area
	}
	b.mould.Checks = append(b.mould.Checks,
		Check{Name: "insert thickness where the shape allows it", OK: t.FreeOffMM <= thicknessTolMM, Value: t.FreeOffMM, Limit: thicknessTolMM, Unit: "mm off",
			Words: fmt.Sprintf("within %.3f mm of the %.1f mm asked over the %.0f %% of the inner face behind which neither draft nor a hollow asks for more", t.FreeOffMM, t.AskedMM, t.FreePct)},
		Check{Name: "least insert thickness", OK: t.LeastMM >= t.AskedMM-thicknessTolMM, Value: t.LeastMM, Limit: t.AskedMM - thicknessTolMM, Unit: "mm",
			Words: fmt.Sprintf("%.2f to %.2f mm; thickest at %s", t.LeastMM, t.MostMM, placeWords(t.MostAt))})
	return nil
}

// prove proves the stages in order.
func (b *insertMould) prove(ctx context.Context) error {
	m := b.mould
	poured := b.mould.piece(InsertBody)
	if b.grow != 1 {
		poured = poured.Map(b.grown)
	}
	body := func(name string) opening.Body { return opening.Body{Name: name, Mesh: b.mould.piece(name)} }
	casting := opening.Body{Name: castingName, Mesh: m.Cast}
	pouredBody := opening.Body{Name: InsertBody, Mesh: poured}
	stages := []struct {
		name          string
		moving, fixed opening.Body
		rigid         bool
	}{
		{"the pattern cap leaves the cradle", body(PatternCap), body(Cradle), true},
		{"the pattern cap leaves the cured insert", body(PatternCap), pouredBody, false},
		{"the insert leaves the cradle", pouredBody, body(Cradle), true},
		{"the casting cap leaves the cradle", body(CastingCap), body(Cradle), true},
		{"the casting cap leaves the insert", body(CastingCap), body(InsertBody), true},
		{"the casting cap leaves the casting", body(CastingCap), casting, false},
		{"the casting leaves the insert", casting, body(InsertBody), false},
	}
	for i, s := range stages {
		v, err := opening.Translate(ctx, s.moving, s.fixed, r3.Vec{Z: 1}, opening.Options{ToleranceMM: b.opt.ToleranceMM, Workers: b.opt.Workers, TrustApart: true})
		if err != nil {
			return fmt.Errorf("tooling: %s: %w", s.name, err)
		}
		stage := Stage{Name: s.name, Moving: s.moving.Name, Fixed: s.fixed.Name, Rigid: s.rigid, Verdict: v}
		b.out.Stages = append(b.out.Stages, stage)
		if s.rigid || v.State != opening.Blocked {
			m.Checks = append(m.Checks, Check{Name: s.name, OK: v.State != opening.Blocked, Value: v.OverlapDepthMM, Limit: b.opt.ToleranceMM, Unit: "mm overlap", Words: stage.Words()})
		}
		b.opt.tell("proving that it opens", 0.8+0.15*float64(i+1)/float64(len(stages)))
	}
	return nil
}

// notes tells the maker what the build decided and what to mind.
func (b *insertMould) notes() {
	m, o := b.mould, b.out
	m.Notes = append(m.Notes,
		fmt.Sprintf("pour %.1f mL of silicone for the insert through the fill port; %.1f mL of resin for each casting, and up to %.1f mL more for the overflow gutter", o.Pours[0].ML, o.CastML, o.OverflowML),
		"the pattern cap serves once, to cast the insert; keep it to cast another")
	if n := b.airTraps(); n > 0 {
		m.Notes = append(m.Notes, fmt.Sprintf("%d hollows of the side that the insert makes are closed above: brush silicone into them on the pattern cap before it is closed, or air stays there", n))
	}
}

// airTraps counts the places where the silicone's room has a closed top: the master's lower facets are
// higher there than all round, and not at the parting line.
func (b *insertMould) airTraps() int {
	p := b.parting
	n := len(p.Mesh.Verts)
	lower, blocked := make([]bool, n), make([]bool, n)
	for _, l := range p.Loops {
		for _, v := range l.Verts {
			blocked[v] = true
		}
	}
	root := make([]int32, n) // vertices joined at one height
	for i := range root {
		root[i] = int32(i)
	}
	find := func(v uint32) int32 {
		r := int32(v)
		for root[r] != r {
			root[r] = root[root[r]]
			r = root[r]
		}
		return r
	}
	edges := func(visit func(a, c uint32)) {
		for f, t := range p.Mesh.Tris {
			if !p.Upper[f] {
				for k := range 3 {
					visit(t[k], t[(k+1)%3])
				}
			}
		}
	}
	z := func(v uint32) float64 { return p.Mesh.Verts[v].Z }
	edges(func(a, c uint32) {
		lower[a], lower[c] = true, true
		if math.Abs(z(a)-z(c)) <= heightStepMM {
			x, y := find(a), find(c)
			root[max(x, y)] = min(x, y)
		}
	})
	notTop := make([]bool, n)
	edges(func(a, c uint32) {
		for _, e := range [2][2]uint32{{a, c}, {c, a}} {
			if blocked[e[0]] || z(e[1]) > z(e[0])+heightStepMM {
				notTop[find(e[0])] = true
			}
		}
	})
	count := 0
	for v := range uint32(n) {
		if lower[v] && find(v) == int32(v) && !notTop[v] {
			count++
		}
	}
	return count
}
