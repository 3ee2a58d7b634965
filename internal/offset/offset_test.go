package offset

import (
	"context"
	"errors"
	"fmt"
	"math"
	"syscall"
	"testing"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// allowedMM is the error that an offset may have.
const allowedMM = 0.05

func boxMesh(lo, hi r3.Vec) *mesh.Mesh {
	m := &mesh.Mesh{}
	for k := range 8 {
		v := lo
		if k&1 != 0 {
			v.X = hi.X
		}
		if k&2 != 0 {
			v.Y = hi.Y
		}
		if k&4 != 0 {
			v.Z = hi.Z
		}
		m.Verts = append(m.Verts, v)
	}
	for _, q := range [6][4]uint32{{0, 2, 3, 1}, {4, 5, 7, 6}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 4, 6, 2}, {1, 3, 7, 5}} {
		m.Tris = append(m.Tris, [3]uint32{q[0], q[1], q[2]}, [3]uint32{q[0], q[2], q[3]})
	}
	return m
}

// turnedMesh turns a closed loop (radius, height), counter-clockwise, about z: a torus in the wide sense.
func turnedMesh(loop [][2]float64, n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	k := len(loop)
	for j := range n {
		s, c := math.Sincos(2 * math.Pi * float64(j) / float64(n))
		for _, p := range loop {
			m.Verts = append(m.Verts, r3.Vec{X: p[0] * c, Y: p[0] * s, Z: p[1]})
		}
	}
	for j := range n {
		for i := range k {
			a, b := uint32(j*k+i), uint32(j*k+(i+1)%k)
			c, d := uint32((j+1)%n*k+i), uint32((j+1)%n*k+(i+1)%k)
			m.Tris = append(m.Tris, [3]uint32{a, c, d}, [3]uint32{a, d, b})
		}
	}
	return m
}

func circle(cx, r float64, n int) (out [][2]float64) {
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		out = append(out, [2]float64{cx + r*c, r * s})
	}
	return out
}

func sphereMesh(r float64, rings, segs int) *mesh.Mesh {
	m := &mesh.Mesh{Verts: []r3.Vec{{Z: r}}}
	for i := 1; i < rings; i++ {
		for j := range segs {
			s, c := math.Sincos(math.Pi * float64(i) / float64(rings))
			sj, cj := math.Sincos(2 * math.Pi * float64(j) / float64(segs))
			m.Verts = append(m.Verts, r3.Vec{X: r * s * cj, Y: r * s * sj, Z: r * c})
		}
	}
	m.Verts = append(m.Verts, r3.Vec{Z: -r})
	id := func(i, j int) uint32 { return uint32(1 + (i-1)*segs + j%segs) }
	last := uint32(len(m.Verts) - 1)
	for j := range segs {
		m.Tris = append(m.Tris, [3]uint32{0, id(1, j), id(1, j+1)}, [3]uint32{last, id(rings-1, j+1), id(rings-1, j)})
		for i := 1; i < rings-1; i++ {
			m.Tris = append(m.Tris, [3]uint32{id(i, j), id(i+1, j), id(i+1, j+1)}, [3]uint32{id(i, j), id(i+1, j+1), id(i, j+1)})
		}
	}
	return m
}

func joined(ms ...*mesh.Mesh) *mesh.Mesh {
	out := &mesh.Mesh{}
	for _, m := range ms {
		n := uint32(len(out.Verts))
		out.Verts = append(out.Verts, m.Verts...)
		for _, t := range m.Tris {
			out.Tris = append(out.Tris, [3]uint32{t[0] + n, t[1] + n, t[2] + n})
		}
	}
	return out
}

// make1 offsets and checks what must hold of every offset: closed, sound, within the error.
func make1(t *testing.T, m *mesh.Mesh, d float64) (*Result, *mesh.Intake) {
	t.Helper()
	r, err := Solid(context.Background(), m, d, Options{})
	if err != nil {
		t.Fatal(err)
	}
	in, err := mesh.Inspect(context.Background(), r.Mesh)
	if err != nil {
		t.Fatal(err)
	}
	if err := in.Fatal(); err != nil {
		t.Errorf("offset by %g: %v", d, err)
	}
	if r.Error.MaxMM > allowedMM || r.Reach.GapMM > allowedMM {
		t.Errorf("offset by %g: error %.4f mm at %v, gap %.4f mm", d, r.Error.MaxMM, r.Error.At, r.Reach.GapMM)
	}
	t.Logf("offset by %g: %d facets, error max %.4f rms %.4f mm, gap %.4f mm, closed %.1f mm² by %.3f mm", d, len(r.Mesh.Tris),
		r.Error.MaxMM, r.Error.RMSMM, r.Reach.GapMM, r.Reach.ClosedAreaMM2, r.Reach.ClosedDepthMM)
	return r, in
}

