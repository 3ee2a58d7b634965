package choice_test

import (
	"context"
	"fmt"

	"mouldwright/demo/lantern"
	"mouldwright/internal/choice"
	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r3"
)

// A soft cap that grips its mould inside and outside: two rigid halves lock, an insert does not.
func ExampleCompare() {
	part := lantern.BumperCap()
	table, err := choice.Compare(context.Background(), part.Mesh, part.Show(), choice.Options{
		Direction: r3.Vec{Z: 1},
		Batch:     20,
		Casting:   &opening.Flex{ElongationPct: 400, ShoreA: 60},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, key := range []string{"two-rigid-halves", "side-split", "cradle-insert"} {
		r := table.Row(key)
		fmt.Printf("%s: %s\n", r.Name, r.Verdict)
	}
	fmt.Printf("best: %s; with %.1f° less lean, %s work\n", table.Best, table.Change.Deg, table.Change.Name)
	// Output:
	// two rigid halves: locks (estimated)
	// rigid halves, one split again: opens, but leaves 65 mm of flash on show faces (estimated)
	// cradle, silicone insert and casting cap: opens, show faces stay clean (estimated)
	// best: cradle-insert; with 5.0° less lean, two rigid halves work
}
