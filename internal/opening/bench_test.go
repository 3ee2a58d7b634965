//go:build unix

package opening

import (
	"context"
	"fmt"
	"math"
	"syscall"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"mouldwright/internal/mesh"
)

// ribbed is a plug of about the number of facets given, and the block round it: n segments by n/2
// rows. draft is the lean of its flank in degrees; ripples of 0.2 mm run along the flank, so that no
// two facets lie in a plane.
func ribbed(facets int, draft float64) (plug, block *mesh.Mesh) {
	rows := int(math.Sqrt(float64(facets) / 4))
	segments := 2 * rows
	flank := make([]r2.Vec, rows+1)
	for i := range flank {
		z := 20 * float64(i) / float64(rows)
		// The ripple grows outward only, so that a drafted flank stays free.
		flank[i] = v2(30+z*math.Tan(draft*math.Pi/180)+0.01*math.Sin(z)*draft, z)
	}
	solid := append([]r2.Vec{v2(0, 0)}, flank...)
	solid = append(solid, v2(0, 20))
	outer := append([]r2.Vec{v2(0, -5), v2(40, -5), v2(40, 20)}, reversed(flank)...)
	outer = append(outer, v2(0, 0))
	return profile(solid, segments), profile(outer, segments)
}

// cpuSeconds is the processor time this process has used: a busy machine does not stretch it.
func cpuSeconds() float64 {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}

func BenchmarkTranslate(b *testing.B) {
	for _, c := range []struct {
		name  string
		draft float64
	}{{"free", 2}, {"sliding", 0}, {"blocked", -2}} {
		for _, facets := range []int{10_000, 30_000, 100_000, 300_000, 1_000_000} {
			b.Run(fmt.Sprintf("%s/%d", c.name, facets), func(b *testing.B) {
				plug, block := ribbed(facets, c.draft)
				start, n := cpuSeconds(), 0
				for b.Loop() {
					n++
					v, err := Translate(context.Background(), Body{"plug", plug}, Body{"block", block}, up, Options{})
					if err != nil || v.State.String() != c.name {
						b.Fatal(v, err)
					}
				}
				b.ReportMetric((cpuSeconds()-start)/float64(n), "cpu-s/op")
			})
		}
	}
}

// The second and later questions on the same bodies.
func BenchmarkCheckerAgain(b *testing.B) {
	plug, block := ribbed(100_000, 2)
	c, err := NewChecker([]Body{{"plug", plug}, {"block", block}}, Options{})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := c.Check(context.Background(), "plug", "block", up); err != nil {
			b.Fatal(err)
		}
	}
}
