package jobshop

import (
	"context"
	"testing"
)

// BenchmarkTabu is the time of 100,000 tabu iterations on each kind of instance.
func BenchmarkTabu(b *testing.B) {
	all := published(b)
	for _, name := range []string{"ft10", "ft20"} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := Solve(context.Background(), all[name], Options{Iterations: 100_000, Shaves: -1}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
