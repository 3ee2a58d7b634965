package solid

import (
	"errors"
	"math"
	"math/rand"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// canonical lists the facets by the bits of their corners, each from its least corner on, sorted: the
// same for two meshes that differ in numbering alone.
func canonical(m *mesh.Mesh) [][9]uint64 {
	bits := func(v r3.Vec) [3]uint64 {
		return [3]uint64{math.Float64bits(v.X), math.Float64bits(v.Y), math.Float64bits(v.Z)}
	}
	var out [][9]uint64
	for _, t := range m.Tris {
		best := [9]uint64{math.MaxUint64}
		for k := range 3 {
			var f [9]uint64
			for c := range 3 {
				b := bits(m.Verts[t[(k+c)%3]])
				copy(f[3*c:], b[:])
			}
			if slices.Compare(f[:], best[:]) < 0 {
				best = f
			}
		}
		out = append(out, best)
	}
	slices.SortFunc(out, func(a, b [9]uint64) int { return slices.Compare(a[:], b[:]) })
	return out
}

func roughGlobe(seed int64, rings, segs int, size, noise float64) *mesh.Mesh {
	rnd := rand.New(rand.NewSource(seed))
	return globe(r3.Vec{}, 1, rings, segs).Map(func(v r3.Vec) r3.Vec {
		return r3.Scale(size*(1+noise*rnd.Float64()), v)
	})
}

func TestRoundTripKeepsEveryBit(t *testing.T) {
	// Needles: a fine sphere pressed flat to the last bits, so that float32 could tell nothing apart.
	flat := globe(r3.Vec{}, 1, 20, 20).Map(func(v r3.Vec) r3.Vec { return xyz(100+v.X*1e-9, v.Y, v.Z*1e-6) })
	withSpare := cube(xyz(0.1, 0.2, 0.3), 1)
	withSpare.Verts = append(withSpare.Verts, xyz(7, 7, 7)) // no facet uses it
	for name, m := range map[string]*mesh.Mesh{
		"cube at tenths":     cube(xyz(0.1, 0.1, 0.1), 1),
		"fine sphere":        globe(xyz(0.1, 0, 0), 1, 90, 90),
		"rough sphere":       roughGlobe(1, 60, 60, 37.123, 0.01),
		"far away":           globe(xyz(1e5, -2e5, 3e5), 0.1, 30, 30),
		"micrometres":        roughGlobe(2, 20, 20, 1e-3, 0.2),
		"kilometres":         roughGlobe(3, 20, 20, 1e6, 0.2),
		"flat":               flat,
		"sparse vertices":    withSpare,
		"one tetrahedron":    {Verts: []r3.Vec{{}, {X: 0.1}, {Y: 0.3}, {Z: 0.7}}, Tris: [][3]uint32{{0, 2, 1}, {0, 1, 3}, {1, 2, 3}, {0, 3, 2}}},
		"two, one in cavity": joined(globe(r3.Vec{}, 3, 12, 12), []*mesh.Mesh{globe(r3.Vec{}, 2, 12, 12).Flipped(), globe(r3.Vec{}, 1, 12, 12)}),
	} {
		t.Run(name, func(t *testing.T) {
			withKernel(t, func(k *Kernel) {
				s := ok[*Solid](t)(k.FromMesh(m))
				out := ok[*mesh.Mesh](t)(s.Mesh())
				if !slices.Equal(canonical(m), canonical(out)) {
					t.Errorf("facets in %d, out %d, or corners differ", len(m.Tris), len(out.Tris))
				}
				requireManifold(t, "output", out)
				// The library sums volumes about the origin, so rounding grows with the distance from it.
				b := m.Bounds()
				reach := max(r3.Norm(b.Min), r3.Norm(b.Max)) * m.AreaMM2()
				near(t, "volume", ok[float64](t)(s.VolumeMM3()), m.VolumeMM3(), 1e-15, reach)
				again := ok[*mesh.Mesh](t)(ok[*Solid](t)(k.FromMesh(out)).Mesh())
				if !slices.Equal(canonical(m), canonical(again)) {
					t.Error("a second round trip differs")
				}
			})
		})
	}
}

func TestStandInsAreExactAndDistinct(t *testing.T) {
	seen := make([]bool, maxVertices)
	for i := range maxVertices {
		x, y, z := standIn(i)
		n := standInNumber(float64(x))
		if n != uint64(i) || y < 0 || y > keyMask || z < 0 || z > keyMask || seen[uint32(x)] {
			t.Fatalf("vertex %d has stand-in (%g, %g, %g), decoded as %d", i, x, y, z, n)
		}
		seen[uint32(x)] = true
	}
}

func TestTouchingBodiesShareAnEdge(t *testing.T) {
	// Two cubes with one common edge by index: four facets meet in it.
	m := cube(r3.Vec{}, 1)
	n := cube(xyz(1, 1, 0), 1)
	number := map[r3.Vec]uint32{}
	for i, v := range m.Verts {
		number[v] = uint32(i)
	}
	for _, v := range n.Verts {
		if _, have := number[v]; !have {
			number[v] = uint32(len(m.Verts))
			m.Verts = append(m.Verts, v)
		}
	}
	m.Tris = slices.Clone(m.Tris)
	for _, f := range n.Tris {
		m.Tris = append(m.Tris, [3]uint32{number[n.Verts[f[0]]], number[n.Verts[f[1]]], number[n.Verts[f[2]]]})
	}
	withKernel(t, func(k *Kernel) {
		s := ok[*Solid](t)(k.FromMesh(m))
		near(t, "volume", ok[float64](t)(s.VolumeMM3()), 2, 1e-15, 2)
		requireManifold(t, "output", ok[*mesh.Mesh](t)(s.Mesh()))
	})
}

func TestValidateRefuses(t *testing.T) {
	edit := func(f func(m *mesh.Mesh)) *mesh.Mesh {
		m := cube(r3.Vec{}, 1)
		m.Tris = slices.Clone(m.Tris)
		f(m)
		return m
	}
	for _, c := range []struct {
		name          string
		m             *mesh.Mesh
		want          error
		facet, vertex int
	}{
		{"nil", nil, ErrEmpty, -1, -1},
		{"no facets", &mesh.Mesh{}, ErrEmpty, -1, -1},
		{"flat", edit(func(m *mesh.Mesh) { m.Tris = [][3]uint32{{0, 1, 2}, {0, 2, 1}} }), ErrEmpty, -1, -1},
		{"NaN", edit(func(m *mesh.Mesh) { m.Verts[3].Y = math.NaN() }), ErrNonFinite, -1, 3},
		{"infinite", edit(func(m *mesh.Mesh) { m.Verts[5].Z = math.Inf(-1) }), ErrNonFinite, -1, 5},
		{"huge", edit(func(m *mesh.Mesh) { m.Verts[7] = xyz(1e200, 1e200, 1e200) }), ErrTooLarge, -1, -1},
		{"index", edit(func(m *mesh.Mesh) { m.Tris[4][1] = 8 }), ErrIndex, 4, 8},
		{"corner twice", edit(func(m *mesh.Mesh) { m.Tris[2] = [3]uint32{4, 5, 5} }), ErrDegenerate, 2, 5},
		{"hole", edit(func(m *mesh.Mesh) { m.Tris = m.Tris[:11] }), ErrOpen, 0, 0},
		{"one facet turned", edit(func(m *mesh.Mesh) { m.Tris[0] = [3]uint32{2, 0, 1} }), ErrOpen, 0, 0},
		{"facet twice", edit(func(m *mesh.Mesh) { m.Tris = append(m.Tris, m.Tris[0]) }), ErrOpen, 0, 0},
		{"inside out", cube(r3.Vec{}, 1).Flipped(), ErrInsideOut, -1, -1},
	} {
		t.Run(c.name, func(t *testing.T) {
			withKernel(t, func(k *Kernel) {
				s, err := k.FromMesh(c.m)
				var me *MeshError
				if s != nil || !errors.Is(err, c.want) || !errors.As(err, &me) {
					t.Fatalf("got %v, %v; want %v", s, err, c.want)
				}
				t.Log(err)
				if c.want != ErrOpen && (me.Facet != c.facet || me.Vertex != c.vertex) {
					t.Errorf("names facet %d, vertex %d; want %d, %d", me.Facet, me.Vertex, c.facet, c.vertex)
				}
				if c.want == ErrOpen && me.Facet < 0 {
					t.Error("names no facet")
				}
				// The kernel lives on.
				near(t, "cube", ok[float64](t)(ok[*Solid](t)(k.FromMesh(cube(r3.Vec{}, 1))).VolumeMM3()), 1, 0, 1)
			})
		})
	}
	if err := checkCount(maxVertices); err != nil {
		t.Error(err)
	}
	if err := checkCount(maxVertices + 1); !errors.Is(err, ErrTooManyVertices) {
		t.Errorf("2^24+1 vertices: %v", err)
	}
}
