package tooling

import (
	"context"
	"errors"
	"math"
	"testing"

	"mouldwright/demo/lantern"
	"mouldwright/internal/mesh"
	"mouldwright/internal/opening"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// turnedSolid turns a section of radii and heights, from the bottom to the top, about z; corners of the n
// sides lie on x and y.
func turnedSolid(n int, rows ...r2.Vec) *mesh.Mesh {
	m := &mesh.Mesh{Verts: []r3.Vec{{Z: rows[0].Y}, {Z: rows[len(rows)-1].Y}}}
	for _, r := range rows {
		for j := range n {
			s, c := math.Sincos(2 * math.Pi * float64(j) / float64(n))
			m.Verts = append(m.Verts, r3.Vec{X: r.X * c, Y: r.X * s, Z: r.Y})
		}
	}
	id := func(row, j int) uint32 { return uint32(2 + row*n + j%n) }
	last := len(rows) - 1
	for j := range n {
		m.Tris = append(m.Tris, [3]uint32{0, id(0, j+1), id(0, j)}, [3]uint32{1, id(last, j), id(last, j+1)})
		for i := range last {
			m.Tris = append(m.Tris, [3]uint32{id(i, j), id(i, j+1), id(i+1, j+1)}, [3]uint32{id(i, j), id(i+1, j+1), id(i+1, j)})
		}
	}
	return m
}

// turnedMM3 is the volume of what turnedSolid makes: frustums of pyramids with regular bases, each
// h·(A₀ + √(A₀A₁) + A₁)/3.
func turnedMM3(n int, rows ...r2.Vec) (v float64) {
	base := float64(n) / 2 * math.Sin(2*math.Pi/float64(n))
	for i := range len(rows) - 1 {
		a, b := rows[i], rows[i+1]
		v += base * (b.Y - a.Y) / 3 * (a.X*a.X + a.X*b.X + b.X*b.X)
	}
	return v
}

var spoolRows = []r2.Vec{{X: 15, Y: 0}, {X: 15, Y: 3}, {X: 8, Y: 5}, {X: 7, Y: 12}, {X: 8, Y: 19}, {X: 14, Y: 21}, {X: 14, Y: 24}}

func buildSides(t testing.TB, part *mesh.Mesh, opt SideSplitOptions) *sideSplit {
	t.Helper()
	b, err := buildSideSplit(context.Background(), pool, part, opt)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func mustPass(t testing.TB, m *Mould) {
	t.Helper()
	for _, c := range m.Failed() {
		t.Errorf("%s: %g, limit %g %s: %s", c.Name, c.Value, c.Limit, c.Unit, c.Words)
	}
}

// stepsFree moves the pieces away in steps and asks the kernel what they then share with what is still
// there: another method than that of the proof.
func stepsFree(t testing.TB, b *sideSplit) {
	t.Helper()
	const most = 1e-4 // mm³, rounding of faces that slide on each other
	err := pool.Do(context.Background(), func(k *solid.Kernel) error {
		body := func(name string) *solid.Solid {
			m := b.mould.Cast
			if name != castingName {
				m = b.mould.piece(name)
			}
			s, err := k.FromMesh(m)
			if err != nil {
				t.Fatal(err)
			}
			return s
		}
		for _, q := range sideStages {
			moving, fixed := body(q.moving), body(q.fixed)
			for _, step := range []float64{0, 0.02, 0.3, 3, 12, 30} {
				moved, err := moving.Translate(r3.Scale(step, q.way))
				if err != nil {
					return err
				}
				common, err := moved.Intersect(fixed)
				if err != nil {
					return err
				}
				v, err := common.VolumeMM3()
				if err != nil {
					return err
				}
				if v > most {
					t.Errorf("%s %g mm along %v shares %.3g mm³ with the %s", q.moving, step, q.way, v, q.fixed)
				}
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// A spool is undercut all round along its axis; two side pieces part it over a whole half under its foot.
func TestSideSplitPartsASpool(t *testing.T) {
	t.Parallel()
	part := turnedSolid(24, spoolRows...)
	b := buildSides(t, part, SideSplitOptions{Label: LabelOptions{Text: "spool"}, ShrinkPct: r3.Vec{X: 1, Y: 1, Z: 1}})
	mustPass(t, b.mould)
	grow := 1 / 0.99
	near(t, "cavity", b.mould.Part.VolumeMM3(), turnedMM3(24, spoolRows...)*grow*grow*grow, 1e-9)
	sum := 0.0
	for _, l := range b.mould.Ledger {
		sum += l.VolumeMM3
	}
	s := b.mould.Block.Size()
	near(t, "ledger", sum, s.X*s.Y*s.Z, 1e-9)
	// The loop runs round the foot, the split up one side, over the top and down the other.
	edge := func(r float64) float64 { return 2 * 24 * r * grow * math.Sin(math.Pi/24) }
	split := 0.0
	for i := range len(spoolRows) - 1 {
		split += 2 * grow * r2.Norm(r2.Sub(spoolRows[i+1], spoolRows[i]))
	}
	near(t, "line", b.mould.LineMM, edge(15)+split+grow*2*14, 1e-7)
	if b.mould.LineOnShowMM != 0 {
		t.Errorf("%g mm of the line on show faces, there are none", b.mould.LineOnShowMM)
	}
	for _, v := range b.feed.vents { // all of its foot on the top, which is 28 mm across
		if math.Abs(v.At.Y)+v.BottomRadius > 14*grow || v.At.X != b.splitX {
			t.Errorf("a vent stands at %v, %.2f mm across", v.At, 2*v.BottomRadius)
		}
	}
	for _, st := range b.out.Stages {
		if st.Verdict.State == opening.Blocked {
			t.Error(st.Words())
		}
	}
	stepsFree(t, b)
}

// bare leaves the hardware out, which other tests try.
func (o SideSplitOptions) bare() SideSplitOptions {
	o.Bolt, o.Keys, o.PrySlots, o.Vents = NoBolts, -1, -1, -1
	return o
}

// bored is a boss on a plate with holes: round ones of radius 3 mm at half the boss's height.
func bored(t testing.TB, holes ...[2]r3.Vec) *mesh.Mesh {
	return modelled(t, func(k *solid.Kernel) (*solid.Solid, error) {
		plate, err := k.Box(r3.Box{Min: r3.Vec{X: -20, Y: -20}, Max: r3.Vec{X: 20, Y: 20, Z: 5}})
		if err != nil {
			return nil, err
		}
		boss, err := k.Box(r3.Box{Min: r3.Vec{X: -12, Y: -12, Z: 2}, Max: r3.Vec{X: 12, Y: 12, Z: 25}})
		if err != nil {
			return nil, err
		}
		if boss, err = boss.Union(plate); err != nil {
			return nil, err
		}
		for _, h := range holes {
			hole, err := k.Cylinder(h[0], r3.Sub(h[1], h[0]), 3, 24)
			if err != nil {
				return nil, err
			}
			if boss, err = boss.Subtract(hole); err != nil {
				return nil, err
			}
		}
		return boss, nil
	})
}

// A hole through a boss locks two halves along its height; side pieces that leave along the hole make it,
// each from its own end.
func TestSideSplitMakesAHoleThroughABoss(t *testing.T) {
	t.Parallel()
	part := bored(t, [2]r3.Vec{{X: 0, Y: -30, Z: 15}, {X: 0, Y: 30, Z: 15}})
	opt := SideSplitOptions{Label: LabelOptions{Text: "a name too long for a side piece of this boss"}}.bare()
	b := buildSides(t, part, opt)
	mustPass(t, b.mould)
	if f := b.mould.Place.Frame; math.Abs(f.X.Y) != 1 || f.Z != (r3.Vec{Z: 1}) {
		t.Errorf("the side pieces leave along %v, the casting along %v; the hole runs along y, the boss stands on z", f.X, f.Z)
	}
	area := 12 * math.Sin(math.Pi/12) * 9 // of 24 sides on a circle of 3 mm
	near(t, "cavity", b.mould.Part.VolumeMM3(), 40*40*5+24*24*20-24*area, 1e-9)
	stepsFree(t, b)
}

// A groove along a boss lies open at both its ends and to one side.
func TestSideSplitMakesAGroove(t *testing.T) {
	t.Parallel()
	part := modelled(t, func(k *solid.Kernel) (*solid.Solid, error) {
		boss, err := k.Box(r3.Box{Min: r3.Vec{X: -15, Y: -10}, Max: r3.Vec{X: 15, Y: 10, Z: 20}})
		if err != nil {
			return nil, err
		}
		groove, err := k.Box(r3.Box{Min: r3.Vec{X: -30, Y: -15, Z: 8}, Max: r3.Vec{X: 30, Y: -5, Z: 13}})
		if err != nil {
			return nil, err
		}
		return boss.Subtract(groove)
	})
	b := buildSides(t, part, SideSplitOptions{Direction: r3.Vec{Z: 1}, Side: r3.Vec{X: 3, Z: 1}}.bare())
	mustPass(t, b.mould)
	near(t, "cavity", b.mould.Part.VolumeMM3(), 30*20*20-30*5*5, 1e-12)
	stepsFree(t, b)
}

// Blind holes from four sides lock whichever side the pieces leave along: those across it are 5 mm deep and
// 6 mm high, so a disc of 5 mm fits in what holds a piece.
func TestSideSplitNamesWhatLocks(t *testing.T) {
	t.Parallel()
	part := bored(t, [2]r3.Vec{{X: 7, Z: 15}, {X: 30, Z: 15}}, [2]r3.Vec{{X: -7, Z: 15}, {X: -30, Z: 15}},
		[2]r3.Vec{{Y: 7, Z: 15}, {Y: 30, Z: 15}}, [2]r3.Vec{{Y: -7, Z: 15}, {Y: -30, Z: 15}})
	b := buildSides(t, part, SideSplitOptions{Direction: r3.Vec{Z: 1}}.bare())
	held := 0
	for _, s := range b.out.Stages {
		if s.Verdict.State != opening.Blocked {
			continue
		}
		held++
		if v := s.Verdict; math.Abs(v.OverlapDepthMM-5) > v.OverlapDepthErrorMM+1e-6 || s.Rigid {
			t.Errorf("%s; the hole is 5 mm deep", s.Words())
		}
	}
	if held != 2 || len(b.mould.Failed()) != 2 {
		t.Errorf("%d stages are blocked and %d checks fail, both side pieces are held", held, len(b.mould.Failed()))
	}
}

// The demo's cap keeps to the core in its mouth: the side pieces free its outside, cross its front with the
// split, and leave it to be stretched off the core.
func TestSideSplitForTheBumperCap(t *testing.T) {
	t.Parallel()
	part := lantern.BumperCap()
	opt := SideSplitOptions{Show: part.Show(), Direction: r3.Vec{Z: -1}, Side: r3.Vec{X: 1}}.bare()
	b := buildSides(t, part.Mesh, opt)
	failed := b.mould.Failed()
	if len(failed) != 1 || failed[0].Name != "the casting leaves the whole half" {
		t.Fatalf("with a rigid casting the core alone must hold: %v", failed)
	}
	// The inner wall leans over by 5° on at most its whole height, less where its ends are rounded.
	most := lean(lantern.CapHeightMM-lantern.CapFloorMM, lantern.CapInnerLeanDeg)
	if v := failed[0].Value; v > most || v < 0.6*most {
		t.Errorf("caught by %.2f mm, the leaning wall catches by up to %.2f mm", v, most)
	}
	for f, up := range b.parting.Upper {
		switch part.Face[b.parting.Source[f]] {
		case lantern.CapFront, lantern.CapFrontEdge, lantern.CapOuterWall:
			if !up {
				t.Fatalf("facet %d of the %s is the whole half's", f, part.Face[f])
			}
		case lantern.CapInnerWall, lantern.CapInnerEdge, lantern.CapFloor:
			if up {
				t.Fatalf("facet %d of the %s is a side piece's", f, part.Face[f])
			}
		}
	}
	// Across the front the split is as long as the front with its rounded edge: both of it in a plane
	// through the axis. The round takes 86° of a circle of 4 mm from the corner's two sides.
	cut := 4 / math.Tan((90+lantern.CapOuterLeanDeg)/2*math.Pi/180) // along each side
	want := 2 * (lantern.CapOuterRadiusMM - cut + 4*(90-lantern.CapOuterLeanDeg)*math.Pi/180)
	if got := b.mould.LineOnShowMM; math.Abs(got-want) > 0.3 {
		t.Errorf("%.2f mm of the line lie on the front, its profile is %.2f mm long", got, want)
	}
	// A polyurethane of Shore A 40: typical values, no source.
	b.opt.Casting, b.mould.Checks = &opening.Flex{ElongationPct: 400, ShoreA: 40}, nil
	if err := b.out.judgeRelease(context.Background(), b.releaseOf); err != nil {
		t.Fatal(err)
	}
	if mustPass(t, b.mould); len(b.mould.Checks) != 1 || b.out.Release == nil {
		t.Errorf("a soft casting is judged: %v", b.mould.Checks)
	}
}

// A blade is narrower than any sprue: the sprue sits astride its edge, in the plane of the split.
func TestSideSplitFeedsABladeAstride(t *testing.T) {
	t.Parallel()
	part := modelled(t, func(k *solid.Kernel) (*solid.Solid, error) {
		return k.Box(r3.Box{Min: r3.Vec{X: -0.8, Y: -15}, Max: r3.Vec{X: 0.8, Y: 15, Z: 15}})
	})
	b := buildSides(t, part, SideSplitOptions{Direction: r3.Vec{Z: 1}, Side: r3.Vec{X: 1}, SprueMM: 4}.bare())
	mustPass(t, b.mould)
	if s := b.feed.sprue; b.feed.below || s.TopRadius != 2 || s.At.X != b.splitX || math.Abs(s.BottomZ-(b.mould.Part.Bounds().Max.Z-4)) > 1e-9 {
		t.Errorf("sprue %+v; it should reach its own 4 mm down both sides of the edge", s)
	}
}

// A plate waved along y has a parting line that rises and falls; the surface under the side pieces runs
// straight out from it, so they slide out on it.
func TestSideSplitSlidesOnAWavedSurface(t *testing.T) {
	t.Parallel()
	var loop []r2.Vec
	for i := range 25 {
		y := float64(i) - 12
		loop = append(loop, r2.Vec{X: y, Y: 2 * math.Sin(y/4)})
	}
	for i := range 25 {
		loop = append(loop, r2.Vec{X: loop[24-i].X, Y: loop[24-i].Y + 4})
	}
	part := prismOf(t, loop, -15, 15).Map(func(v r3.Vec) r3.Vec { return r3.Vec{X: v.Z, Y: v.X, Z: v.Y} })
	opt := SideSplitOptions{Direction: r3.Vec{Z: 1}, Side: r3.Vec{X: 1}}.bare()
	opt.Keys = 2
	b := buildSides(t, part, opt)
	mustPass(t, b.mould)
	if b.mould.Surface.Flat || b.parting.MaxZ-b.parting.MinZ < 3 {
		t.Errorf("the line is %.1f mm uneven", b.parting.MaxZ-b.parting.MinZ)
	}
	stepsFree(t, b)
}

// Turned about its axis, mirrored or renumbered, a spool is divided alike.
func TestSideSplitFollowsThePart(t *testing.T) {
	part := turnedSolid(24, spoolRows...)
	plan := func(t interface{ Fatal(...any) }, m *mesh.Mesh, side r3.Vec) *sideSplit {
		b, err := planSideSplit(context.Background(), m, SideSplitOptions{Direction: r3.Vec{Z: 1}, Side: side}.bare().withDefaults())
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	want := plan(t, part, r3.Vec{X: 1})
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(0, 2*math.Pi).Draw(t, "turn")
		mirror := rapid.Bool().Draw(t, "mirror")
		shift := rapid.IntRange(0, len(part.Tris)-1).Draw(t, "first facet")
		s, c := math.Sincos(a)
		m := part.Map(func(v r3.Vec) r3.Vec {
			if mirror {
				v.X = -v.X
			}
			return r3.Vec{X: c*v.X - s*v.Y, Y: s*v.X + c*v.Y, Z: v.Z}
		})
		tris := append(append([][3]uint32(nil), m.Tris[shift:]...), m.Tris[:shift]...)
		if mirror {
			for i, f := range tris {
				tris[i] = [3]uint32{f[0], f[2], f[1]}
			}
		}
		got := plan(t, &mesh.Mesh{Verts: m.Verts, Tris: tris}, r3.Vec{X: c, Y: s})
		if math.Abs(got.splitX-want.splitX) > 1e-9 || math.Abs(got.mould.LineMM-want.mould.LineMM) > 1e-6 {
			t.Fatalf("split at %g, line %.6f mm; unturned at %g, %.6f mm", got.splitX, got.mould.LineMM, want.splitX, want.mould.LineMM)
		}
	})
}

// The plane stands where the least lies on its wrong side: found by trying every place on a fine raster.
func TestSplitPlaceIsTheBest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var s splitPlace
		for range rapid.IntRange(1, 8).Draw(t, "facets") {
			lo := float64(rapid.IntRange(-10, 9).Draw(t, "from"))
			s.add([2]float64{lo, lo + float64(rapid.IntRange(0, 5).Draw(t, "wide"))}, float64(rapid.IntRange(1, 5).Draw(t, "weight")), rapid.Bool().Draw(t, "over"))
		}
		wrong := func(at float64) (sum float64) {
			for _, w := range s.wants {
				if w.extent[0] == at && w.extent[1] == at {
					continue // a facet square to the side is on either side of a plane through it
				}
				if share := overShare(w.extent, at); w.over {
					sum += w.weight * (1 - share)
				} else {
					sum += w.weight * share
				}
			}
			return sum
		}
		least := math.Inf(1)
		for x := -12.0; x <= 16; x += 0.125 {
			least = min(least, wrong(x))
		}
		if at := s.best(0.3); wrong(at) > least+1e-6 {
			t.Fatalf("at %g lies %g wrong, %g would do", at, wrong(at), least)
		}
	})
}

func TestSideSplitRefuses(t *testing.T) {
	ctx := context.Background()
	spool := turnedSolid(12, spoolRows...)
	two := &mesh.Mesh{Verts: append(append([]r3.Vec(nil), spool.Verts...), spool.Map(func(v r3.Vec) r3.Vec { return r3.Add(v, r3.Vec{X: 50}) }).Verts...)}
	n := uint32(len(spool.Verts))
	for _, f := range spool.Tris {
		two.Tris = append(two.Tris, f, [3]uint32{f[0] + n, f[1] + n, f[2] + n})
	}
	for name, q := range map[string]struct {
		part *mesh.Mesh
		opt  SideSplitOptions
		want error
	}{
		"two bodies":               {two, SideSplitOptions{}, ErrBodies},
		"side along the direction": {spool, SideSplitOptions{Direction: r3.Vec{Z: 1}, Side: r3.Vec{Z: -2}}, ErrOptions},
		"marks of another part":    {spool, SideSplitOptions{Show: make([]bool, 3)}, ErrOptions},
		"no direction":             {spool, SideSplitOptions{Direction: r3.Vec{X: math.NaN()}}, ErrOptions},
		"negative wall":            {spool, SideSplitOptions{WallMM: -1}, ErrOptions},
		"unknown thread":           {spool, SideSplitOptions{Bolt: "M7"}, nil},
	} {
		_, err := SideSplit(ctx, pool, q.part, q.opt)
		if err == nil || q.want != nil && !errors.Is(err, q.want) {
			t.Errorf("%s: %v", name, err)
		}
	}
	cancelled, cancel := context.WithCancel(ctx)
	cancel()
	if _, err := SideSplit(cancelled, pool, spool, SideSplitOptions{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}
