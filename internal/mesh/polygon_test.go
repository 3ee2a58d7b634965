package mesh

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

func area2D(v []r3.Vec) float64 {
	s := 0.0
	for i, a := range v {
		b := v[(i+1)%len(v)]
		s += a.X*b.Y - a.Y*b.X
	}
	return s / 2
}

// Star-shaped polygons have no crossings; the facets must add up to the shoelace area and all run the
// same way, whatever the plane the polygon lies in.
func TestCutPolygonKeepsTheArea(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 40).Draw(t, "corners")
		var flat []r3.Vec
		for i := range n {
			s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			r := rapid.Float64Range(1, 100).Draw(t, "radius")
			flat = append(flat, r3.Vec{X: r * c, Y: r * s})
		}
		want := area2D(flat)
		axis := r3.Vec{X: rapid.Float64Range(-1, 1).Draw(t, "ax"), Y: rapid.Float64Range(-1, 1).Draw(t, "ay"), Z: 1.5}
		turn := r3.NewRotation(rapid.Float64Range(0, 6).Draw(t, "angle"), axis)
		verts, corners := make([]r3.Vec, n), make([]uint32, n)
		for i, v := range flat {
			verts[i], corners[i] = turn.Rotate(v), uint32(i)
		}
		normal := turn.Rotate(r3.Vec{Z: 1})
		tris, err := CutPolygon(verts, corners, nil)
		if err != nil {
			t.Fatal(err)
		}
		if len(tris) != n-2 {
			t.Fatalf("%d facets of %d corners", len(tris), n)
		}
		sum := 0.0
		for _, tri := range tris {
			a, b, c := verts[tri[0]], verts[tri[1]], verts[tri[2]]
			part := r3.Dot(normal, r3.Cross(r3.Sub(b, a), r3.Sub(c, a))) / 2
			if part < -1e-9*want {
				t.Fatalf("a facet is turned over: %v", part)
			}
			sum += part
		}
		if math.Abs(sum-want) > 1e-9*want {
			t.Fatalf("area %v, want %v", sum, want)
		}
	})
}

func TestCutPolygonCorners(t *testing.T) {
	for name, c := range map[string]struct {
		verts []r3.Vec
		want  error
	}{
		"square":                  {[]r3.Vec{{}, {X: 1}, {X: 1, Y: 1}, {Y: 1}}, nil},
		"L":                       {[]r3.Vec{{}, {X: 2}, {X: 2, Y: 1}, {X: 1, Y: 1}, {X: 1, Y: 2}, {Y: 2}}, nil},
		"with points on its edge": {[]r3.Vec{{}, {X: 1}, {X: 2}, {X: 2, Y: 2}, {Y: 2}, {Y: 1}}, nil},
		"all on a line":           {[]r3.Vec{{}, {X: 1}, {X: 2}, {X: 3}}, nil}, // flat facets, for Inspect to report
	} {
		corners := make([]uint32, len(c.verts))
		for i := range corners {
			corners[i] = uint32(i)
		}
		tris, err := CutPolygon(c.verts, corners, nil)
		if !errors.Is(err, c.want) || err == nil && len(tris) != len(corners)-2 {
			t.Errorf("%s: %v, %v", name, tris, err)
		}
		sum := 0.0
		for _, f := range tris {
			sum += area2D([]r3.Vec{c.verts[f[0]], c.verts[f[1]], c.verts[f[2]]})
		}
		if err == nil && math.Abs(sum-area2D(c.verts)) > 1e-12 {
			t.Errorf("%s: area %v", name, sum)
		}
	}
}
