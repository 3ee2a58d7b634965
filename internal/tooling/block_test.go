package tooling

import (
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"mouldwright/demo/lantern"
	"mouldwright/internal/mesh"
	"mouldwright/internal/opening"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// softSilicone is a silicone of Shore A 28: typical values, no source.
var softSilicone = &opening.Flex{ElongationPct: 400, ShoreA: 28}

// buildBlock builds a block of which every check must hold.
func buildBlock(t *testing.T, part *mesh.Mesh, opt BlockOptions) *Set {
	t.Helper()
	s, err := BlockMould(context.Background(), pool, part, opt)
	if err != nil {
		t.Fatal(err)
	}
	booked(t, s)
	return s
}

// booked checks that every block adds up and that the casting's pieces are there, beside what allHold does.
func booked(t *testing.T, s *Set) {
	t.Helper()
	allHold(t, s.Mould)
	size := s.Block.Size()
	for _, p := range s.Pours {
		near(t, "ledger of the "+p.Piece, sumOf(p.Ledger), size.X*size.Y*size.Z, 1e-9)
	}
	for _, name := range s.Casting {
		if s.piece(name) == nil {
			t.Errorf("no piece is called %q", name)
		}
	}
}

func sumOf(l []LedgerLine) (v float64) {
	for _, x := range l {
		v += x.VolumeMM3
	}
	return v
}

func stageOf(t *testing.T, s *Set, name string) Stage {
	t.Helper()
	i := slices.IndexFunc(s.Stages, func(g Stage) bool { return g.Name == name })
	if i < 0 {
		t.Fatalf("no stage %q", name)
	}
	return s.Stages[i]
}

func TestBlockForTheBumperCap(t *testing.T) {
	t.Parallel() // each build spends most of its time in one kernel of the pool
	part := lantern.BumperCap()
	s := buildBlock(t, part.Mesh, BlockOptions{Show: part.Show(), Silicone: softSilicone, Label: LabelOptions{Text: "cap"}})
	if s.LineOnShowMM != 0 {
		t.Errorf("%.1f mm of the line lie on show faces", s.LineOnShowMM)
	}
	// The inner wall leans in over the core by its height times the lean, less what its round ends take.
	most := lean(lantern.CapHeightMM-lantern.CapFloorMM, lantern.CapInnerLeanDeg)
	if v := stageOf(t, s, "the upper block leaves the casting").Verdict; v.State != opening.Blocked || v.OverlapDepthMM > most || v.OverlapDepthMM < 0.6*most {
		t.Errorf("the core catches by %.2f mm; the wall leans over by %.2f mm", v.OverlapDepthMM, most)
	}
}

// A cylinder between two blocks: the room is a prismoid, and what is not part or sprue in it is silicone.
func TestBlockOfAShrinkingSiliconeRoundACylinder(t *testing.T) {
	t.Parallel()
	const n, r, h, block, draft, shrink = 32, 10.0, 12.0, 10.0, 2.0, 0.5
	section := []r2.Vec{{X: r}, {X: r, Y: h}}
	s := buildBlock(t, turnedSolid(n, section...), BlockOptions{Direction: r3.Vec{Z: 1}, BlockMM: block, DraftDeg: draft, SiliconeShrinkPct: shrink, Silicone: softSilicone})
	near(t, "part", lineOf(s.Mould, "cavity"), turnedMM3(n, section...), 1e-9)
	side := 2*r + 2*block
	room := prismoidMM3(side, side, math.Tan(draft*math.Pi/180), h+2*block)
	near(t, "silicone and part", lineOf(s.Mould, UpperBlock)+lineOf(s.Mould, LowerBlock)+lineOf(s.Mould, "cavity")+lineOf(s.Mould, "sprue")+lineOf(s.Mould, "vents"), room, 1e-9)
	grow := math.Pow(1/(1-shrink/100), 3)
	for _, p := range s.Pours {
		near(t, "poured for the "+p.Piece, 1000*p.ML, grow*lineOf(s.Mould, p.Piece), 1e-9)
	}
	near(t, "resin", 1000*s.CastML, lineOf(s.Mould, "cavity")+lineOf(s.Mould, "sprue")+lineOf(s.Mould, "vents"), 1e-9)
	// The master is part and stalk, larger by the shrinkage; what of the stalk stands free comes on top.
	if got, least := volumeMM3(s, Master), grow*(lineOf(s.Mould, "cavity")+lineOf(s.Mould, "sprue")+lineOf(s.Mould, "vents")); got <= least || got > 1.1*least {
		t.Errorf("the master holds %.1f mm³, the casting as large as it %.1f mm³", got, least)
	}
}

func volumeMM3(s *Set, piece string) float64 {
	for _, p := range s.Pieces {
		if p.Name == piece {
			return p.VolumeMM3
		}
	}
	return 0
}

// A spool standing on its flange: the upper block closes round the waist and has to be stretched over the
// upper flange, by the closed ring's strain ε = (Dmax − Dmin)/Dmin.
func TestBlockIsStretchedOverAFlange(t *testing.T) {
	t.Parallel()
	const flange, waist = 12.0, 8.0
	s := buildBlock(t, spool(flange, waist, 24), BlockOptions{Direction: r3.Vec{Z: 1}, BlockMM: 10, Silicone: softSilicone})
	if s.Release == nil {
		t.Fatal("nothing had to give way")
	}
	near(t, "strain", s.Release.Holds[0].Strain, (flange-waist)/waist, 1e-2)

	tight, err := BlockMould(context.Background(), pool, spool(16, 5, 24), BlockOptions{Direction: r3.Vec{Z: 1}, BlockMM: 10, Silicone: softSilicone})
	if err != nil {
		t.Fatal(err)
	}
	// (32 − 10)/10 = 220 %, and 0.35 × 400 % are allowed.
	if !fails(tight, "the upper block leaves the master", "220 %", "140 %") {
		t.Errorf("a flange of 32 mm over a waist of 10 mm passes: %v", tight.Failed())
	}
}

// fails says whether a check fails with these words.
func fails(s *Set, name string, words ...string) bool {
	for _, c := range s.Failed() {
		ok := c.Name == name
		for _, w := range words {
			ok = ok && strings.Contains(c.Words, w)
		}
		if ok {
			return true
		}
	}
	return false
}

// Without the silicone's values nobody can say that it stretches.
func TestBlockWithoutMaterialsIsNotPassed(t *testing.T) {
	t.Parallel()
	s, err := BlockMould(context.Background(), pool, spool(12, 8, 16), BlockOptions{Direction: r3.Vec{Z: 1}, BlockMM: 10})
	if err != nil {
		t.Fatal(err)
	}
	if !fails(s, "the upper block leaves the master", "not judged") {
		t.Errorf("it passes: %v", s.Failed())
	}
}

func TestBlocksRefuseWhatTheyCannotMake(t *testing.T) {
	hollow := turnedSolid(16, r2.Vec{X: 10}, r2.Vec{X: 10, Y: 20})
	void := turnedSolid(16, r2.Vec{X: 3, Y: 8}, r2.Vec{X: 3, Y: 12})
	for _, t := range void.Tris {
		n := uint32(len(hollow.Verts))
		hollow.Tris = append(hollow.Tris, [3]uint32{t[0] + n, t[2] + n, t[1] + n})
	}
	hollow.Verts = append(hollow.Verts, void.Verts...)
	plain := turnedSolid(16, r2.Vec{X: 10}, r2.Vec{X: 10, Y: 20})
	for name, q := range map[string]struct {
		part *mesh.Mesh
		opt  BlockOptions
		want error
	}{
		"a void":                      {hollow, BlockOptions{}, ErrBodies},
		"thin silicone":               {plain, BlockOptions{BlockMM: 2}, ErrOptions},
		"marks for another part":      {plain, BlockOptions{Show: make([]bool, 3)}, ErrOptions},
		"a steep box":                 {plain, BlockOptions{DraftDeg: 20}, ErrOptions},
		"a board that jams":           {plain, BlockOptions{BoardClearMM: 0.05}, ErrOptions},
		"no end over the silicone":    {plain, BlockOptions{FreeMM: 1}, ErrOptions},
		"silicone that shrinks by 9%": {plain, BlockOptions{SiliconeShrinkPct: 9}, ErrOptions},
	} {
		if _, err := BlockMould(context.Background(), pool, q.part, q.opt); !errors.Is(err, q.want) {
			t.Errorf("%s: %v, want %v", name, err, q.want)
		}
		if q.opt.BoardClearMM != 0 {
			continue
		}
		if _, err := CutBlock(context.Background(), pool, q.part, CutBlockOptions{BlockMM: q.opt.BlockMM, Show: q.opt.Show, DraftDeg: q.opt.DraftDeg, FreeMM: q.opt.FreeMM,
			SiliconeShrinkPct: q.opt.SiliconeShrinkPct}); !errors.Is(err, q.want) {
			t.Errorf("cut block, %s: %v, want %v", name, err, q.want)
		}
	}
	all := make([]bool, len(plain.Tris))
	for i := range all {
		all[i] = true
	}
	if _, err := BlockMould(context.Background(), pool, plain, BlockOptions{Show: all}); !errors.Is(err, ErrSprue) {
		t.Errorf("all faces are show faces: %v, want %v", err, ErrSprue)
	}
}

// The box's bore and its walls for any size and way out: the bore is a prismoid, the walls have their
// thickness at its wide end, and the label and the marks stay in the walls.
func TestPouringBoxIsAPrismoidWithWalls(t *testing.T) {
	ways := []r3.Vec{{X: 1}, {X: -1}, {Y: 1}, {Y: -1}, {Z: 1}, {Z: -1}}
	rapid.Check(t, func(r *rapid.T) {
		size := func(name string) float64 { return rapid.Float64Range(15, 60).Draw(r, name) }
		lo := r3.Vec{X: -size("x"), Y: -size("y"), Z: -size("z")}
		draft, wall, free := rapid.Float64Range(0.2, 5).Draw(r, "draft"), rapid.Float64Range(1.5, 6).Draw(r, "wall"), rapid.Float64Range(2, 8).Draw(r, "free")
		way := rapid.SampledFrom(ways).Draw(r, "way")
		b := newPouringBox(way, r3.Box{Min: lo, Max: r3.Vec{X: 12, Y: 13, Z: 14}}, draft, wall, free)
		var room, whole float64
		if err := pool.Do(context.Background(), func(k *solid.Kernel) error {
			s, err := b.room(k)
			if err != nil {
				return err
			}
			if room, err = s.VolumeMM3(); err != nil {
				return err
			}
			marks, err := b.marks(k, true, true)
			if err != nil {
				return err
			}
			made, err := b.make(k, marks)
			if err != nil {
				return err
			}
			whole, err = made.VolumeMM3()
			return err
		}); err != nil {
			r.Fatal(err)
		}
		in := b.block.Size()
		across, l := []float64{in.X, in.Y, in.Z}, 0.0
		for i, c := range []float64{way.X, way.Y, way.Z} {
			if c != 0 {
				l = across[i]
				across = slices.Delete(across, i, i+1)
				break
			}
		}
		slope := math.Tan(draft * math.Pi / 180)
		if want := prismoidMM3(across[0], across[1], slope, l); math.Abs(room-want) > 1e-9*want {
			r.Fatalf("the room holds %v mm³, the prismoid %v mm³", room, want)
		}
		out := b.outer().Size()
		bore := prismoidMM3(across[0]-2*slope*free, across[1]-2*slope*free, slope, l+2*free)
		walls := out.X*out.Y*out.Z - bore
		// Four grooves at most 12 mm long, of a square millimetre over less than their half.
		if lost := walls - whole; lost <= 0 || lost > 4*markLengthMM*markWidthMM*(markDepthMM+slope) {
			r.Fatalf("the marks take %v mm³ of the walls", lost)
		}
	})
}
