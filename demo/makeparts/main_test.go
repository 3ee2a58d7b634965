package main

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"mouldwright/demo/lantern"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
)

// The files hold the parts with their show faces, and are the same bytes each time.
func TestWrite(t *testing.T) {
	first, second := filepath.Join(t.TempDir(), "new", "folder"), t.TempDir()
	for _, dir := range []string{first, second} {
		if err := write(dir); err != nil {
			t.Fatal(err)
		}
	}
	names := []string{"foot-ring.3mf", "bumper-cap.3mf", "ballast-base.3mf", "carrier.3mf", "foot-pad.3mf", "pad-carrier.3mf"}
	for i, part := range lantern.Parts() {
		a, err := os.ReadFile(filepath.Join(first, names[i]))
		if err != nil {
			t.Fatal(err)
		}
		if b, err := os.ReadFile(filepath.Join(second, names[i])); err != nil || !bytes.Equal(a, b) {
			t.Errorf("%s differs between two runs (%v)", names[i], err)
		}
		model, err := meshfile.Open(filepath.Join(first, names[i]), mesh.Limits{})
		if err != nil {
			t.Fatal(err)
		}
		if !model.UnitKnown || model.Unit != mesh.Millimetre || len(model.Objects) != 1 {
			t.Fatalf("%s holds %d objects in units of %g mm", names[i], len(model.Objects), float64(model.Unit))
		}
		o := model.Objects[0]
		if o.Name != part.Name || len(o.Mesh.Tris) != len(part.Mesh.Tris) || o.Mesh.VolumeMM3() != part.Mesh.VolumeMM3() {
			t.Errorf("%s holds %q with %d facets and %g mm³", names[i], o.Name, len(o.Mesh.Tris), o.Mesh.VolumeMM3())
		}
		for f, show := range part.Show() {
			coloured := o.FacetColour != nil && o.FacetColour[f] >= 0 && o.Colours[o.FacetColour[f]] == lantern.ShowColour
			if show != coloured {
				t.Fatalf("%s: facet %d is shown amber: %t, want %t", names[i], f, coloured, show)
			}
		}
	}
}

func TestWriteSaysWhatItCannotDo(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := write(filepath.Join(file, "out")); err == nil {
		t.Error("no error for a folder below a file")
	}
}
