package job

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"
)

// towers is a slab with two towers on it, one a little lower: the sprue takes one, and without a vent
// the other keeps its air.
func towers(t *testing.T) *mesh.Mesh {
	t.Helper()
	var m *mesh.Mesh
	err := pool.Do(ctx, func(k *solid.Kernel) error {
		var parts []*solid.Solid
		for _, f := range []struct {
			at      r3.Vec
			h, a, b float64
		}{{r3.Vec{}, 6, 10, 9.5}, {r3.Vec{X: 22}, 6, 10, 9.5}, {r3.Vec{X: 11}, 6, 10, 9.5}, {r3.Vec{Z: 5}, 9, 7, 6.5}, {r3.Vec{X: 22, Z: 5}, 8, 7, 6.5}} {
			s, err := k.Frustum(f.at, r3.Vec{Z: f.h}, f.a, f.b, 32)
			if err != nil {
				return err
			}
			parts = append(parts, s)
		}
		all, err := k.Union(parts...)
		if err != nil {
			return err
		}
		m, err = all.Mesh()
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// A run says how the mould fills: what goes in and what stays add up to the casting, and the pictures
// are there. One tower has no vent, so flat keeps its air; the tilt does no worse.
func TestRunFills(t *testing.T) {
	folder := newJob(t, towers(t), "vents = 0\n")
	rep, err := run(folder)
	if err != nil {
		t.Fatal(err)
	}
	f := rep.Fill
	if f == nil {
		t.Fatal("the report says nothing about the fill")
	}
	for _, r := range []float64{f.Flat.FilledMM3 + f.Flat.TrappedMM3 + f.Flat.OpenMM3 - f.Flat.CavityMM3} {
		if math.Abs(r) > 1e-6*f.Flat.CavityMM3 {
			t.Errorf("resin and air miss the casting by %g mm³", r)
		}
	}
	if !(f.Flat.TrappedMM3 > 100) {
		t.Errorf("flat keeps %g mm³, but a tower of about 1000 has no vent", f.Flat.TrappedMM3)
	}
	if f.Tilt.TrappedMM3 > f.Flat.TrappedMM3+0.5 {
		t.Errorf("tilted keeps %g mm³, flat %g", f.Tilt.TrappedMM3, f.Flat.TrappedMM3)
	}
	if len(f.Vents) == 0 || f.ThenMM3 > 1 {
		t.Errorf("%d vents proposed, with which %g mm³ stays", len(f.Vents), f.ThenMM3)
	}
	want := []string{"pictures/fill-air.svg", "pictures/fill-level.svg", "pictures/fill-tilt.svg", "pictures/fill-1.png", "pictures/fill-4.png"}
	if f.Wedge != nil {
		want = append(want, "pieces/wedge.3mf")
	}
	for _, name := range want {
		if s, err := os.Stat(filepath.Join(folder, OutName, name)); err != nil || s.Size() < 200 {
			t.Errorf("%s: %v", name, err)
		}
	}
	var b strings.Builder
	if err := rep.Print(&b); err != nil || !strings.Contains(b.String(), "\nFilling\n") {
		t.Errorf("the text leaves the fill out (%v)", err)
	}
}
