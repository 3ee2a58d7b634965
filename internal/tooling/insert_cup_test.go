package tooling

import (
	"context"
	"math"
	"slices"
	"testing"

	"mouldwright/internal/mesh"
	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// cup is a straight-sided cup that lies on its front: both walls lean inward toward the rim by their
// angle, outward where it is negative. Corners are sharp, so that catches have a closed form.
type cup struct {
	radius, height, floor, wall float64 // wall: at the floor
	outerDeg, innerDeg          float64
	n                           int // sides
}

func lean(rise, deg float64) float64 { return rise * math.Tan(deg*math.Pi/180) }

// mesh turns the section; front lists the facets of the front.
func (c cup) mesh() (m *mesh.Mesh, front []bool) {
	in := c.radius - lean(c.floor, c.outerDeg) - c.wall
	rows := []r2.Vec{{X: c.radius}, {X: c.radius - lean(c.height, c.outerDeg), Y: c.height},
		{X: in - lean(c.height-c.floor, c.innerDeg), Y: c.height}, {X: in, Y: c.floor}}
	m = &mesh.Mesh{Verts: []r3.Vec{{}, {Z: c.floor}}}
	for _, r := range rows {
		for j := range c.n {
			s, co := math.Sincos(2 * math.Pi * float64(j) / float64(c.n))
			m.Verts = append(m.Verts, r3.Vec{X: r.X * co, Y: r.X * s, Z: r.Y})
		}
	}
	id := func(row, j int) uint32 { return uint32(2 + row*c.n + j%c.n) }
	for j := range c.n {
		m.Tris = append(m.Tris, [3]uint32{0, id(0, j+1), id(0, j)})
		front = append(front, true)
	}
	for row := range 3 {
		for j := range c.n {
			m.Tris = append(m.Tris, [3]uint32{id(row, j), id(row, j+1), id(row+1, j+1)}, [3]uint32{id(row, j), id(row+1, j+1), id(row+1, j)})
		}
	}
	for j := range c.n {
		m.Tris = append(m.Tris, [3]uint32{1, id(3, j), id(3, j+1)})
	}
	return m, append(front, make([]bool, len(m.Tris)-len(front))...)
}

// catches are how far the insert grips the outside, the core the inside, and, through a wall thinner than
// the outside leans, the insert's mouth the core's widest place. Seen along the axis the overlap is a ring
// between two regular polygons; the widest disc in it is as wide as the ring is at the corners, or less
// by the cosine of half a side's angle.
func (c cup) catches() (outer, inner, through float64) {
	core := c.radius - lean(c.floor, c.outerDeg) - c.wall
	mouth := c.radius - lean(c.height, c.outerDeg)
	return max(0, lean(c.height, c.outerDeg)), max(0, lean(c.height-c.floor, c.innerDeg)), max(0, core-mouth)
}

func drawCup(t *rapid.T) cup {
	c := cup{
		radius: rapid.Float64Range(15, 40).Draw(t, "radius"), height: rapid.Float64Range(6, 18).Draw(t, "height"),
		floor: rapid.Float64Range(1.5, 4).Draw(t, "floor"), wall: rapid.Float64Range(1.2, 4).Draw(t, "wall"),
		outerDeg: rapid.Float64Range(-6, 6).Draw(t, "outer lean"), innerDeg: rapid.Float64Range(-6, 6).Draw(t, "inner lean"),
		n: rapid.IntRange(24, 48).Draw(t, "sides"),
	}
	// The rim must not be thinner than half the wall.
	for c.wall+lean(c.height-c.floor, c.innerDeg-c.outerDeg) < c.wall/2 {
		c.innerDeg++
	}
	return c
}

// split makes the raw bodies of an insert mould without hardware.
func splitBodies(t interface{ Fatal(...any) }, part *mesh.Mesh, show []bool) (lower, upper *mesh.Mesh, split *insertMould) {
	ctx := context.Background()
	m, _, err := place(part, r3.Vec{Z: 1}, r3.Vec{})
	if err != nil {
		t.Fatal(err)
	}
	b := &insertMould{opt: InsertOptions{}.withDefaults(), grow: 1, mould: &Mould{Part: m}, out: &Insert{Set: &Set{}}}
	if b.parting, err = insertRule.split(ctx, m, show); err != nil {
		t.Fatal(err)
	}
	b.mould.takeLine(b.parting)
	box := m.Bounds()
	s, err := newSurface(ctx, b.parting, r2.Box{Min: r2.Vec{X: box.Min.X - 20, Y: box.Min.Y - 20}, Max: r2.Vec{X: box.Max.X + 20, Y: box.Max.Y + 20}})
	if err != nil {
		t.Fatal(err)
	}
	b.mould.Surface = s
	upper, lower, err = stitchHalves(b.parting, s, r3.Box{Min: r3.Vec{X: box.Min.X - 20, Y: box.Min.Y - 20, Z: box.Min.Z - 20}, Max: r3.Vec{X: box.Max.X + 20, Y: box.Max.Y + 20, Z: box.Max.Z + 20}})
	if err != nil {
		t.Fatal(err)
	}
	return lower, upper, b
}

// Cups of random lean, depth and wall: the line runs round the outside of the rim, and each side catches
// by its lean times its height, or not at all.
func TestCupsOpenOrCatchAsTheClosedFormSays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCup(t)
		// An outer wall that leans by so little makes lines of the same cost at its foot and at its rim, to
		// 2π of it: either is right.
		if by := math.Abs(lean(c.height, c.outerDeg)); by > 0 && by < 1e-4 {
			t.Skip("the outer wall is all but upright")
		}
		part, show := c.mesh()
		lower, upper, b := splitBodies(t, part, show)
		if len(b.parting.Loops) != 1 {
			t.Fatalf("%d loops", len(b.parting.Loops))
		}
		for f, up := range b.parting.Upper {
			group := (f - c.n) / (2 * c.n) // 0 outer wall, 1 rim, 2 inner wall
			if want := f >= c.n && group >= 1; f < c.n && up || want != up {
				t.Fatalf("facet %d (%v) on the wrong side", f, b.parting.Mesh.Facet(f).Normal())
			}
		}
		wantOuter, wantInner, wantThrough := c.catches()
		for _, q := range []struct {
			name          string
			moving, fixed opening.Body
			want          float64
		}{
			{"part from insert", opening.Body{Name: "part", Mesh: b.mould.Part}, opening.Body{Name: "insert", Mesh: lower}, wantOuter},
			{"core from part", opening.Body{Name: "core", Mesh: upper}, opening.Body{Name: "part", Mesh: b.mould.Part}, wantInner},
			{"core from insert", opening.Body{Name: "core", Mesh: upper}, opening.Body{Name: "insert", Mesh: lower}, wantThrough},
		} {
			v, err := opening.Translate(context.Background(), q.moving, q.fixed, r3.Vec{Z: 1}, opening.Options{})
			if err != nil {
				t.Fatal(err)
			}
			// Where the proof brackets the depth about the tolerance it rightly says blocked.
			if near := math.Abs(q.want-opening.DefaultToleranceMM) <= max(1e-4, v.OverlapDepthErrorMM); !near && (v.State == opening.Blocked) != (q.want > opening.DefaultToleranceMM) {
				t.Fatalf("%s: %s, the closed form catches by %.4f mm", q.name, v.Words(), q.want)
			}
			least := q.want * math.Cos(math.Pi/float64(c.n))
			if v.State == opening.Blocked && (v.OverlapDepthMM > q.want*(1+1e-6) || v.OverlapDepthMM+v.OverlapDepthErrorMM < least*(1-1e-6)) {
				t.Fatalf("%s: caught by %.5f ± %.5f mm, the closed form by %.5f to %.5f mm", q.name, v.OverlapDepthMM, v.OverlapDepthErrorMM, least, q.want)
			}
		}
	})
}

