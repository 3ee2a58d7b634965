package tooling

import (
	"bytes"
	"context"
	"errors"
	"math"
	"testing"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/stl"
	"mouldwright/internal/mesh/threemf"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// randomPart draws a part without undercuts along z.
func randomPart(t *rapid.T, tb testing.TB) (*mesh.Mesh, string) {
	num := func(name string, lo, hi float64) float64 {
		return math.Round(rapid.Float64Range(lo, hi).Draw(t, name)*64) / 64
	}
	switch kind := rapid.SampledFrom([]string{"plate", "stepped", "wedge", "dome", "saddle", "ring", "wavy", "raised corner"}).Draw(t, "kind"); kind {
	case "plate":
		w, d, h := num("w", 15, 80), num("d", 15, 60), num("h", 1, 15)
		in := num("draft", 0, 0.15) * h
		n := rapid.IntRange(0, 3).Draw(t, "holes")
		return modelled(tb, func(k *solid.Kernel) (*solid.Solid, error) {
			s, err := frustumOf(k, r2.Vec{}, 0, w, d, h, in)
			for i := range n {
				if err != nil {
					return nil, err
				}
				// Holes side by side along x, some within tenths of a millimetre of each other.
				pitch := (w - 2*in) / float64(n)
				at := r2.Vec{X: -w/2 + in + pitch*(float64(i)+0.5), Y: num("y", -0.1, 0.1) * d}
				r := min(pitch, 0.7*d-2*in) / 2 * num("r", 0.2, 0.97)
				var hole *solid.Solid
				lean := num("lean", 0, 0.1) * r / h
				if rapid.Bool().Draw(t, "round") {
					hole, err = k.Frustum(r3.Vec{X: at.X, Y: at.Y, Z: -1}, r3.Vec{Z: h + 2}, r-lean*(h+1), r+lean, 24)
				} else {
					hole, err = frustumOf(k, at, -1, 1.4*(r-lean*(h+1)), 1.4*(r-lean*(h+1)), h+2, -lean)
				}
				if err == nil {
					s, err = s.Subtract(hole)
				}
			}
			return s, err
		}), kind
	case "stepped":
		n := rapid.IntRange(2, 4).Draw(t, "steps")
		return modelled(tb, func(k *solid.Kernel) (*solid.Solid, error) {
			var all []*solid.Solid
			w, d, z := num("w", 25, 80), num("d", 25, 60), 0.0
			x0, y0 := 0.0, 0.0
			for range n {
				h := num("h", 0.5, 8)
				s, err := k.Box(r3.Box{Min: r3.Vec{X: x0, Y: y0, Z: 0}, Max: r3.Vec{X: x0 + w, Y: y0 + d, Z: z + h}})
				if err != nil {
					return nil, err
				}
				all = append(all, s)
				z += h
				nw, nd := w*num("sw", 0.4, 0.9), d*num("sd", 0.4, 0.9)
				x0, y0 = x0+(w-nw)*num("sx", 0, 1), y0+(d-nd)*num("sy", 0, 1)
				w, d = nw, nd
			}
			return k.Union(all...)
		}), kind
	case "wedge":
		w, h, l := num("w", 8, 60), num("h", 3, 30), num("l", 8, 60)
		tip := num("tip", 0, 1)
		m := prismOf(tb, []r2.Vec{{}, {X: w}, {X: tip * w, Y: h}}, 0, l)
		return m.Map(func(v r3.Vec) r3.Vec { return r3.Vec{X: v.X, Y: -v.Z, Z: v.Y} }), kind
	case "dome":
		return ellipsoid(num("a", 4, 40), num("b", 4, 40), num("c", 2, 25), 4*rapid.IntRange(3, 12).Draw(t, "n")), kind
	case "saddle":
		a, b, s := num("a", 15, 45), num("b", 15, 45), num("s", 0, 0.25)
		return waved(a, b, num("t", 1, 8), 4*rapid.IntRange(5, 14).Draw(t, "n"), func(x, y float64) float64 { return s * (x*x - y*y) / max(a, b) }), kind
	case "wavy":
		a, b, s := num("a", 15, 45), num("b", 15, 45), num("s", 0, 3)
		return waved(a, b, num("t", 1, 8), 4*rapid.IntRange(5, 14).Draw(t, "n"), func(x, y float64) float64 { return s*math.Sin(x/9) + 0.1*y }), kind
	case "raised corner":
		return raisedCorner(tb, num("w", 20, 60), num("d", 20, 60), num("x", 0.2, 0.8), num("y", 0.2, 0.8), num("h", 1, 12), num("t", 3, 20)), kind
	default:
		r := num("r", 2, 8)
		return torus(r+num("R", 1, 30), r, 4*rapid.IntRange(4, 12).Draw(t, "n"), 4*rapid.IntRange(2, 5).Draw(t, "k")), kind
	}
}

// raisedCorner is a slab of thickness th whose one quarter is lifted by h, wherever th reaches over h the
// walls of both levels overlap.
func raisedCorner(t testing.TB, w, d, fx, fy, h, th float64) *mesh.Mesh {
	return modelled(t, func(k *solid.Kernel) (*solid.Solid, error) {
		th = max(th, h+1)
		low, err := k.Box(r3.Box{Max: r3.Vec{X: w, Y: d, Z: th}})
		if err != nil {
			return nil, err
		}
		lift := r3.Box{Min: r3.Vec{X: w * fx, Y: d * fy, Z: -1}, Max: r3.Vec{X: w + 1, Y: d + 1, Z: h}}
		cut, err := k.Box(lift)
		if err != nil {
			return nil, err
		}
		add, err := k.Box(r3.Box{Min: r3.Vec{X: w * fx, Y: d * fy, Z: h}, Max: r3.Vec{X: w, Y: d, Z: th + h}})
		if err != nil {
			return nil, err
		}
		if low, err = low.Subtract(cut); err != nil {
			return nil, err
		}
		return low.Union(add)
	})
}

// refusals are the reasons that a part without undercuts may be refused for.
var refusals = []error{ErrLayout, ErrSprue, ErrKey, ErrNoBolt, ErrPry, ErrGutter, ErrLabel}

// tryRandom builds one random part in a random pose and judges the outcome, which it returns in words.
func tryRandom(r *rapid.T, tb testing.TB, f failer) string {
	part, kind := randomPart(r, tb)
	opt := TwoHalfOptions{Direction: r3.Vec{Z: 1}}
	part = scaled(part, rapid.SampledFrom([]float64{1, 1, 1, 0.1, 5}).Draw(r, "scale"))
	if rapid.Bool().Draw(r, "turned") {
		a, b := rapid.Float64Range(0, 6).Draw(r, "alpha"), rapid.Float64Range(0, 3).Draw(r, "beta")
		q := r3.NewRotation(a, r3.Vec{X: math.Sin(b), Y: 0.3, Z: math.Cos(b)})
		part, opt.Direction = part.Map(q.Rotate), q.Rotate(opt.Direction)
	}
	if rapid.Bool().Draw(r, "float32") {
		part = as32(part)
	}
	if rapid.Bool().Draw(r, "shrink") {
		opt.ShrinkPct = r3.Vec{X: 0.4, Y: 0.6, Z: 0.5}
	}
	if rapid.IntRange(0, 3).Draw(r, "gutter") == 0 {
		opt.Gutter = &GutterOptions{DepthMM: 1.5}
	}
	m, err := TwoHalves(context.Background(), pool, part, opt)
	if err != nil {
		for _, e := range refusals {
			if errors.Is(err, e) {
				return kind + ": refused"
			}
		}
		f.Fatalf("%s: %v", kind, err)
		return "error"
	}
	steep := false
	for _, c := range m.Failed() {
		if c.Name == "parting surface slope" {
			steep = true
			continue
		}
		f.Errorf("%s: %s: %s", kind, c.Name, c.Words)
	}
	if steep {
		return kind + ": too steep"
	}
	identities(f, m)
	return kind + ": proven"
}

type failer interface {
	Helper()
	Fatalf(string, ...any)
	Errorf(string, ...any)
}

// identities are what every mould must hold.
func identities(t failer, m *Mould) {
	t.Helper()
	size := m.Block.Size()
	block := size.X * size.Y * size.Z
	sum, cavity := 0.0, 0.0
	for _, l := range m.Ledger {
		sum += l.VolumeMM3
	}
	for k := range max(1, len(m.Cavities)) {
		cavity += lineOf(m, CavityName(k+1, len(m.Cavities)))
	}
	near(t, "ledger against the block", sum, block, 1e-9)
	near(t, "cavity against the part", cavity, m.Part.VolumeMM3(), 1e-9)
	near(t, "casting", m.Cast.VolumeMM3(), cavity+lineOf(m, "sprue")+lineOf(m, "vents")+lineOf(m, "runner"), 1e-9)
	for _, p := range m.Pieces {
		readsBack(t, p)
	}
}

func lineOf(m *Mould, name string) (v float64) {
	for _, l := range m.Ledger {
		if l.Name == name {
			v += l.VolumeMM3
		}
	}
	return v
}

// meltedTol: what melting slivers for an STL file may change of a piece's volume.
const meltedTol = 1e-8

// readsBack writes a piece as STL and 3MF and reads it as a stranger would.
func readsBack(t failer, p Piece) {
	t.Helper()
	var file bytes.Buffer
	if err := stl.Write(&file, p.LaidDown(), p.Name); err != nil {
		t.Fatalf("%s: %v", p.Name, err)
		return
	}
	model, err := stl.Read(&file, mesh.Limits{})
	if err != nil {
		t.Fatalf("%s: %v", p.Name, err)
		return
	}
	asSolid(t, p.Name+" from STL", mesh.Weld(model.Merge(), 0), p.VolumeMM3, 1e-5)
	file.Reset()
	if err := threemf.Write(&file, &mesh.Model{Unit: mesh.Millimetre, UnitKnown: true, Objects: []mesh.Object{{Name: p.Name, Mesh: p.Mesh}}}); err != nil {
		t.Fatalf("%s: %v", p.Name, err)
		return
	}
	if model, err = threemf.Read(bytes.NewReader(file.Bytes()), int64(file.Len()), mesh.Limits{}); err != nil {
		t.Fatalf("%s: %v", p.Name, err)
		return
	}
	asSolid(t, p.Name+" from 3MF", model.Merge(), p.VolumeMM3, meltedTol)
}

func asSolid(t failer, what string, m *mesh.Mesh, volume, rel float64) {
	t.Helper()
	near(t, what, m.VolumeMM3(), volume, rel)
	in, err := mesh.Inspect(context.Background(), m)
	if err != nil {
		t.Fatalf("%s: %v", what, err)
		return
	}
	if err := in.Fatal(); err != nil {
		t.Errorf("%s: %v", what, err)
	}
	err = pool.Do(context.Background(), func(k *solid.Kernel) error {
		s, err := k.FromMesh(m)
		if err != nil {
			return err
		}
		v, err := s.VolumeMM3()
		if err == nil {
			near(t, what+" in the kernel", v, volume, rel)
		}
		return err
	})
	if err != nil {
		t.Errorf("%s: %v", what, err)
	}
}
