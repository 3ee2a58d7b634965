package tooling

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Two spools in one box: the room is a prismoid as wide as both with the gap between them, each cavity holds
// the spool, each has its own sprue, and each closes round its waist by the ring's strain (D − d)/d.
func TestTwoSpoolsInABlock(t *testing.T) {
	t.Parallel()
	const flange, waist, n, block, gap, draft, shrink = 10.0, 7.0, 16, 9.0, 6.0, 2.0, 0.4
	part := spool(flange, waist, n)
	s := buildBlock(t, part, BlockOptions{Direction: r3.Vec{Z: 1}, BlockMM: block, DraftDeg: draft, Cavities: 2, CavityGapMM: gap, Vents: 1, SiliconeShrinkPct: shrink, Silicone: softSilicone})
	apart := r2.Norm(r2.Sub(s.Cavities[0].At, s.Cavities[1].At))
	if apart < 2*flange+gap || apart > 2*flange+gap+0.07 { // the outline is thinned by up to 0.03 mm
		t.Errorf("the spools stand %.3f mm apart", apart)
	}
	room := prismoidMM3(2*flange+apart+2*block, 2*flange+2*block, math.Tan(draft*math.Pi/180), 18+2*block)
	silicone := lineOf(s.Mould, UpperBlock) + lineOf(s.Mould, LowerBlock)
	near(t, "silicone and castings", silicone+1000*s.CastML, room, 1e-9)
	one := part.VolumeMM3()
	for k := range 2 {
		near(t, "cavity", lineOf(s.Mould, CavityName(k+1, 2)), one, 1e-6)
		checkOf(t, s.Mould, CavityName(k+1, 2)+" volume")
	}
	near(t, "resin", 1000*s.CastML, 2*one+lineOf(s.Mould, "sprue")+lineOf(s.Mould, "vents"), 1e-9)
	if lineOf(s.Mould, "cavity") != 0 || !(lineOf(s.Mould, "sprue") > 0) {
		t.Errorf("ledger: %v", s.Ledger)
	}
	for kind, want := range map[string]int{"sprue": 2, "vent": 2, "key": 4} {
		if got := count(s.Mould, kind); got != want {
			t.Errorf("%d of %s, want %d", got, kind, want)
		}
	}
	for name, want := range map[string]int{Master: 2, PartingBoard: 1, UpperBlock: 1, LowerBlock: 1} {
		if _, got := s.piece(name).Components(); got != want {
			t.Errorf("%s: %d bodies, want %d", name, got, want)
		}
	}
	if _, got := s.Cast.Components(); got != 2 {
		t.Errorf("%d castings", got)
	}
	if c := checkOf(t, s.Mould, "least silicone between cavities"); c.Value < gap-1e-9 || c.Value > apart-2*flange*math.Cos(math.Pi/n)+1e-9 {
		t.Errorf("%.3f mm between cavities", c.Value)
	}
	near(t, "strain", s.Release.Holds[0].Strain, (flange-waist)/waist, 1e-2)
	// With the neighbour full, the wall between gives way by the flange's overhang.
	near(t, "wall pressed together", checkOf(t, s.Mould, "neighbours leave the silicone room to give way").Value, (flange-waist)/gap, 2e-2)
}

// One cavity is the plain block, byte for byte.
func TestOneCavityIsThePlainBlock(t *testing.T) {
	t.Parallel()
	part := turnedSolid(12, r2.Vec{X: 8}, r2.Vec{X: 8, Y: 8})
	o := BlockOptions{Direction: r3.Vec{Z: 1}, BlockMM: 8, Keys: -1, Silicone: softSilicone}
	a := buildBlock(t, part, o)
	o.Cavities = 1
	b := buildBlock(t, part, o)
	for i := range a.Pieces {
		if !slices.Equal(a.Pieces[i].Mesh.Verts, b.Pieces[i].Mesh.Verts) {
			t.Errorf("%s differs", a.Pieces[i].Name)
		}
	}
	if fmt.Sprint(a.Ledger, a.Checks, a.Features, a.Notes) != fmt.Sprint(b.Ledger, b.Checks, b.Features, b.Notes) {
		t.Error("a block of one cavity differs from the plain one")
	}
}

func TestBlocksOfTooManyCavities(t *testing.T) {
	t.Parallel()
	part := turnedSolid(12, r2.Vec{X: 8}, r2.Vec{X: 8, Y: 8})
	for name, q := range map[string]struct {
		n     int
		gap   float64
		build r3.Vec
		want  error
	}{
		"minus one":               {-1, 8, r3.Vec{}, ErrCavities},
		"more than a mould takes": {MostCavities + 1, 8, r3.Vec{}, ErrCavities},
		"a skin between two":      {2, 3, r3.Vec{}, ErrOptions},
		"a small printer":         {4, 8, r3.Vec{X: 70, Y: 70, Z: 100}, ErrCavities},
	} {
		if _, err := BlockMould(context.Background(), pool, part, BlockOptions{Cavities: q.n, CavityGapMM: q.gap, BuildVolumeMM: q.build}); !errors.Is(err, q.want) {
			t.Errorf("%s: %v, want %v", name, err, q.want)
		}
	}
}