// plain leaves the hardware out, which other tests try.
func plain(o InsertOptions) InsertOptions {
	o.Bolt, o.Keys, o.PrySlots = NoBolts, -1, -1
	return softMaterials(o)
}

func TestInsertForASmallCupOfShrinkingSilicone(t *testing.T) {
	t.Parallel() // each build spends most of its time in one kernel of the pool
	c := cup{radius: 16, height: 8, floor: 2, wall: 2, outerDeg: 3, innerDeg: 4, n: 40}
	part, show := c.mesh()
	o := plain(InsertOptions{Show: show, InsertMM: 4, SiliconeShrinkPct: 0.5, ShrinkPct: r3.Vec{X: 1, Y: 1, Z: 1}, ErrorMM: 0.045})
	b := buildInsertParts(t, part, o)
	in := b.out
	// Compensation by the definition of shrinkage: a length L cast shrinks to L(1 − s).
	grown := math.Pow(1/(1-0.01), 3)
	near(t, "cavity volume", in.CastML*1000-vents(in), part.VolumeMM3()*grown, 1e-6)
	// The master is larger by the silicone's shrinkage as well: its front, a flat regular polygon, has the
	// part's radius over both.
	master := 0.0
	for _, v := range in.Pieces[1].Mesh.Verts {
		if v.Z < in.Parting.Mesh.Bounds().Min.Z {
			master = max(master, math.Hypot(v.X, v.Y))
		}
	}
	near(t, "master's radius", master, c.radius/0.99/0.995, 1e-9)
	// Nobody knows that a rigid casting stretches off a core that it grips: without its material the mould
	// must not pass.
	b.opt.Casting, b.mould.Checks = nil, nil
	if err := b.out.judgeRelease(context.Background(), b.releaseSetup); err != nil {
		t.Fatal(err)
	}
	var failed []string
	for _, f := range in.Failed() {
		failed = append(failed, f.Name)
	}
	if want := []string{"the casting cap leaves the casting", "the casting leaves the insert"}; !slices.Equal(failed, want) {
		t.Errorf("without the casting's material %q fail, want %q", failed, want)
	}
	gap := 0.0
	for _, l := range in.Ledger {
		if l.Name == "gap left by the silicone's shrinkage" {
			gap = l.VolumeMM3
		}
	}
	if gap <= 0 {
		t.Error("silicone that shrinks leaves no gap")
	}
}

