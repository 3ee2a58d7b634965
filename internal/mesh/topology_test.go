package mesh

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// adjacencyByMap is the definition put plainly.
func adjacencyByMap(m *Mesh) Adjacency {
	uses := map[[2]uint32][]int32{}
	for f, t := range m.Tris {
		for k := range 3 {
			e := [2]uint32{t[k], t[(k+1)%3]}
			uses[e] = append(uses[e], int32(f))
		}
	}
	adj := make(Adjacency, len(m.Tris))
	for f, t := range m.Tris {
		for k := range 3 {
			adj[f][k] = NoFacet
			there, back := uses[[2]uint32{t[k], t[(k+1)%3]}], uses[[2]uint32{t[(k+1)%3], t[k]}]
			if len(there) == 1 && len(back) == 1 {
				adj[f][k] = back[0]
			}
		}
	}
	return adj
}

func TestAdjacency(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Uint32Range(3, 12).Draw(t, "vertices")
		m := &Mesh{Verts: make([]r3.Vec, n)}
		for range rapid.IntRange(0, 30).Draw(t, "facets") {
			a := rapid.Uint32Range(0, n-1).Draw(t, "a")
			b := (a + rapid.Uint32Range(1, n-1).Draw(t, "b")) % n
			c := rapid.Uint32Range(0, n-1).Filter(func(c uint32) bool { return c != a && c != b }).Draw(t, "c")
			m.Tris = append(m.Tris, [3]uint32{a, b, c})
		}
		if got, want := m.Adjacency(), adjacencyByMap(m); !reflect.DeepEqual(got, want) {
			t.Fatalf("got %v, want %v", got, want)
		}
	})
	big := sphere(20, 100, 50) // with poles of many facets
	if !reflect.DeepEqual(big.Adjacency(), adjacencyByMap(big)) {
		t.Error("differs on a ball")
	}
}

func TestSplit(t *testing.T) {
	a, b := cube(3), move(sphere(2, 8, 4), r3.Vec{X: 20})
	parts := join(a, b).Split()
	if len(parts) != 2 || !reflect.DeepEqual(parts[0].Tris, renumbered(a).Tris) || parts[1].VolumeMM3() != b.VolumeMM3() {
		t.Errorf("%d parts", len(parts))
	}
	shared := Weld(join(cube(1), move(cube(1), r3.Vec{X: 1, Y: 1, Z: 1})), 0) // one vertex in common
	if parts := shared.Split(); len(parts) != 2 || len(parts[0].Verts) != 8 || len(parts[1].Verts) != 8 {
		t.Errorf("%d parts of cubes that share a corner", len(parts))
	}
}

// renumbered counts vertices by first use.
func renumbered(m *Mesh) *Mesh { return rebuild(m, coincident(m.Verts)).Mesh }

func TestWeldExact(t *testing.T) {
	m := sphere(20, 30, 15)
	w := WeldReport(soup(m), 0)
	if len(w.Mesh.Verts) != len(m.Verts) || w.Joined != 3*len(m.Tris)-len(m.Verts) || w.Collapsed != 0 || w.Source != nil || w.MovedMM != 0 {
		t.Errorf("%d vertices, %+v", len(w.Mesh.Verts), w)
	}
	zero := &Mesh{Verts: []r3.Vec{{}, {X: 1}, {Y: 1}, {X: math.Copysign(0, -1)}, {Z: 1}, {Z: 9}},
		Tris: [][3]uint32{{0, 1, 2}, {3, 2, 4}, {0, 3, 1}}}
	w = WeldReport(zero, 0)
	if len(w.Mesh.Verts) != 4 || w.Joined != 1 || w.Unused != 1 || w.Collapsed != 1 || !slices.Equal(w.Source, []int32{0, 1}) {
		t.Errorf("minus zero: %+v", w)
	}
}

func TestWeldTolerance(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	m := sphere(20, 30, 15)
	loose := soup(m)
	for i := range loose.Verts {
		d := r3.Vec{X: rng.Float64() - 0.5, Y: rng.Float64() - 0.5, Z: rng.Float64() - 0.5}
		loose.Verts[i] = r3.Add(loose.Verts[i], r3.Scale(1e-4, d))
	}
	w := WeldReport(loose, 2e-4)
	if len(w.Mesh.Verts) != len(m.Verts) || w.MovedMM > 2e-4 || w.MovedMM == 0 {
		t.Fatalf("%d vertices, want %d; moved %v", len(w.Mesh.Verts), len(m.Verts), w.MovedMM)
	}
	if in := inspect(t, w.Mesh); in.Fatal() != nil || in.Euler != 2 {
		t.Errorf("%v", in.Problems())
	}
	// However vertices are numbered, the same places result.
	perm := rng.Perm(len(loose.Verts))
	other := &Mesh{Verts: make([]r3.Vec, len(loose.Verts))}
	for i, p := range perm {
		other.Verts[p] = loose.Verts[i]
	}
	for _, f := range loose.Tris {
		other.Tris = append(other.Tris, [3]uint32{uint32(perm[f[0]]), uint32(perm[f[1]]), uint32(perm[f[2]])})
	}
	if got := WeldReport(other, 2e-4).Mesh; !reflect.DeepEqual(got, w.Mesh) {
		t.Error("the result depends on the numbering")
	}
	// No two kept vertices are within the tolerance.
	for i, a := range w.Mesh.Verts {
		for _, b := range w.Mesh.Verts[:i] {
			if r3.Norm(r3.Sub(a, b)) <= 2e-4 {
				t.Fatal("two vertices are still within the tolerance")
			}
		}
	}
}

