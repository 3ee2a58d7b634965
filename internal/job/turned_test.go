package job

import (
	"flag"
	"fmt"
	"math"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	layers "mouldwright/bench/stacked"
	"mouldwright/demo/lantern"
	"mouldwright/internal/choice"
	"mouldwright/internal/mesh"
	"mouldwright/internal/opening"
)

// draws runs a property on so many cases, since each judges a whole part; -rapid.checks asks for another number.
func draws(t *testing.T, n int, property func(*rapid.T)) {
	t.Helper()
	if f := flag.Lookup("rapid.checks"); f.Value.String() == f.DefValue {
		defer flag.Set("rapid.checks", f.DefValue)
		flag.Set("rapid.checks", strconv.Itoa(n))
	}
	rapid.Check(t, property)
}

// drawTurn draws a rotation, evenly over all of them (Shoemake, Graphics Gems III, 1992).
func drawTurn(t *rapid.T) func(r3.Vec) r3.Vec {
	u, a, b := rapid.Float64Range(0, 1).Draw(t, "u"), rapid.Float64Range(0, 2*math.Pi).Draw(t, "a"), rapid.Float64Range(0, 2*math.Pi).Draw(t, "b")
	x, y, z, w := math.Sqrt(1-u)*math.Sin(a), math.Sqrt(1-u)*math.Cos(a), math.Sqrt(u)*math.Sin(b), math.Sqrt(u)*math.Cos(b)
	rot := r3.Rotation{Real: w, Imag: x, Jmag: y, Kmag: z}
	return rot.Rotate
}

// cup is a cup about z, open at the top: its walls lean by so many degrees, positive where the part leaves its
// mould along z, negative where it catches.
func cup(radius, height, wall, outerDeg, innerDeg float64) *mesh.Mesh {
	lean := func(deg, h float64) float64 { return h * math.Tan(deg*math.Pi/180) }
	floor := 2.0
	return layers.Turned([]r2.Vec{
		{Y: 0}, {X: radius, Y: 0}, {X: radius + lean(outerDeg, height), Y: height},
		{X: radius + lean(outerDeg, height) - wall, Y: height},
		{X: radius + lean(outerDeg, height) - wall - lean(innerDeg, height-floor), Y: floor}, {Y: floor},
	}, 48)
}

// judgedDepth is what Judge says of a part: the direction, and the depth of the deepest undercut with its error.
func judgedDepth(t interface{ Fatal(...any) }, m *mesh.Mesh) (d r3.Vec, depth, off float64) {
	j, err := Judge(ctx, m, nil, &File{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	b := j.Report.Burden()
	return j.Direction, b.DepthMM, b.ErrorMM
}

// A cup whose walls lean the wrong way is caught along its own axis, by its height times the tangent of the lean, however
// it lies; one that leans the right way opens along it. Closed form.
func TestCupsAreJudgedOnTheirAxis(t *testing.T) {
	draws(t, 6, func(t *rapid.T) {
		radius, height := rapid.Float64Range(12, 40).Draw(t, "radius"), rapid.Float64Range(8, 40).Draw(t, "height")
		inner := rapid.SampledFrom([]float64{2, 1, 0.3, -0.65, -1.5, -3}).Draw(t, "inner lean")
		outer := rapid.SampledFrom([]float64{0.5, 1, 3}).Draw(t, "outer lean")
		turn := drawTurn(t)
		m := cup(radius, height, 5, outer, inner)
		d, depth, off := judgedDepth(t, m.Map(turn))
		want := max(0, -(height-2)*math.Tan(inner*math.Pi/180))
		if want > 0 && want < 0.05 {
			return // near the tolerance
		}
		if deg := math.Acos(min(1, math.Abs(r3.Dot(d, turn(r3.Vec{Z: 1}))))) * 180 / math.Pi; deg > 0.01 {
			t.Errorf("judged %.3f° beside its axis, %.3f ± %.3f mm deep, on the axis %.3f", deg, depth, off, want)
		} else if math.Abs(depth-want) > off+1e-9 {
			t.Errorf("%.4f ± %.4f mm deep, in closed form %.4f", depth, off, want)
		}
	})
}

// A part that is turned, or mirrored, gets the same verdict, and the same depth within its error.
func TestVerdictTurnsWithThePart(t *testing.T) {
	for _, p := range []struct {
		name string
		m    *mesh.Mesh
	}{{"bumper cap", lantern.BumperCap().Mesh}, {"foot pad", lantern.FootPad().Mesh}, {"ballast base", lantern.BallastBase().Mesh},
		{"thread", layers.Thread(4, 36)}, {"comb", layers.Comb(4)}, {"grip", layers.Grip(5, 36)}} {
		m := p.m
		_, depth, off := judgedDepth(t, m)
		t.Run(p.name, func(t *testing.T) {
			draws(t, 1, func(t *rapid.T) {
				turn := drawTurn(t)
				got := m.Map(turn)
				_, d, o := judgedDepth(t, got)
				if (d > 0) != (depth > 0) || math.Abs(d-depth) > off+o {
					t.Fatal(fmt.Sprintf("%.4f ± %.4f mm deep as drawn, %.4f ± %.4f turned", depth, off, d, o))
				}
			})
		})
	}
}

// A soft cover with a lip that runs round its rim, whole or broken by a notch for a cable, needs no setting: however it
// lies, the insert opens by estimate, and what holds it is the lip, by its own depth.
func TestSoftCoverNeedsNoSetting(t *testing.T) {
	for _, notch := range []float64{0, 10} {
		draws(t, 1, func(t *rapid.T) {
			m := cover(rapid.Float64Range(1.2, 2).Draw(t, "wall"), 0.9, notch).Map(drawTurn(t))
			table, err := choice.Compare(ctx, m, nil, choice.Options{Casting: &opening.Flex{ElongationPct: 400, ShoreA: 50}, NoChange: true})
			if err != nil {
				t.Fatal(err)
			}
			insert := table.Row("cradle-insert")
			if insert == nil || !insert.Opens {
				t.Fatalf("notch of %g mm: the insert does not open: %v", notch, insert)
			}
			for _, h := range insert.Release.Holds {
				if h.Shape.DepthMM > 1.5 {
					t.Errorf("notch of %g mm: a hold %.2f mm deep: %s", notch, h.Shape.DepthMM, h.Words)
				}
			}
		})
	}
}

// A cup that only its inner lean locks is freed by as much taper as it leans, rounded up to a tenth of a degree: closed
// form, whatever its size and however it lies. One straight wall, or two that meet half-way up.
func TestSmallestChangeOfALockedCup(t *testing.T) {
	draws(t, 2, func(t *rapid.T) {
		lean := rapid.Float64Range(0.4, 3).Draw(t, "lean")
		radius, height := rapid.Float64Range(14, 30).Draw(t, "radius"), rapid.Float64Range(12, 30).Draw(t, "height")
		m := cup(radius, height, 5, 1, -lean).Map(drawTurn(t))
		table, err := choice.Compare(ctx, m, nil, choice.Options{})
		if err != nil {
			t.Fatal(err)
		}
		want := math.Ceil(lean*10-0.05) / 10
		if c := table.Change; c == nil || math.Abs(c.Deg-want) > 0.1001 {
			t.Errorf("it leans by %.3f°: the smallest change found is %+v", lean, table.Change)
		}
	})
}