// edgeTurn is the M of Steiner's formula: half the sum over edges of length times outer angle.
func edgeTurn(m *mesh.Mesh) float64 {
	sum := 0.0
	adj := m.Adjacency()
	for f, t := range m.Tris {
		for k, g := range adj[f] {
			if int(g) < f {
				continue
			}
			a := angle(m.Facet(f).Normal(), m.Facet(int(g)).Normal())
			sum += r3.Norm(r3.Sub(m.Verts[t[k]], m.Verts[t[(k+1)%3]])) * a / 2
		}
	}
	return sum
}

// Steiner's formula for the volume of a convex body thickened by t: V + A t + M t² + 4/3 π t³ (Schneider,
// Convex Bodies, from memory).
func TestConvexBodiesFollowSteiner(t *testing.T) {
	for name, m := range map[string]*mesh.Mesh{
		"box":    boxMesh(r3.Vec{X: -20, Y: -10, Z: -3}, r3.Vec{X: 20, Y: 10, Z: 3}),
		"sphere": sphereMesh(10, 24, 48),
	} {
		for _, d := range []float64{2, 6} {
			if d == 2 && len(m.Tris) > 100 {
				continue // a finely faceted body says little more there, at many times the cost
			}
			r, in := make1(t, m, d)
			want := m.VolumeMM3() + m.AreaMM2()*d + edgeTurn(m)*d*d + 4.0/3*math.Pi*d*d*d
			got := r.Mesh.VolumeMM3()
			if math.Abs(got-want) > r.Mesh.AreaMM2()*DefaultErrorMM {
				t.Errorf("%s by %g: volume %.2f, Steiner gives %.2f", name, d, got, want)
			}
			if in.Genus != 0 || len(in.Shells) != 1 {
				t.Errorf("%s by %g: genus %d, %d shells", name, d, in.Genus, len(in.Shells))
			}
		}
	}
}

func TestInwardBoxIsABoxWithSharpEdges(t *testing.T) {
	m := boxMesh(r3.Vec{X: -20, Y: -10, Z: -5}, r3.Vec{X: 20, Y: 10, Z: 5})
	r, _ := make1(t, m, -2)
	if got, want := r.Mesh.VolumeMM3(), 36.0*16*6; math.Abs(got-want) > 0.002*want {
		t.Errorf("volume %.2f, want %.2f", got, want)
	}
	if b := r.Mesh.Bounds().Size(); math.Abs(b.X-36) > 2*allowedMM || math.Abs(b.Z-6) > 2*allowedMM {
		t.Errorf("size %v", b)
	}
}

func TestTorus(t *testing.T) {
	const big, small = 20.0, 6.0
	m := turnedMesh(circle(big, small, 80), 160)
	for _, d := range []float64{2, -2} {
		r, in := make1(t, m, d)
		if in.Genus != 1 {
			t.Errorf("torus by %g: genus %d", d, in.Genus)
		}
		want := 2 * math.Pi * math.Pi * big * (small + d) * (small + d)
		if got := r.Mesh.VolumeMM3(); math.Abs(got-want) > 0.006*want { // chords: 0.2 % of the mesh, twice that of a section 2 mm inside it
			t.Errorf("torus by %g: volume %.1f, want about %.1f", d, got, want)
		}
	}
}

func TestRingClosesWhenItsHoleIsFilled(t *testing.T) {
	m := turnedMesh([][2]float64{{5, -2}, {12, -2}, {12, 2}, {5, 2}}, 96)
	if _, in := make1(t, m, 4); in.Genus != 1 {
		t.Errorf("hole of radius 1 left: genus %d", in.Genus)
	}
	r, in := make1(t, m, 6)
	if in.Genus != 0 {
		t.Errorf("hole filled: genus %d", in.Genus)
	}
	if r.Reach.ClosedAreaMM2 == 0 || r.Reach.ClosedDepthMM < 1 {
		t.Errorf("closing the hole goes unreported: %+v", r.Reach)
	}
}

