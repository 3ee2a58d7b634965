package job

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"

	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// chamberApart is the share of a chamber that may lie on the wrong side of the part's surface: that of
	// curves cut into chords in two ways.
	chamberApart = 0.02
	// levelRel is how true the cut of a share of the part is, against its volume.
	levelRel = 1e-6
)

// chamber finds the room that job.toml gives the balls.
func (s *trying) chamber(ctx context.Context) (*chamber, error) {
	var c *chamber
	b := s.file.Ballast
	err := s.opt.Pool.Do(ctx, func(k *solid.Kernel) (err error) {
		part, err := k.FromMesh(s.part.mesh)
		if err != nil {
			return fmt.Errorf("the part, for its ballast: %w", err)
		}
		switch {
		case b.File != "":
			c, err = s.fileChamber(ctx, k, part)
		case b.Box != nil:
			c, err = s.boxChamber(k, part)
		default:
			c, err = s.lowestShare(part)
		}
		return err
	})
	return c, err
}

// fileChamber is a mesh that lies in a hollow of the part, or wholly within its solid.
func (s *trying) fileChamber(ctx context.Context, k *solid.Kernel, part *solid.Solid) (*chamber, error) {
	name := s.file.Ballast.File
	path, err := s.file.inside(s.folder, "ballast.file", name)
	if err != nil {
		return nil, err
	}
	o, err := OpenPartContext(ctx, path, s.file.Part.Unit, "")
	if err != nil {
		return nil, s.file.wrong("ballast.file", "%w", err)
	}
	in, err := mesh.Inspect(ctx, o.Object.Mesh)
	if err != nil {
		return nil, err
	}
	if err := in.Fatal(); err != nil {
		return nil, s.file.wrong("ballast.file", "%s: %w", name, err)
	}
	body, err := k.FromMesh(in.Mesh)
	if err != nil {
		return nil, s.file.wrong("ballast.file", "%s: %w", name, err)
	}
	both, err := body.Intersect(part)
	if err != nil {
		return nil, fmt.Errorf("the ballast's chamber: %w", err)
	}
	inside, err := both.VolumeMM3()
	if err != nil {
		return nil, fmt.Errorf("the ballast's chamber: %w", err)
	}
	all := in.Mesh.VolumeMM3()
	switch share := inside / all; {
	case share <= chamberApart:
		return s.madeOf(body.Subtract(part))(name, inHollow)
	case share >= 1-chamberApart:
		return s.madeOf(both, nil)(name+", within the casting", inCasting)
	}
	return nil, s.file.wrong("ballast.file", "%.2f mL of the chamber %s lie in the part and %.2f mL outside it; a chamber is the room in a hollow of the part, or lies wholly in its solid; draw it in the part's coordinates and unit", inside/1000, name, (all-inside)/1000)
}

// madeOf takes a body of the kernel out of it.
func (s *trying) madeOf(body *solid.Solid, err error) func(from, where string) (*chamber, error) {
	return func(from, where string) (*chamber, error) {
		if err != nil {
			return nil, fmt.Errorf("the ballast's chamber: %w", err)
		}
		m, err := body.Mesh()
		if err != nil {
			return nil, fmt.Errorf("the ballast's chamber: %w", err)
		}
		return &chamber{from, where, m}, nil
	}
}

// boxChamber is what the part leaves free of a box and closes in on all sides but one: a trough, a
// well. A box wholly within the part's solid is a chamber in the casting.
func (s *trying) boxChamber(k *solid.Kernel, part *solid.Solid) (*chamber, error) {
	q := r3.Box{Min: vec(s.file.Ballast.Box.Min), Max: vec(s.file.Ballast.Box.Max)}
	box, err := k.Box(q)
	if err != nil {
		return nil, fmt.Errorf("the ballast's box: %w", err)
	}
	free, err := box.Subtract(part)
	if err != nil {
		return nil, fmt.Errorf("the ballast's box: %w", err)
	}
	none, err := free.IsEmpty()
	if err != nil {
		return nil, err
	}
	if none {
		return s.madeOf(box, nil)("a box within the casting", inCasting)
	}
	bodies, err := free.Parts()
	if err != nil {
		return nil, fmt.Errorf("the ballast's box: %w", err)
	}
	var held []*solid.Solid
	var rest []string
	for _, b := range bodies {
		m, err := b.Mesh()
		if err != nil {
			return nil, err
		}
		if n := openSides(m, q); n > 1 {
			rest = append(rest, fmt.Sprintf("%.2f mL are open on %d sides", m.VolumeMM3()/1000, n))
			continue
		}
		held = append(held, b)
	}
	if held == nil {
		return nil, s.file.wrong("ballast.box", "no hollow of the part is closed in by this box: %s; let the box end at the hollow's mouth and reach into the part on its other sides", strings.Join(rest, ", "))
	}
	return s.madeOf(k.Union(held...))("what the part closes in of a box", inHollow)
}

// openSides counts the sides of a box that a body in it has faces on.
func openSides(m *mesh.Mesh, box r3.Box) (n int) {
	size := box.Size()
	tol := 1e-6 * max(size.X, size.Y, size.Z)
	for _, side := range []func(r3.Vec) float64{
		func(v r3.Vec) float64 { return v.X - box.Min.X }, func(v r3.Vec) float64 { return box.Max.X - v.X },
		func(v r3.Vec) float64 { return v.Y - box.Min.Y }, func(v r3.Vec) float64 { return box.Max.Y - v.Y },
		func(v r3.Vec) float64 { return v.Z - box.Min.Z }, func(v r3.Vec) float64 { return box.Max.Z - v.Z }} {
		for i := range m.Tris {
			t := m.Facet(i)
			if side(t[0]) < tol && side(t[1]) < tol && side(t[2]) < tol {
				n++
				break
			}
		}
	}
	return n
}

// lowestShare is the lowest part of the casting as it stands: balls in the resin sink.
func (s *trying) lowestShare(part *solid.Solid) (*chamber, error) {
	down := r3.Unit(s.file.Ballast.down())
	share := s.file.Ballast.SharePct / 100
	whole := s.part.mesh.VolumeMM3()
	lo, hi := math.Inf(1), math.Inf(-1) // along down
	for _, v := range s.part.mesh.Verts {
		lo, hi = min(lo, r3.Dot(v, down)), max(hi, r3.Dot(v, down))
	}
	var best *solid.Solid
	for range 60 {
		mid := (lo + hi) / 2
		cut, err := part.TrimByPlane(down, mid)
		if err != nil {
			return nil, fmt.Errorf("the lowest share of the part: %w", err)
		}
		v, err := cut.VolumeMM3()
		if err != nil {
			return nil, fmt.Errorf("the lowest share of the part: %w", err)
		}
		best.Free()
		best = cut
		if math.Abs(v-share*whole) <= levelRel*whole {
			break
		}
		if v > share*whole { // too much lies below: cut further down
			lo = mid
		} else {
			hi = mid
		}
	}
	if best == nil {
		return nil, errors.New("the lowest share of the part: nothing was cut")
	}
	return s.madeOf(best, nil)(fmt.Sprintf("the lowest %g %% of the casting as it stands, where balls in the resin sink to", s.file.Ballast.SharePct), inCasting)
}
