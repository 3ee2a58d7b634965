package lantern

import (
	"testing"

	"mouldwright/internal/mesh"
)

// Intake finds nothing to say about a part made by code: closed, outward, no facet through another.
func TestPartsPassIntake(t *testing.T) {
	genus := map[string]int{"foot ring": 4, "plain foot ring": 4, "bumper cap": 0, "ballast base": 1, "carrier": 13, "foot pad": 1, "pad carrier": 1}
	for _, p := range allParts() {
		in, err := mesh.Inspect(t.Context(), p.Mesh)
		if err != nil {
			t.Fatalf("%s: %v", p.Name, err)
		}
		for _, problem := range in.Problems() {
			t.Errorf("%s: %+v", p.Name, problem)
		}
		if len(in.Shells) != 1 || in.Genus != genus[p.Name] {
			t.Errorf("%s: %d shells and %d handles, want 1 and %d", p.Name, len(in.Shells), in.Genus, genus[p.Name])
		}
	}
}
