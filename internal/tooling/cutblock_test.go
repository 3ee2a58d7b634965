package tooling

import (
	"context"
	"math"
	"testing"

	"mouldwright/demo/lantern"
	"mouldwright/internal/mesh"
	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// buildCutBlock builds a cut block of which every check must hold.
func buildCutBlock(t *testing.T, part *mesh.Mesh, opt CutBlockOptions) *Set {
	t.Helper()
	s, err := CutBlock(context.Background(), pool, part, opt)
	if err != nil {
		t.Fatal(err)
	}
	booked(t, s)
	return s
}

func TestCutBlockForTheFootRing(t *testing.T) {
	t.Parallel() // each build spends most of its time in one kernel of the pool
	part := lantern.FootRing()
	s := buildCutBlock(t, part.Mesh, CutBlockOptions{Show: part.Show(), Silicone: softSilicone, Label: LabelOptions{Text: "foot"}})
	// Its bore and its screw holes are closed by silicone that the cut has to part: it goes past them all.
	if past := s.Cut.HingeMM; past > 12+lantern.FootOuterRadiusMM-lantern.FootBoreRadiusMM {
		t.Errorf("%.1f mm left uncut: the cut does not pass the bore", past)
	}
	if s.Cut.ShowMM != 0 {
		t.Errorf("%.1f mm of the seam on show faces", s.Cut.ShowMM)
	}
}

// A box with square corners, opened along z: every wall may go with either lip, so the cut runs along one of
// its edges, and the lip on the other side of it has to rise by the box's whole height. The figures of the
// double cantilever are then plain: ε = 3·t·u/(2·l²).
func TestCutBlockOfABox(t *testing.T) {
	t.Parallel()
	const w, d, h, block = 30.0, 16.0, 10.0, 10.0
	s := buildCutBlock(t, prismOf(t, []r2.Vec{{}, {X: w}, {X: w, Y: d}, {Y: d}}, 0, h),
		CutBlockOptions{Direction: r3.Vec{Z: 1}, BlockMM: block, DraftDeg: 1, Silicone: softSilicone})
	c := s.Cut
	near(t, "opening", c.OpeningMM, h, 1e-9)
	near(t, "thickness of the lip", c.ThickMM, h+block+c.HingeMM*math.Tan(math.Pi/180), 1e-9)
	near(t, "strain", c.Strain, 3*c.ThickMM*h/(2*c.LipMM*c.LipMM), 1e-12)
	// Seen from the front that is along x or y, the seam is the front edge and what of both sides lies before
	// the end of the cut.
	if got := math.Min(math.Abs(c.TraceMM-d-2*min(c.LipMM, w)), math.Abs(c.TraceMM-w-2*min(c.LipMM, d))); got > 1e-9 {
		t.Errorf("%.3f mm of seam in front of a cut that ends %.3f mm behind the front", c.TraceMM, c.LipMM)
	}
	near(t, "cut and its trace", length(c.Trace), c.TraceMM, 1e-9)
	// Once more with a silicone that tears: the strain is named, and no cut is deep enough.
	hard, err := CutBlock(context.Background(), pool, prismOf(t, []r2.Vec{{}, {X: w}, {X: w, Y: d}, {Y: d}}, 0, h),
		CutBlockOptions{Direction: r3.Vec{Z: 1}, BlockMM: block, Silicone: &opening.Flex{ElongationPct: 20, ShoreA: 70}})
	if err != nil {
		t.Fatal(err)
	}
	if !fails(hard, "the lips open far enough", "7 % are allowed") {
		t.Errorf("it opens: %v", hard.Failed())
	}
	near(t, "left uncut at the most", hard.Cut.HingeMM, block/2, 1e-9)
}

func length(lines [][]r3.Vec) (l float64) {
	for _, line := range lines {
		for i := 1; i < len(line); i++ {
			l += r3.Norm(r3.Sub(line[i], line[i-1]))
		}
	}
	return l
}

// A ball needs the cut no farther than half-way round it: what lies behind is open to the front.
func TestCutBlockOfABallIsCutHalfWay(t *testing.T) {
	t.Parallel()
	const r = 12.0
	s := buildCutBlock(t, ellipsoid(r, r, r, 24), CutBlockOptions{Direction: r3.Vec{Z: 1}, BlockMM: 10, Silicone: &opening.Flex{ElongationPct: 5000, ShoreA: 10}, SiliconeShrinkPct: 0.3})
	near(t, "left uncut", s.Cut.HingeMM, 10+r, 0.02)
	near(t, "seam", s.Cut.TraceMM, math.Pi*r, 0.02)
	near(t, "lip's opening", s.Cut.OpeningMM, r, 1e-9)
	near(t, "free length", s.Cut.LipMM, r, 0.02)
}

func TestCutBlockForAPawnAndAHook(t *testing.T) {
	t.Parallel()
	for name, part := range map[string]*mesh.Mesh{"pawn": pawn(24), "hook": prismOf(t, hook(), 0, 5)} {
		s := buildCutBlock(t, part, CutBlockOptions{BlockMM: 8, Silicone: softSilicone})
		if s.Cut.DepthMM < 8 || s.Cut.AreaMM2 <= 0 {
			t.Errorf("%s: a cut %.1f mm deep, %.1f mm²", name, s.Cut.DepthMM, s.Cut.AreaMM2)
		}
	}
}

// A line cut by a plane keeps the length that lies beyond it, by the formula for each stretch and by the
// pieces made.
func TestTraceBeyondAPlane(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		coordinate := rapid.Float64Range(-10, 10)
		var line []r3.Vec
		for range rapid.IntRange(3, 12).Draw(r, "corners") {
			line = append(line, r3.Vec{X: coordinate.Draw(r, "x"), Y: coordinate.Draw(r, "y"), Z: coordinate.Draw(r, "z")})
		}
		dir, at := r3.Unit(r3.Vec{X: 1, Y: coordinate.Draw(r, "dy")}), coordinate.Draw(r, "at")
		want := 0.0
		for i, u := range line {
			v := line[(i+1)%len(line)]
			want += r3.Norm(r3.Sub(v, u)) * shareBeyond(r3.Dot(u, dir), r3.Dot(v, dir), at)
		}
		if got := length(beyond(line, dir, at)); math.Abs(got-want) > 1e-9*(1+want) {
			r.Fatalf("the pieces are %v mm, the stretches %v mm", got, want)
		}
	})
}
