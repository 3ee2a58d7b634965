package tooling

import (
	"context"
	"math"
	"testing"

	"mouldwright/demo/lantern"
	"mouldwright/internal/mesh"
	"mouldwright/internal/opening"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r3"
)

var pool = solid.NewPool(solid.Options{})

func build(t *testing.T, part *mesh.Mesh, opt TwoHalfOptions) *Mould {
	t.Helper()
	if opt.Direction == (r3.Vec{}) {
		opt.Direction = r3.Vec{Z: 1}
	}
	m, err := TwoHalves(context.Background(), pool, part, opt)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range m.Checks {
		if !c.OK {
			t.Errorf("%s: %g, limit %g %s: %s", c.Name, c.Value, c.Limit, c.Unit, c.Words)
		}
	}
	return m
}

func TestFootRing(t *testing.T) {
	for _, p := range lantern.Parts() {
		t.Log(p.Name, len(p.Mesh.Tris), p.Mesh.Bounds())
	}
	m := build(t, lantern.Parts()[0].Mesh, TwoHalfOptions{Label: LabelOptions{Text: "foot"}, Gutter: &GutterOptions{VolumeML: 2}})
	for _, l := range m.Ledger {
		t.Logf("%-28s %12.4f mm³ %v", l.Name, l.VolumeMM3, l.Solid)
	}
	for _, c := range m.Checks {
		t.Logf("%-5v %-30s %g / %g %s: %s", c.OK, c.Name, c.Value, c.Limit, c.Unit, c.Words)
	}
	_ = math.Pi
	_ = opening.Free
}
