package tooling

import (
	"context"
	"fmt"
	"math"
	"syscall"
	"testing"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// pebble is an ellipsoid with ripples that leave the parting line uneven: about 2·n² facets, no
// undercut along z.
func pebble(n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	rings, segs := n/2, 2*n
	at := func(i, j int) r3.Vec {
		th, ph := math.Pi*float64(i)/float64(rings), 2*math.Pi*float64(j)/float64(segs)
		x, y, z := 45*math.Sin(th)*math.Cos(ph), 32*math.Sin(th)*math.Sin(ph), 14*math.Cos(th)
		return r3.Vec{X: x, Y: y, Z: z + 2*math.Sin(3*ph)*math.Pow(math.Sin(th), 4)}
	}
	m.Verts = append(m.Verts, at(0, 0))
	for i := 1; i < rings; i++ {
		for j := range segs {
			m.Verts = append(m.Verts, at(i, j))
		}
	}
	m.Verts = append(m.Verts, at(rings, 0))
	id := func(i, j int) uint32 { return uint32(1 + (i-1)*segs + j%segs) }
	last := uint32(len(m.Verts) - 1)
	for j := range segs {
		m.Tris = append(m.Tris, [3]uint32{0, id(1, j), id(1, j+1)})
		for i := 1; i < rings-1; i++ {
			m.Tris = append(m.Tris, [3]uint32{id(i, j), id(i+1, j), id(i+1, j+1)}, [3]uint32{id(i, j), id(i+1, j+1), id(i, j+1)})
		}
		m.Tris = append(m.Tris, [3]uint32{last, id(rings-1, j+1), id(rings-1, j)})
	}
	return m
}

// BenchmarkTwoHalves reports the processor time of a whole proven mould, hardware and label included,
// which is what a maker waits for; wall time depends on what else the machine does.
func BenchmarkTwoHalves(b *testing.B) {
	for _, n := range []int{71, 224, 707} {
		part := pebble(n)
		b.Run(fmt.Sprintf("facets=%d", len(part.Tris)), func(b *testing.B) {
			began := cpuSeconds(b)
			for b.Loop() {
				m, err := TwoHalves(context.Background(), pool, part, TwoHalfOptions{Direction: r3.Vec{Z: 1}, Bolt: "M5",
					Gutter: &GutterOptions{VolumeML: 2}, Label: LabelOptions{Text: "pebble"}})
				if err != nil {
					b.Fatal(err)
				}
				for _, c := range m.Failed() {
					b.Fatalf("%s: %s", c.Name, c.Words)
				}
			}
			spent := (cpuSeconds(b) - began) / float64(b.N)
			b.ReportMetric(spent, "cpu-s/op")
			b.ReportMetric(1e6*spent/float64(len(part.Tris)), "cpu-µs/facet")
		})
	}
}

func cpuSeconds(b *testing.B) float64 {
	var r syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &r); err != nil {
		b.Fatal(err)
	}
	return float64(r.Utime.Sec+r.Stime.Sec) + float64(r.Utime.Usec+r.Stime.Usec)/1e6
}
