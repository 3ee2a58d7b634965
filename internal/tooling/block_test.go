package tooling

import (
	"context"
	"testing"

	"mouldwright/demo/lantern"
	"mouldwright/internal/mesh"
	"mouldwright/internal/opening"
)

// softSilicone is a silicone of Shore A 28: typical values, no source.
var softSilicone = &opening.Flex{ElongationPct: 400, ShoreA: 28}

func buildBlock(t *testing.T, part *mesh.Mesh, opt BlockOptions) *Set {
	t.Helper()
	s, err := BlockMould(context.Background(), pool, part, opt)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range s.Checks {
		t.Logf("%v %s: %g, limit %g %s: %s", c.OK, c.Name, c.Value, c.Limit, c.Unit, c.Words)
		if !c.OK {
			t.Errorf("%s: %g, limit %g %s: %s", c.Name, c.Value, c.Limit, c.Unit, c.Words)
		}
	}
	for _, n := range s.Notes {
		t.Log(n)
	}
	return s
}

func TestBlockForTheBumperCap(t *testing.T) {
	part := lantern.BumperCap()
	buildBlock(t, part.Mesh, BlockOptions{Show: part.Show(), Silicone: softSilicone, SiliconeShrinkPct: 0.2, Label: LabelOptions{Text: "cap"}})
}

func TestBlockForTheFootRing(t *testing.T) {
	part := lantern.FootRing()
	buildBlock(t, part.Mesh, BlockOptions{Show: part.Show(), Silicone: softSilicone})
}
