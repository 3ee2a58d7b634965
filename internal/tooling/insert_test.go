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
	in, err := BuildInsert(context.Background(), pool, part, opt)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range in.Checks {
		if !c.OK {
			t.Errorf("%s: %g, limit %g %s: %s", c.Name, c.Value, c.Limit, c.Unit, c.Words)
		}
	}
	return in
}

func TestInsertForTheBumperCap(t *testing.T) {
	part := lantern.BumperCap()
	in := buildInsert(t, part.Mesh, softMaterials(InsertOptions{Show: part.Show(), Label: LabelOptions{Text: "cap"}}))
	for _, l := range append(in.Ledger, in.PourLedger...) {
		t.Logf("%-40s %14.4f mm³ %v", l.Name, l.VolumeMM3, l.Solid)
	}
	for _, c := range in.Checks {
		t.Logf("%-5v %-45s %g / %g %s: %s", c.OK, c.Name, c.Value, c.Limit, c.Unit, c.Words)
	}
	for _, s := range in.Stages {
		t.Log(s.Words())
	}
	for _, n := range in.Notes {
		t.Log(n)
	}
	t.Logf("%+v", in.Thickness)
}
