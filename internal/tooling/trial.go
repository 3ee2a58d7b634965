package tooling

import (
	"context"
	"fmt"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"
	"mouldwright/internal/opening"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r3"
)

// Trial is what happens when a part that locks is cut out of a block anyway, with a flat split: it shows
// where the halves hang.
type Trial struct {
	SplitMM float64 // height of the split over the part's lowest point, along the direction
	Opening *opening.Comparison
}

// TryFlatSplit splits a plain block around the part at the mean height of the outer parting line and
// proves the opening with and without the part inside. Places in the verdicts are in the part's own
// coordinates, and so are the facet numbers of the part.
func TryFlatSplit(ctx context.Context, pool *solid.Pool, part *mesh.Mesh, d r3.Vec, toleranceMM float64) (*Trial, error) {
	m, placing, err := place(part, d, r3.Vec{})
	if err != nil {
		return nil, err
	}
	p, err := mouldability.Part(ctx, m, mouldability.PartOptions{})
	if err != nil {
		return nil, err
	}
	split := meanHeight(p)
	lower, upper, err := flatHalves(ctx, pool, m, split)
	if err != nil {
		return nil, err
	}
	back := func(m *mesh.Mesh) *mesh.Mesh { return m.Map(placing.Back) }
	up := r3.Sub(placing.Back(r3.Vec{Z: 1}), placing.Back(r3.Vec{}))
	cmp, err := opening.ProveWithAndWithout(ctx,
		[]opening.Body{{Name: "lower half", Mesh: back(lower)}, {Name: "upper half", Mesh: back(upper)}, {Name: "part", Mesh: part}}, "part",
		[]opening.Motion{{Piece: "upper half", Direction: up}}, opening.Options{ToleranceMM: toleranceMM, TrustApart: true})
	if err != nil {
		return nil, fmt.Errorf("tooling: flat split: %w", err)
	}
	return &Trial{SplitMM: split - m.Bounds().Min.Z, Opening: cmp}, nil
}

// meanHeight is the height of the outer loop, averaged along its length.
func meanHeight(p *mouldability.Parting) float64 {
	loop := p.Loops[0].Verts
	sum, length := 0.0, 0.0
	for i, a := range loop {
		u, v := p.Mesh.Verts[a], p.Mesh.Verts[loop[(i+1)%len(loop)]]
		d := r3.Norm(r3.Sub(v, u))
		sum += d * (u.Z + v.Z) / 2
		length += d
	}
	return sum / length
}

func flatHalves(ctx context.Context, pool *solid.Pool, m *mesh.Mesh, z float64) (lower, upper *mesh.Mesh, err error) {
	const wall = 10.0
	b := m.Bounds()
	w := r3.Vec{X: wall, Y: wall, Z: wall}
	box := r3.Box{Min: r3.Sub(b.Min, w), Max: r3.Add(b.Max, w)}
	err = pool.Do(ctx, func(k *solid.Kernel) error {
		part, err := k.FromMesh(m)
		if err != nil {
			return err
		}
		low, high := box, box
		low.Max.Z, high.Min.Z = z, z
		lowMain, lowIslands, err := halfOf(k, low, part)
		if err != nil {
			return err
		}
		highMain, highIslands, err := halfOf(k, high, part)
		if err != nil {
			return err
		}
		// What the split leaves lying loose inside the part hangs on the other half.
		for _, h := range []struct {
			main    *solid.Solid
			islands []*solid.Solid
			out     **mesh.Mesh
		}{{lowMain, highIslands, &lower}, {highMain, lowIslands, &upper}} {
			s, err := h.main.Union(h.islands...)
			if err != nil {
				return err
			}
			if *h.out, err = s.Mesh(); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, nil, fmt.Errorf("tooling: flat split: %w", err)
	}
	return lower, upper, nil
}

// halfOf takes the part out of one side of a split block, and tells the piece that reaches the block's
// outside from islands that do not.
func halfOf(k *solid.Kernel, box r3.Box, part *solid.Solid) (main *solid.Solid, islands []*solid.Solid, err error) {
	s, err := k.Box(box)
	if err != nil {
		return nil, nil, err
	}
	if s, err = s.Subtract(part); err != nil {
		return nil, nil, err
	}
	pieces, err := s.Parts()
	if err != nil {
		return nil, nil, err
	}
	var outside []*solid.Solid
	for _, p := range pieces {
		b, err := p.Bounds()
		if err != nil {
			return nil, nil, err
		}
		if b.Min.X <= box.Min.X && b.Max.X >= box.Max.X && b.Min.Y <= box.Min.Y && b.Max.Y >= box.Max.Y {
			outside = append(outside, p)
		} else {
			islands = append(islands, p)
		}
	}
	main, err = k.Union(outside...)
	return main, islands, err
}