// Three boxes in a row across the front: each cut is as the one of a single box, with a slit between two, and
// the silicone fills a prismoid that is longer by two boxes and two gaps.
func TestThreeBoxesInACutBlock(t *testing.T) {
	t.Parallel()
	const w, d, h, block, gap, n = 24.0, 14.0, 8.0, 9.0, 8.0, 3
	part := prismOf(t, []r2.Vec{{}, {X: w}, {X: w, Y: d}, {Y: d}}, 0, h)
	o := CutBlockOptions{Direction: r3.Vec{Z: 1}, BlockMM: block, DraftDeg: 1, Silicone: softSilicone}
	one := buildCutBlock(t, part, o)
	o.Cavities, o.CavityGapMM = n, gap
	s := buildCutBlock(t, part, o)
	near(t, "strain", s.Cut.Strain, one.Cut.Strain, 1e-12)
	near(t, "seam", s.Cut.TraceMM, n*one.Cut.TraceMM, 1e-9)
	near(t, "cuts and their traces", length(s.Cut.Trace), s.Cut.TraceMM, 1e-9)
	row := r2.Sub(s.Cavities[1].At, s.Cavities[0].At)
	if row.X != 0 && row.Y != 0 {
		t.Fatalf("the row runs along (%v, %v)", row.X, row.Y)
	}
	pitch, a, b := r2.Norm(row), w, d // a along the row
	if row.X == 0 {
		a, b = d, w
	}
	near(t, "pitch", pitch, a+gap, 2*packStepMM)
	// The block leaves to the front: its section is across that, and its walls open along it.
	room := prismoidMM3(a+2*block+(n-1)*pitch, h+2*block, math.Tan(math.Pi/180), b+2*block)
	near(t, "silicone and castings", lineOf(s.Mould, SiliconeBlock)+1000*s.CastML, room, 1e-9)
	slit := b + 2*block - s.Cut.HingeMM // deep, and as high as the room, which widens from the far end on
	high := h + 2*block + math.Tan(math.Pi/180)*(s.Cut.HingeMM+b+2*block)
	near(t, "depth of the slits", s.Cut.SlitMM, slit, 1e-9)
	cuts := 0.0
	for k := range n {
		near(t, "cavity", lineOf(s.Mould, CavityName(k+1, n)), w*d*h, 1e-6)
		for _, f := range s.Features {
			if f.Name == fmt.Sprintf("C%d", k+1) {
				near(t, "seam of a cut", f.SizesMM[0].MM, one.Cut.TraceMM, 1e-9)
				cuts += outlineMM2(f.Outline)
			}
		}
	}
	// The line runs along an edge of the box and out level: its plan is its area.
	near(t, "cuts and slits", s.Cut.AreaMM2, cuts+(n-1)*slit*high, 1e-6)
	for kind, want := range map[string]int{"cut": n, "side sprue": n, "side vent": n * count(one.Mould, "side vent")} {
		if got := count(s.Mould, kind); got != want {
			t.Errorf("%d of %s, want %d", got, kind, want)
		}
	}
	if _, got := s.piece(Master).Components(); got != 1 {
		t.Errorf("masters and plate are %d bodies", got)
	}
	if _, got := s.Cast.Components(); got != n {
		t.Errorf("%d castings", got)
	}
	o.CavityGapMM = 6
	if _, err := CutBlock(context.Background(), pool, part, o); !errors.Is(err, ErrOptions) {
		t.Errorf("3 mm beside a slit: %v", err)
	}
}

func outlineMM2(o [][]r2.Vec) (a float64) {
	for _, l := range o {
		a += math.Abs(loopArea(l))
	}
	return a
}

// Where the sprue goes up through the upper lip, two loose masters hang from one plate.
func TestTwoMastersUnderOnePlate(t *testing.T) {
	t.Parallel()
	const w, d, h = 20.0, 16.0, 7.0
	part := prismOf(t, []r2.Vec{{}, {X: w}, {X: w, Y: d}, {Y: d}}, 0, h)
	show := make([]bool, len(part.Tris)) // all sides: no stalk lies in the cut
	for f := range show {
		show[f] = math.Abs(part.Facet(f).Normal().Z) < 1e-9
	}
	s := buildCutBlock(t, part, CutBlockOptions{Direction: r3.Vec{Z: 1}, BlockMM: 9, Cavities: 2, Vents: -1, Show: show, SiliconeShrinkPct: 0.3, Silicone: softSilicone})
	if _, got := s.piece(Master).Components(); got != 2 || s.piece(BasePlate) == nil || count(s.Mould, "sprue") != 2 {
		t.Errorf("%d masters, %d sprues", got, count(s.Mould, "sprue"))
	}
	for k := range 2 {
		near(t, "cavity", lineOf(s.Mould, CavityName(k+1, 2)), w*d*h, 1e-6)
	}
}
