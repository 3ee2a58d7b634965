package tooling

import (
	"context"
	"fmt"
	"slices"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r3"
)

// LaidDown is the piece as it is printed: its outer face down, the cavity up, its corner at the origin.
// Turning over is a change of signs and costs no precision.
func (p Piece) LaidDown() *mesh.Mesh {
	m := p.Mesh
	switch {
	case p.Exit.Z > 0:
		m = m.Map(func(v r3.Vec) r3.Vec { return r3.Vec{X: v.X, Y: -v.Y, Z: -v.Z} })
	case p.Exit.Z == 0 && p.Exit != (r3.Vec{}): // a side piece
		m = m.Map(geom.FrameTo(r3.Scale(-1, p.Exit)).Apply)
	}
	lo := m.Bounds().Min
	return m.Map(func(v r3.Vec) r3.Vec { return r3.Sub(v, lo) })
}

// addPiece finishes a body and adds it to the mould; exitZ is +1 or −1, the way it leaves.
func (m *Mould) addPiece(ctx context.Context, name string, s *solid.Solid, exitZ float64) error {
	return m.addPieceLeaving(ctx, name, s, r3.Vec{Z: exitZ})
}

// addPieceLeaving is addPiece for a piece that leaves any way.
func (m *Mould) addPieceLeaving(ctx context.Context, name string, s *solid.Solid, exit r3.Vec) error {
	v, err := volumeOf(s, nil)
	if err != nil {
		return err
	}
	p := Piece{Name: name, Exit: exit, VolumeMM3: v}
	if err := (&twoHalves{mould: m}).finish(ctx, &p, s); err != nil {
		return fmt.Errorf("tooling: %s: %w", name, err)
	}
	m.Pieces = append(m.Pieces, p)
	return nil
}

// piece is the mesh of a piece; nil where there is none of that name.
func (m *Mould) piece(name string) *mesh.Mesh {
	for _, p := range m.Pieces {
		if p.Name == name {
			return p.Mesh
		}
	}
	return nil
}

// whole checks that a piece comes out as one body.
func (m *Mould) whole(p Piece) { m.bodies(p, 1) }

// checkPieces checks that each piece comes out as one body and, unless it is poured, fits the printer.
func (m *Mould) checkPieces(buildVolumeMM r3.Vec, poured ...string) {
	for _, p := range m.Pieces {
		m.whole(p)
		if c, asked := fits(p, buildVolumeMM); asked && !slices.Contains(poured, p.Name) {
			m.Checks = append(m.Checks, c)
		}
	}
}

// bodies checks that a piece comes out as so many, one for each cavity.
func (m *Mould) bodies(p Piece, want int) {
	if _, n := p.Mesh.Components(); n != want {
		c := Check{Name: p.Name + ": in one piece", Value: float64(n), Limit: float64(want), Unit: "bodies",
			Words: fmt.Sprintf("it comes out in %d bodies; choose another direction or thinner soft bodies", n)}
		if want > 1 {
			c.Name, c.Words = p.Name+": one for each cavity", fmt.Sprintf("%d bodies for %d cavities; choose another direction", n, want)
		}
		m.Checks = append(m.Checks, c)
	}
}

// meltMM are the tolerances by which a piece is simplified when its facets do not survive the rounding
// of an STL file: the least that helps. The last is a tenth of a micron, a five-hundredth of a fine
// printed layer.
var meltMM = []float64{1e-6, 1e-5, 1e-4}

// finish makes a piece's mesh, without the seams that booleans leave inside flat faces, and checks it as
// a reader of the written file would: an STL file rounds coordinates to 32 bits, which can turn a facet
// of less than that width over. Such facets are melted into their neighbours. If some are left the piece
// is sound all the same, but only a format that keeps the coordinates, as 3MF does, may carry it.
func (b *twoHalves) finish(ctx context.Context, p *Piece, s *solid.Solid) error {
	clean, err := s.Clean()
	if err != nil {
		return err
	}
	if p.Mesh, err = clean.Mesh(); err != nil {
		return err
	}
	exact := *p
	c, err := soundness(ctx, p.Name, rounded32(p.LaidDown()))
	for _, tol := range meltMM {
		if err != nil || c.OK {
			break
		}
		melted, err := clean.Simplify(tol)
		if err != nil {
			return err
		}
		if p.Mesh, err = melted.Mesh(); err != nil {
			return err
		}
		c, err = soundness(ctx, p.Name, rounded32(p.LaidDown()))
		if err != nil {
			return err
		}
	}
	if err == nil && !c.OK {
		b.note("%s: written as STL, whose coordinates are rounded, %s; use the 3MF file", p.Name, c.Words)
		*p = exact
		c, err = soundness(ctx, p.Name, p.Mesh)
	}
	b.mould.Checks = append(b.mould.Checks, c)
	return err
}

// rounded32 is a mesh as a binary STL file holds it, without the facets that its writer leaves out
// because two of their corners fall together.
func rounded32(m *mesh.Mesh) *mesh.Mesh {
	round := func(x float64) float64 { return float64(float32(x)) }
	out := m.Map(func(v r3.Vec) r3.Vec { return r3.Vec{X: round(v.X), Y: round(v.Y), Z: round(v.Z)} })
	return mesh.Weld(out, 0)
}

// soundness checks a mesh as a reader would.
func soundness(ctx context.Context, name string, m *mesh.Mesh) (Check, error) {
	in, err := mesh.Inspect(ctx, m)
	if err != nil {
		return Check{}, err
	}
	c := Check{Name: name + ": closed and sound", OK: true, Unit: "problems", Words: fmt.Sprintf("%d facets, closed, one way round, no self-intersection", len(m.Tris))}
	for _, q := range in.Problems() {
		if q.Severity == mesh.Fatal {
			c.OK = false
			c.Value++
			c.Words = q.Words
		}
	}
	return c, nil
}
