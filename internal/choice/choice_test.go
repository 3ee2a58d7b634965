package choice

import (
	"fmt"
	"testing"

	"mouldwright/demo/lantern"
	"mouldwright/internal/opening"
)

var soft = &opening.Flex{ElongationPct: 400, ShoreA: 60}

func TestProbe(t *testing.T) {
	for _, p := range lantern.Parts()[1:2] {
		var show []bool
		if len(p.ShowFaces) > 0 {
			show = p.Show()
		}
		c := soft
		if p.Name == "carrier" {
			c = nil
		}
		tab, err := Compare(t.Context(), p.Mesh, show, Options{Batch: 20, Casting: c})
		if err != nil {
			t.Fatal(p.Name, err)
		}
		fmt.Println("=====", p.Name, len(p.Mesh.Tris), tab.Directions)
		fmt.Println(tab.Words())
	}
}
