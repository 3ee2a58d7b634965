package fill

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"
)

// volumeAbove cuts the cavity's tree off at a vent at height z: what the vent leaves.
func stays(c *Cavity, up r3.Vec, vents ...r3.Vec) float64 {
	_, v := c.peaks(up, vents).staying()
	return v
}

// A box tilted about one edge direction, vented at a point of its top edge's opposite side: the air
// that stays is the prism above the level of the vent (plane geometry).
func TestPeaksTiltedBox(t *testing.T) {
	const a, b, h = 60.0, 40.0, 20.0
	c := cavity(t, block(v3(0, 0, 0), v3(a, b, h)), Options{})
	for _, deg := range []float64{1, 5, 10, 17} {
		up := tilted(0, deg) // the x = 0 side goes ... the side at x = a rises with sin(deg)
		th := deg * math.Pi / 180
		vent := v3(0, b/2, h)
		// The wedge under the top face above the level plane through the vent's edge: a right
		// triangle with legs a and a·tan(th) while that is less than h.
		close1(t, "wedge", stays(c, up, vent), a*a*math.Tan(th)/2*b, 1e-8)
		if got := stays(c, up, v3(a, b/2, h)); got > 1e-9 {
			t.Errorf("vented at the high edge %g mm³ stays", got)
		}
	}
}

// A sphere vented off its top keeps the cap above the vent: V = π d² (3R − d)/3 (handbook; here
// checked against the polyhedron's convergence to it).
func TestPeaksSphereCap(t *testing.T) {
	const R = 10.0
	last := 0.0
	for _, n := range []int{32, 64, 128} {
		m := turned(arc(R, n/2), n)
		c := cavity(t, m, Options{})
		// A vent at 60° from the pole lies at R cos 60.
		k := n / 6
		var vent r3.Vec
		best := math.Inf(1)
		for _, v := range m.Verts {
			if d := math.Abs(v.Z - R*math.Cos(math.Pi*float64(k)/float64(n/2))); d < best {
				best, vent = d, v
			}
		}
		d := R - vent.Z
		want := math.Pi * d * d * (3*R - d) / 3
		e := math.Abs(stays(c, v3(0, 0, 1), vent)-want) / want
		t.Logf("%d sides: relative error %.3g", n, e)
		if last > 0 && !(e < last/3.2) {
			t.Errorf("error does not fall with the square of the facets: %g after %g", e, last)
		}
		last = e
	}
}

// arc is a half circle of radius R as a section for turned: from the south pole to the north pole.
func arc(R float64, n int) (s []r2.Vec) {
	for i := range n + 1 {
		a := -math.Pi/2 + math.Pi*float64(i)/float64(n)
		p := r2.Vec{X: R * math.Cos(a), Y: R * math.Sin(a)}
		if i == 0 || i == n {
			p.X = 0
		}
		s = append(s, p)
	}
	return s
}

// A cone standing on its base, vented at height z on its flank, keeps the small cone above: (1 − z/h)³ of
// its volume, here of a pyramid of n sides, for which that holds exactly. Apex down, vented at the rim,
// nothing stays.
func TestPeaksCone(t *testing.T) {
	const R, h, n = 12.0, 30.0, 40
	c := cavity(t, turned([]r2.Vec{{X: 0, Y: 0}, {X: R, Y: 0}, {X: 0, Y: h}}, n), Options{})
	base := n / 2 * R * R * math.Sin(2*math.Pi/n)
	for _, z := range []float64{0, 3, 15, 29} {
		vent := v3(R*(1-z/h), 0, z)
		close1(t, "small cone", stays(c, v3(0, 0, 1), vent), base*h/3*math.Pow(1-z/h, 3), 1e-9)
	}
	close1(t, "apex down", stays(c, v3(0, 0, -1), v3(R, 0, 0)), 0, 1e-9)
}

// A torus lying on its side (axis level) has one high point; tilted from lying flat it keeps one high
// point and a saddle on the inner rim; flat, its top is a circle. The volume over the top circle's
// inner saddle has a closed form only upright: half the torus, π² R r², lies above the centre plane.
func TestPeaksTorusHalf(t *testing.T) {
	const R, r = 20.0, 5.0
	last := 0.0
	for _, n := range []int{48, 96, 192} {
		var s []r2.Vec
		for i := range n {
			q, p := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			s = append(s, r2.Vec{X: R + r*p, Y: r * q})
		}
		c := cavity(t, turned(s, n), Options{})
		got := stays(c, v3(0, 0, 1), v3(R+r, 0, 0))
		want := math.Pi * math.Pi * R * r * r
		e := math.Abs(got-want) / want
		t.Logf("%d sides: relative error %.3g", n, e)
		if last > 0 && !(e < last/3.5) {
			t.Errorf("error does not fall with the square of the facets")
		}
		last = e
	}
}

// An island in the cavity does not part the air above it: a box with a post standing up from the
// floor, one free block hanging inside, and one post hanging from the ceiling.
func TestPeaksIslands(t *testing.T) {
	var m *mesh.Mesh
	build(t, func(k *solid.Kernel) error {
		box, err := k.Box(r3.Box{Max: v3(40, 30, 20)})
		if err != nil {
			return err
		}
		post, err := k.Box(r3.Box{Min: v3(5, 5, -1), Max: v3(10, 10, 15)})
		if err != nil {
			return err
		}
		free, err := k.Box(r3.Box{Min: v3(15, 5, 8), Max: v3(20, 10, 12)})
		if err != nil {
			return err
		}
		hang, err := k.Box(r3.Box{Min: v3(25, -1, 8), Max: v3(27, 31, 21)})
		if err != nil {
			return err
		}
		out, err := box.Subtract(post, free, hang)
		if err != nil {
			return err
		}
		m, err = out.Mesh()
		return err
	})
	c := cavity(t, m, Options{})
	if c.Spaces() != 1 {
		t.Fatalf("%d spaces, want 1", c.Spaces())
	}
	// The wall hanging from the ceiling parts the air at z = 8: with the vent on the left, what is
	// right of it stays: 13 × 30 × 12.
	close1(t, "right chamber", stays(c, v3(0, 0, 1), v3(2, 2, 20)), 13*30*12, 1e-8)
	// Vented on the right, the left chamber stays: 25 × 30 × 12 less post and free block.
	close1(t, "left chamber", stays(c, v3(0, 0, 1), v3(35, 2, 20)), 25*30*12-5*5*7-5*5*4, 1e-8)
	// Upside down the post hangs, but parts nothing; the wall stands up from the floor.
	close1(t, "upside down", stays(c, v3(0, 0, -1), v3(2, 2, 0)), 0, 1e-9)
}
