package tooling

import (
	"context"
	"testing"

	"mouldwright/demo/lantern"
	"mouldwright/internal/mesh"
	"mouldwright/internal/opening"
)

// soft is a polyurethane of Shore A 40 and silicone of Shore A 28: typical values, no source.
func softMaterials(o InsertOptions) InsertOptions {
	o.Casting = &opening.Flex{ElongationPct: 400, ShoreA: 40}
	o.Silicone = &opening.Flex{ElongationPct: 400, ShoreA: 28}
	return o
}

func buildInsert(t *testing.T, part *mesh.Mesh, opt InsertOptions) *Insert {
	t.Helper()
	return buildInsertParts(t, part, opt).out
}

// buildInsertParts builds and returns the builder too; every check must hold.
func buildInsertParts(t *testing.T, part *mesh.Mesh, opt InsertOptions) *insertMould {
	t.Helper()
	b, err := buildInsertMould(context.Background(), pool, part, opt)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range b.out.Checks {
		if !c.OK {
			t.Errorf("%s: %g, limit %g %s: %s", c.Name, c.Value, c.Limit, c.Unit, c.Words)
		}
	}
	return b
}

// The demo's cap grips: two rigid halves lock on it. Sizes below are those of its section (demo/lantern):
// both walls lean inward toward the rim, by 4° outside and 5° inside.
func TestInsertForTheBumperCap(t *testing.T) {
	t.Parallel() // each build spends most of its time in one kernel of the pool
	part := lantern.BumperCap()
	in := buildInsert(t, part.Mesh, softMaterials(InsertOptions{Show: part.Show(), Label: LabelOptions{Text: "cap"}}))
	if in.LineOnShowMM != 0 {
		t.Errorf("%.1f mm of the line lie on show faces", in.LineOnShowMM)
	}
	for f, up := range in.Parting.Upper {
		switch part.Face[f] {
		case lantern.CapFront, lantern.CapFrontEdge, lantern.CapOuterWall:
			if up {
				t.Fatalf("facet %d of the %s is the casting cap's", f, part.Face[f])
			}
		case lantern.CapInnerWall, lantern.CapInnerEdge, lantern.CapFloor:
			if !up {
				t.Fatalf("facet %d of the %s is the insert's", f, part.Face[f])
			}
		}
	}
	// Between their rounded ends the outer wall leans over by the rise of what is left of it, and at most
	// by the whole.
	for name, most := range map[string]float64{"the casting leaves the insert": lean(lantern.CapHeightMM, lantern.CapOuterLeanDeg),
		"the casting cap leaves the casting": lean(lantern.CapHeightMM-lantern.CapFloorMM, lantern.CapInnerLeanDeg)} {
		for _, s := range in.Stages {
			if s.Name != name {
				continue
			}
			if v := s.Verdict; v.State != opening.Blocked || v.OverlapDepthMM > most || v.OverlapDepthMM < 0.6*most {
				t.Errorf("%s; the leaning wall catches by up to %.2f mm", s.Words(), most)
			}
		}
	}
	block := in.Block.Size()
	for _, l := range [][]LedgerLine{in.Ledger, in.Pours[0].Ledger} {
		sum := 0.0
		for _, x := range l {
			sum += x.VolumeMM3
		}
		near(t, "ledger", sum, block.X*block.Y*block.Z, 1e-9)
	}
}