// A small closed piece welds to nothing without opening the rest.
func TestWeldKeepsClosed(t *testing.T) {
	m := sphere(20, 40, 20)
	w := WeldReport(m, 2)
	if w.Collapsed == 0 || len(w.Source) != len(w.Mesh.Tris) {
		t.Fatalf("nothing collapsed: %+v", w)
	}
	sum := map[[2]uint32]int{}
	for _, f := range w.Mesh.Tris {
		for k := range 3 {
			a, b := f[k], f[(k+1)%3]
			sum[[2]uint32{min(a, b), max(a, b)}] += map[bool]int{true: 1, false: -1}[a < b]
		}
	}
	for e, n := range sum {
		if n != 0 {
			t.Errorf("edge %v is open", e)
		}
	}
}

// Turning, moving, scaling, renumbering and mirroring a part changes nothing that should stay.
func TestInspectProperties(t *testing.T) {
	shapes := []*Mesh{cube(20), sphere(15, 12, 6), torus(30, 8, 10, 8), join(cube(60), move(sphere(10, 8, 4), r3.Vec{X: 30, Y: 30, Z: 30}).Flipped())}
	rapid.Check(t, func(t *rapid.T) {
		m := shapes[rapid.IntRange(0, len(shapes)-1).Draw(t, "shape")]
		want, err := Inspect(t.Context(), m)
		if err != nil {
			t.Fatal(err)
		}
		scale := rapid.Float64Range(1, 5).Draw(t, "scale")
		turn := r3.NewRotation(rapid.Float64Range(-3, 3).Draw(t, "angle"), r3.Vec{X: rapid.Float64Range(-1, 1).Draw(t, "x"), Y: 1, Z: rapid.Float64Range(-1, 1).Draw(t, "z")})
		by := r3.Vec{X: rapid.Float64Range(-500, 500).Draw(t, "dx"), Z: 7}
		moved := m.Map(func(v r3.Vec) r3.Vec { return r3.Add(by, r3.Scale(scale, turn.Rotate(v))) })
		seed := rapid.Uint64().Draw(t, "seed")
		moved = shuffled(moved, rand.New(rand.NewPCG(seed, 1)))
		mirrored := moved.Map(func(v r3.Vec) r3.Vec { return r3.Vec{X: v.X, Y: -v.Y, Z: v.Z} })
		for name, m := range map[string]*Mesh{"moved": moved, "mirrored and turned over": mirrored.Flipped(), "as a soup": soup(moved)} {
			got, err := Inspect(t.Context(), m)
			if err != nil {
				t.Fatal(err)
			}
			if !slices.Equal(kinds(got), kinds(want)) || got.Euler != want.Euler || got.Genus != want.Genus || len(got.Shells) != len(want.Shells) {
				t.Fatalf("%s: %v, Euler %d; want %v, Euler %d", name, got.Problems(), got.Euler, want.Problems(), want.Euler)
			}
			if v := want.VolumeMM3 * scale * scale * scale; math.Abs(got.VolumeMM3-v) > 1e-9*v {
				t.Fatalf("%s: volume %v, want %v", name, got.VolumeMM3, v)
			}
			if a := want.AreaMM2 * scale * scale; math.Abs(got.AreaMM2-a) > 1e-9*a {
				t.Fatalf("%s: area %v, want %v", name, got.AreaMM2, a)
			}
		}
		got, err := Inspect(t.Context(), mirrored)
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Contains(kinds(got), InsideOut) {
			t.Fatalf("mirrored: %v", got.Problems())
		}
	})
}

// shuffled renumbers vertices and facets and turns facets about.
func shuffled(m *Mesh, rng *rand.Rand) *Mesh {
	perm, order := rng.Perm(len(m.Verts)), rng.Perm(len(m.Tris))
	out := &Mesh{Verts: make([]r3.Vec, len(m.Verts))}
	for i, p := range perm {
		out.Verts[p] = m.Verts[i]
	}
	for _, f := range order {
		t, k := m.Tris[f], rng.IntN(3)
		out.Tris = append(out.Tris, [3]uint32{uint32(perm[t[k]]), uint32(perm[t[(k+1)%3]]), uint32(perm[t[(k+2)%3]])})
	}
	return out
}
