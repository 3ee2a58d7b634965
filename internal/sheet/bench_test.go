package sheet

import (
	"context"
	"fmt"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// BenchmarkSection cuts a ring of many facets through its axis and level.
func BenchmarkSection(b *testing.B) {
	for _, n := range []int{2_000, 20_000, 80_000} {
		part, _, _ := ringMould(n)
		for name, p := range map[string]Plane{"axis": {Origin: r3.Vec{Y: 0.1}, U: upright.U, V: upright.V}, "level": level(1)} {
			b.Run(fmt.Sprintf("%s/%d", name, len(part.Tris)), func(b *testing.B) {
				for b.Loop() {
					if _, err := Section(context.Background(), part, p); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}
