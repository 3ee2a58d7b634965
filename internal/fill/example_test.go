package fill_test

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/fill"
	"mouldwright/internal/mesh"
)

// tray is a shallow box, 100 × 60 × 4 mm.
func tray() *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range 8 {
		m.Verts = append(m.Verts, r3.Vec{X: 100 * float64(i&1), Y: 60 * float64(i>>1&1), Z: 4 * float64(i>>2)})
	}
	m.Tris = [][3]uint32{{0, 2, 3}, {0, 3, 1}, {4, 5, 7}, {4, 7, 6}, {0, 1, 5}, {0, 5, 4},
		{2, 6, 7}, {2, 7, 3}, {0, 4, 6}, {0, 6, 2}, {1, 3, 7}, {1, 7, 5}}
	return m
}

// A tray whose pour hole is at one end, stood by mistake with the other end 1° high: a wedge of air
// stays there, 100²·tan 1°/2 × 60 mm³. A vent at that end lets it out.
func ExampleCavity_Fill() {
	c, err := fill.NewCavity(tray(), fill.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	set := fill.Setup{Up: fill.UpAt(r3.Vec{Z: 1}, 1, 0), Pour: []r3.Vec{{Y: 30, Z: 4}}}
	r, err := c.Fill(context.Background(), set)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.1f mm³ stays, the wedge is %.1f\n", r.TrappedMM3, 100*100*math.Tan(math.Pi/180)/2*60)
	set.Vents = []r3.Vec{{X: 100, Y: 30, Z: 4}}
	if r, err = c.Fill(context.Background(), set); err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(r.Words[0])
	// Output:
	// 5236.5 mm³ stays, the wedge is 5236.5
	// no air stays; the mould takes 24 mL
}

// The search props the tray so that the pour hole is its highest place.
func ExampleCavity_SearchTilt() {
	c, err := fill.NewCavity(tray(), fill.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	r, err := c.SearchTilt(context.Background(), fill.TiltOptions{Pour: []r3.Vec{{Y: 30, Z: 4}}, OnlyThese: true})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(r.Best.Words)
	// Output:
	// stand the mould flat; 0 mm³ of air stays
}
