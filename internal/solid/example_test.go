package solid_test

import (
	"context"
	"fmt"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/solid"
)

// A block of 40 × 40 × 20 mm with a square pocket 10 mm deep.
func Example() {
	pool := solid.NewPool(solid.Options{})
	defer pool.Close()
	err := pool.Do(context.Background(), func(k *solid.Kernel) error {
		block, err := k.Box(r3.Box{Max: r3.Vec{X: 40, Y: 40, Z: 20}})
		if err != nil {
			return err
		}
		pocket, err := k.Prism([][]r2.Vec{{{X: 10, Y: 10}, {X: 30, Y: 10}, {X: 30, Y: 30}, {X: 10, Y: 30}}}, 10, 20)
		if err != nil {
			return err
		}
		half, err := block.Subtract(pocket)
		if err != nil {
			return err
		}
		volume, err := half.VolumeMM3()
		if err != nil {
			return err
		}
		fmt.Printf("%.0f mm³\n", volume)
		return nil
	})
	if err != nil {
		fmt.Println(err)
	}
	// Output: 28000 mm³
}
