package tooling

import (
	"context"
	"testing"

	"mouldwright/demo/lantern"
	"mouldwright/internal/mesh"
)

func buildCutBlock(t *testing.T, part *mesh.Mesh, opt CutBlockOptions) *Set {
	t.Helper()
	s, err := CutBlock(context.Background(), pool, part, opt)
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
	for _, n := range s.Features {
		t.Log(n)
	}
	return s
}

func TestCutBlockForTheBumperCap(t *testing.T) {
	part := lantern.BumperCap()
	buildCutBlock(t, part.Mesh, CutBlockOptions{Show: part.Show(), Silicone: softSilicone, SiliconeShrinkPct: 0.2, Label: LabelOptions{Text: "cap"}})
}

func TestCutBlockForTheFootRing(t *testing.T) {
	part := lantern.FootRing()
	buildCutBlock(t, part.Mesh, CutBlockOptions{Show: part.Show(), Silicone: softSilicone})
}
