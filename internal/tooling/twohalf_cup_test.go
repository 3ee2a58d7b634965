package tooling

import (
	"context"
	"math"
	"testing"

	"mouldwright/internal/mouldability"
	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// A rigid cup of random lean, depth and wall leaves two rigid halves exactly when its inside does not narrow
// toward the rim, whichever way its outside leans: the line runs round the foot or the rim, as the outside
// asks. Where the inside narrows, the core is held by its lean times its height, and by nothing else.
func TestRigidCupsOpenOrLockAsTheClosedFormSays(t *testing.T) {
	ctx, opened, locked := context.Background(), 0, 0
	rapid.Check(t, func(t *rapid.T) {
		c := drawCup(t)
		c.n = 16 // enough for a closed form, and quick
		part, _ := c.mesh()
		m, _, err := place(part, r3.Vec{Z: 1}, r3.Vec{})
		if err != nil {
			t.Fatal(err)
		}
		report, err := mouldability.Analyse(ctx, m, r3.Vec{Z: 1}, mouldability.AnalyseOptions{})
		if err != nil {
			t.Fatal(err)
		}
		_, held, _ := c.catches()
		width := c.coreWidth()
		if math.Abs(held-opening.DefaultToleranceMM) < 1e-3 && held > opening.DefaultToleranceMM || math.Abs(width-mouldability.DefaultToleranceMM) < 1e-6 {
			return // on the limit itself
		}
		if width > mouldability.DefaultToleranceMM {
			locked++
			if len(report.Undercuts) != 1 {
				t.Fatalf("%+v: %d undercuts, want the core's", c, len(report.Undercuts))
			}
			// What the proof would let slide is named all the same where its width may be over the tolerance,
			// but the columns do not follow so steep a slit: its depth is an order of size.
			u := report.Undercuts[0]
			if least := held * math.Cos(math.Pi/float64(c.n)); held > opening.DefaultToleranceMM &&
				(u.DepthMM-u.DepthErrorMM > held+1e-6 || u.DepthMM+u.DepthErrorMM < least-1e-6) {
				t.Fatalf("%+v: %.4f ± %.4f mm deep, want %.4f to %.4f", c, u.DepthMM, u.DepthErrorMM, least, held)
			}
			return
		}
		opened++
		if len(report.Undercuts) != 0 {
			t.Fatalf("%+v: %d undercuts, want none", c, len(report.Undercuts))
		}
		parting, err := mouldability.Part(ctx, m, mouldability.PartOptions{})
		if err != nil {
			t.Fatal(err)
		}
		b := m.Bounds()
		const wall = 20
		s, err := newSurface(ctx, parting, r2.Box{Min: r2.Vec{X: b.Min.X - wall, Y: b.Min.Y - wall}, Max: r2.Vec{X: b.Max.X + wall, Y: b.Max.Y + wall}})
		if err != nil {
			t.Fatal(err)
		}
		grow := r3.Vec{X: wall, Y: wall, Z: wall}
		upper, lower, err := stitchHalves(parting, s, r3.Box{Min: r3.Sub(b.Min, grow), Max: r3.Add(b.Max, grow)})
		if err != nil {
			t.Fatal(err)
		}
		bodies := []opening.Body{{Name: "lower half", Mesh: lower}, {Name: "upper half", Mesh: upper}, {Name: "casting", Mesh: m}}
		proof, err := opening.ProveWithAndWithout(ctx, bodies, "casting", []opening.Motion{{Piece: "upper half", Direction: r3.Vec{Z: 1}}}, opening.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if proof.State() == opening.Blocked && (proof.Empty.State == opening.Blocked || !withinError(proof, held, held*math.Cos(math.Pi/float64(c.n)))) {
			t.Fatalf("%+v: %s", c, proof.Words())
		}
	})
	if opened == 0 || locked == 0 {
		t.Errorf("%d cups opened and %d locked; the test shows little", opened, locked)
	}
}

// coreWidth is the width by which the analysis dismisses what holds the core: the area of the ring between
// the core's polygons at floor and rim, over the diagonal of its box, which touches the polygon's corners on
// both axes. A ring is longer than that diagonal, so this is about 2.2 times how far it holds: a width that
// is never under the true one.
func (c cup) coreWidth() float64 {
	_, held, _ := c.catches()
	core := c.radius - lean(c.floor, c.outerDeg) - c.wall
	area := float64(c.n) / 2 * math.Sin(2*math.Pi/float64(c.n)) * held * (2*core - held)
	return area / (2 * math.Sqrt2 * core)
}

// withinError says whether all that blocks the casting is what the core is known to hold, over the tolerance
// only by the error that the proof states. What is held fits a disc of between least and held millimetres.
func withinError(proof *opening.Comparison, held, least float64) bool {
	const eps = 1e-6
	for _, c := range proof.Filled {
		for _, s := range c.Proof.Steps {
			for _, v := range s.Verdicts {
				lo, hi := v.OverlapDepthMM, v.OverlapDepthMM+v.OverlapDepthErrorMM
				if v.State == opening.Blocked && (lo > min(held, v.ToleranceMM)+eps || hi < max(least, v.ToleranceMM)-eps) {
					return false
				}
			}
		}
	}
	return held > 0
}
