package solid

import (
	"context"
	"fmt"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// BenchmarkSpheres takes one sphere of 100,000 facets from another, 0.5 radii apart.
func BenchmarkSpheres(b *testing.B) {
	ma, mb := globe(r3.Vec{}, 1, 224, 224), globe(xyz(0.5, 0, 0), 1, 224, 224)
	run := func(name string, f func(k *Kernel, a, c, d *Solid)) {
		b.Run(name, func(b *testing.B) {
			withKernel(b, func(k *Kernel) {
				S := ok[*Solid](b)
				a, c := S(k.FromMesh(ma)), S(k.FromMesh(mb))
				d := S(a.Subtract(c))
				for b.Loop() {
					f(k, a, c, d)
				}
				b.ReportMetric(float64(len(ma.Tris)), "facets")
				b.ReportMetric(float64(k.in.heapBytes()>>20), "heap-MB")
			})
		})
	}
	run("Validate", func(*Kernel, *Solid, *Solid, *Solid) {
		if err := Validate(ma); err != nil {
			b.Fatal(err)
		}
	})
	run("FromMesh", func(k *Kernel, _, _, _ *Solid) { ok[*Solid](b)(k.FromMesh(ma)).Free() })
	run("Subtract", func(_ *Kernel, a, c, _ *Solid) { ok[*Solid](b)(a.Subtract(c)).Free() })
	run("Clean", func(_ *Kernel, _, _, d *Solid) { ok[*Solid](b)(d.Clean()).Free() })
	run("Mesh", func(_ *Kernel, _, _, d *Solid) { ok[*mesh.Mesh](b)(d.Mesh()) })
}

// BenchmarkStart is a pool's first Do: with nothing compiled, with the code on disk, and another
// kernel of a pool that runs already.
func BenchmarkStart(b *testing.B) {
	first := func(b *testing.B, p *Pool) {
		b.Helper()
		if err := p.Do(context.Background(), func(*Kernel) error { return nil }); err != nil {
			b.Fatal(err)
		}
	}
	b.Run("Cold", func(b *testing.B) {
		for i := 0; b.Loop(); i++ {
			p := NewPool(Options{CacheDir: fmt.Sprintf("%s/%d", b.TempDir(), i)})
			first(b, p)
			p.Close()
		}
	})
	b.Run("Disk", func(b *testing.B) {
		dir := b.TempDir()
		for b.Loop() {
			p := NewPool(Options{CacheDir: dir})
			first(b, p)
			p.Close()
		}
	})
	b.Run("Warm", func(b *testing.B) {
		p := newPool(b, Options{KeepHeapMB: 1}) // never keeps a kernel
		first(b, p)
		for b.Loop() {
			first(b, p)
		}
	})
}