func vents(in *Insert) float64 {
	v := 0.0
	for _, l := range in.Ledger {
		if l.Name == "vents" {
			v += l.VolumeMM3
		}
	}
	return v
}

// dome is half a ball with its flat side down, its round side for show.
func dome(r float64, rings, n int) (m *mesh.Mesh, show []bool) {
	m = &mesh.Mesh{Verts: []r3.Vec{{}, {Z: r}}}
	for i := range rings {
		for j := range n {
			s, c := math.Sincos(math.Pi / 2 * float64(i) / float64(rings))
			sj, cj := math.Sincos(2 * math.Pi * float64(j) / float64(n))
			m.Verts = append(m.Verts, r3.Vec{X: r * c * cj, Y: r * c * sj, Z: r * s})
		}
	}
	id := func(i, j int) uint32 { return uint32(2 + i*n + j%n) }
	for j := range n {
		m.Tris = append(m.Tris, [3]uint32{0, id(0, j+1), id(0, j)})
		show = append(show, false)
		for i := range rings - 1 {
			m.Tris = append(m.Tris, [3]uint32{id(i, j), id(i, j+1), id(i+1, j+1)}, [3]uint32{id(i, j), id(i+1, j+1), id(i+1, j)})
			show = append(show, true, true)
		}
		m.Tris = append(m.Tris, [3]uint32{id(rings-1, j), id(rings-1, j+1), 1})
		show = append(show, true)
	}
	return m, show
}

// The caps leave away from the show side, whichever way the part lies; nothing catches; and the insert's
// outer face is a ball of the part's radius and the thickness where the draft leaves it alone.
func TestInsertForADome(t *testing.T) {
	t.Parallel() // each build spends most of its time in one kernel of the pool
	m, show := dome(12, 10, 40)
	in := buildInsert(t, m, plain(InsertOptions{Show: show, ErrorMM: 0.045}))
	if d := in.Place.Frame.Z; d != (r3.Vec{Z: -1}) {
		t.Errorf("the caps leave along %v of the part, want −z", d)
	}
	for _, s := range in.Stages {
		if s.Verdict.State == opening.Blocked {
			t.Errorf("%s", s.Words())
		}
	}
	bottom := math.Inf(1)
	for _, v := range in.Outer.Verts {
		bottom = min(bottom, v.Z)
	}
	if got := in.Parting.MinZ - bottom; math.Abs(got-18) > 0.05 {
		t.Errorf("the insert reaches %.3f mm under the dome's equator, want 12 + 6", got)
	}
}

func TestInsertRefusesWhatItCannotMake(t *testing.T) {
	m, show := dome(12, 6, 24)
	for name, o := range map[string]InsertOptions{
		"show marks": {Show: show[1:]}, "thin": {InsertMM: 1}, "growing silicone": {SiliconeShrinkPct: -1}, "steep": {DraftDeg: 50}, "negative wall": {WallMM: -1},
	} {
		if _, err := InsertMould(context.Background(), pool, m, o); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if _, err := InsertMould(ctx, pool, m, InsertOptions{Show: show}); err == nil {
		t.Error("cancelled: no error")
	}
}
