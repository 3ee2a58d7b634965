package opening

import (
	"context"
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"
)

// The rim of a soft cup carries a lip 3.5 mm wide that has to pass over its core. Once the outer half
// has left, it stretches by 9 %.
func ExampleJudgeRelease() {
	part := lipCup(96)
	up, down := r3.Vec{Z: 1}, r3.Vec{Z: -1}
	var under []int32
	shapes := make([]int, len(part.Tris))
	for f := range part.Tris {
		t := part.Facet(f)
		if n := r3.Unit(t.Normal()); n.Z < -0.99 && t.Centroid().Z > 11 {
			under = append(under, int32(f)) // the lip's underside
		}
		if c := t.Centroid(); c.X*c.X+c.Y*c.Y > 19*19 || c.Z == 0 {
			shapes[f] = 1
		}
	}
	r, err := JudgeRelease(context.Background(), ReleaseSetup{
		Part:    part,
		Casting: ReleaseBody{Name: "the cup", Flex: &Flex{ElongationPct: 300, ShoreA: 60}},
		Pieces:  []ReleaseBody{{Name: "the core", Exit: up}, {Name: "the outer half", Exit: down}},
		Shapes:  shapes,
		Catches: []Catch{{Piece: "the core", Exit: up, Facets: under}},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("strain %.1f %%, tear risk %s\n", 100*r.Holds[0].Strain, r.Holds[0].TearRisk)
	for _, s := range r.Steps {
		fmt.Println(s.Words)
	}
	// Output:
	// strain 9.1 %, tear risk low
	// Lift the outer half off along -z.
	// Take the core and the cup apart along +z, stretching the cup over it bit by bit, one side first. Strain 9.09 %, tear risk low.
}