func TestPlatesMergeWhenTheirGapIsFilled(t *testing.T) {
	plates := func(gap float64) *mesh.Mesh {
		return joined(boxMesh(r3.Vec{X: -15, Y: -10, Z: gap / 2}, r3.Vec{X: 15, Y: 10, Z: gap/2 + 2}),
			boxMesh(r3.Vec{X: -15, Y: -10, Z: -gap/2 - 2}, r3.Vec{X: 15, Y: 10, Z: -gap / 2}))
	}
	if _, in := make1(t, plates(6.4), 3); len(in.Shells) != 2 {
		t.Errorf("plates 6.4 mm apart, thickened by 3 mm: %d shells", len(in.Shells))
	}
	if _, in := make1(t, plates(5.5), 3); len(in.Shells) != 1 {
		t.Errorf("plates 5.5 mm apart, thickened by 3 mm: %d shells", len(in.Shells))
	}
}

func TestThinPartVanishes(t *testing.T) {
	m := boxMesh(r3.Vec{X: -20, Y: -10, Z: -1}, r3.Vec{X: 20, Y: 10, Z: 1})
	_, err := Solid(context.Background(), m, -1.5, Options{})
	var v *VanishedError
	if !errors.As(err, &v) {
		t.Fatalf("got %v", err)
	}
	if math.Abs(v.RoomMM-1) > v.CellMM {
		t.Errorf("room %.3f mm, want 1 within %.3f", v.RoomMM, v.CellMM)
	}
}

func TestBadInputIsRefused(t *testing.T) {
	box := boxMesh(r3.Vec{}, r3.Vec{X: 1, Y: 1, Z: 1})
	open := &mesh.Mesh{Verts: box.Verts, Tris: box.Tris[1:]}
	for name, m := range map[string]*mesh.Mesh{"empty": {}, "open": open, "inside out": box.Flipped()} {
		if _, err := Solid(context.Background(), m, 1, Options{}); !errors.Is(err, ErrMesh) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Solid(context.Background(), box, math.NaN(), Options{}); !errors.Is(err, ErrOptions) {
		t.Errorf("NaN: %v", err)
	}
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if _, err := Solid(ctx, box, 1, Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

func TestWorkersDoNotMatter(t *testing.T) {
	m := turnedMesh([][2]float64{{5, -2}, {12, -2}, {12, 2}, {7, 1}}, 40)
	a, err := Solid(context.Background(), m, 2, Options{Workers: 1})
	if err != nil {
		t.Fatal(err)
	}
	b, err := Solid(context.Background(), m, 2, Options{Workers: 4})
	if err != nil {
		t.Fatal(err)
	}
	if fmt.Sprint(a.Mesh, a.Error, a.Reach) != fmt.Sprint(b.Mesh, b.Error, b.Reach) {
		t.Error("the result depends on the number of workers")
	}
}

// Both benchmarks report processor time, which other work on the machine does not change.
func BenchmarkSolid(b *testing.B) {
	m := turnedMesh(circle(40, 12, 200), 260)
	for _, d := range []float64{6, -3} {
		b.Run(fmt.Sprintf("facets=%d/by=%g", len(m.Tris), d), func(b *testing.B) {
			began := cpuSeconds(b)
			for b.Loop() {
				r, err := Solid(context.Background(), m, d, Options{})
				if err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(r.Error.MaxMM*1000, "µm-max")
				b.ReportMetric(float64(len(r.Mesh.Tris)), "facets-made")
			}
			b.ReportMetric((cpuSeconds(b)-began)/float64(b.N), "cpu-s/op")
		})
	}
}

func BenchmarkUnder(b *testing.B) {
	m := turnedMesh(circle(40, 12, 200), 260)
	began := cpuSeconds(b)
	for b.Loop() {
		s, err := Under(context.Background(), m, UnderOptions{ThicknessMM: 6, TopMM: 6})
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(s.Error.MaxMM*1000, "µm-max")
		b.ReportMetric(float64(len(s.Tris)), "facets-made")
	}
	b.ReportMetric((cpuSeconds(b)-began)/float64(b.N), "cpu-s/op")
}

func cpuSeconds(b *testing.B) float64 {
	var r syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &r); err != nil {
		b.Fatal(err)
	}
	return float64(r.Utime.Sec+r.Stime.Sec) + float64(r.Utime.Usec+r.Stime.Usec)/1e6
}
