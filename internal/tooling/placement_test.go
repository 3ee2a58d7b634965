package tooling

import (
	"errors"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"
)

func TestHeightFieldOnAPlane(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.Float64Range(-2, 2).Draw(t, "a"), rapid.Float64Range(-2, 2).Draw(t, "b")
		h := NewHeightField(fieldMesh(func(x, y float64) float64 { return a*x + b*y }, -60, -45, 60, 45))
		poly := strip(r2.Vec{X: rapid.Float64Range(-20, 20).Draw(t, "x"), Y: rapid.Float64Range(-10, 10).Draw(t, "y")}, r2.Vec{X: 0.6, Y: 0.8},
			rapid.Float64Range(0.1, 20).Draw(t, "l"), rapid.Float64Range(0.1, 20).Draw(t, "w"))
		// Over a plane the extremes are at the polygon's corners.
		wantLo, wantHi := math.Inf(1), math.Inf(-1)
		for _, p := range poly {
			wantLo, wantHi = min(wantLo, a*p.X+b*p.Y), max(wantHi, a*p.X+b*p.Y)
		}
		lo, hi, whole := h.Range(poly)
		if !whole {
			t.Fatal("not covered")
		}
		near(t, "low", lo, wantLo, 1e-9)
		near(t, "high", hi, wantHi, 1e-9)
		z, ok := h.At(poly[2])
		if !ok {
			t.Fatal("no height at a corner")
		}
		near(t, "at", z, a*poly[2].X+b*poly[2].Y, 1e-9)
	})
}

func TestHeightFieldSeesItsEdge(t *testing.T) {
	h := heightsOf(t, func(x, y float64) float64 { return 1 })
	for _, c := range []struct {
		poly []r2.Vec
		want bool
	}{{rect(-60, -45, 60, 45), true}, {rect(50, 0, 60, 10), true}, {rect(50, 0, 60.001, 10), false}, {rect(70, 0, 80, 10), false}} {
		if _, _, whole := h.Range(c.poly); whole != c.want {
			t.Errorf("%v: whole %v", c.poly, whole)
		}
	}
	if _, ok := h.At(r2.Vec{X: 61}); ok {
		t.Error("a height off the surface")
	}
}

func TestHeightFieldFacetsCountsUprightOnes(t *testing.T) {
	m := &mesh.Mesh{Verts: []r3.Vec{{X: 0}, {X: 10}, {X: 10, Z: 5}, {X: 0, Y: 10, Z: 5}}, Tris: [][3]uint32{{0, 1, 2}, {0, 2, 3}}}
	h := NewHeightField(m)
	for _, c := range []struct {
		poly []r2.Vec
		want []int32
	}{
		{rect(2, -1, 4, 1), []int32{0, 1}}, // across the upright facet, into the sloping one
		{rect(2, -3, 4, -1), nil},          // short of both
		{rect(10, -1, 12, 1), nil},         // touches a corner
		{rect(1, 0.5, 2, 1), []int32{1}},   // in the sloping one alone
		{rect(2, -1, 4, -1e-9), nil},       // ends at the upright facet, but for rounding
	} {
		if got := h.Facets(c.poly); !slices.Equal(got, c.want) {
			t.Errorf("%v: facets %v, want %v", c.poly, got, c.want)
		}
	}
}

func TestPlanDistances(t *testing.T) {
	sq := shape{core: rect(0, 0, 10, 10)}
	o := Outline{rect(-20, -20, 20, 20), {{X: -5, Y: -5}, {X: -5, Y: 5}, {X: 5, Y: 5}, {X: 5, Y: -5}}}
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"discs, 3-4-5", gap(disc(r2.Vec{}, 1), disc(r2.Vec{X: 3, Y: 4}, 1.5)), 2.5},
		{"disc and corner", gap(sq, disc(r2.Vec{X: 13, Y: 14}, 2)), 3},
		{"disc inside", gap(sq, disc(r2.Vec{X: 5, Y: 5}, 2)), -2},
		{"crossing bars", gap(shape{core: rect(-5, 4, 15, 6)}, shape{core: rect(4, -5, 6, 15)}), 0},
		{"disc in the hole", gapToOutline(disc(r2.Vec{}, 2), o), 3},
		{"disc outside", gapToOutline(disc(r2.Vec{X: 30}, 2), o), 8},
		{"disc in the part", gapToOutline(disc(r2.Vec{X: 10}, 2), o), -2},
		{"area", o.AreaMM2(), 1500},
	} {
		near(t, c.what, c.got, c.want, 1e-12)
	}
}

// star is a random outline about a middle: star-shaped, so it does not cross itself.
func star(t *rapid.T) Outline {
	n := rapid.IntRange(3, 24).Draw(t, "corners")
	mid := r2.Vec{X: rapid.Float64Range(-20, 20).Draw(t, "cx"), Y: rapid.Float64Range(-20, 20).Draw(t, "cy")}
	loop := make([]r2.Vec, n)
	for i := range loop {
		r := rapid.Float64Range(5, 60).Draw(t, "r")
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		loop[i] = r2.Add(mid, r2.Vec{X: r * c, Y: r * s})
	}
	return Outline{loop}
}

func TestPlaceFeaturesKeepsEveryDistance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := LayoutOptions{
			BoltRadiusMM: rapid.SampledFrom([]float64{0, 3.8, 5.1, 8.3}).Draw(t, "bolt"),
			MaxPitchMM:   rapid.Float64Range(40, 120).Draw(t, "pitch"),
			Keys:         rapid.SampledFrom([]int{-1, 2, 3, 4, 6}).Draw(t, "keys"),
			Pry:          PryOptions{PerBlock: rapid.SampledFrom([]int{-1, 2, 4}).Draw(t, "pry")},
			LabelWidthMM: rapid.SampledFrom([]float64{0, 30}).Draw(t, "label"),
		}
		if rapid.Bool().Draw(t, "gutter") {
			o.Gutter = &GutterOptions{}
		}
		if rapid.Bool().Draw(t, "side sprue") {
			o.KeepOff = [][]r2.Vec{rect(0, -3, 6000, 3)} // from the middle out over the right side
		}
		shadow := star(t)
		w, d := rapid.Float64Range(10, 200).Draw(t, "w"), rapid.Float64Range(10, 200).Draw(t, "d")
		foot := r2.Box{Min: r2.Vec{X: -w / 2, Y: -d / 2}, Max: r2.Vec{X: w / 2, Y: d / 2}}
		l, err := PlaceFeatures(foot, shadow, o)
		if err != nil {
			t.Fatal(err)
		}
		again, err := PlaceFeatures(foot, shadow, o)
		if err != nil || !reflect.DeepEqual(l, again) {
			t.Fatal("the same input gives another layout")
		}
		checkLayout(t, l, shadow, o.withDefaults())
	})
}

func checkLayout(t *rapid.T, l *Layout, shadow Outline, o LayoutOptions) {
	var all []shape
	for _, b := range l.Bolts {
		all = append(all, disc(b, o.BoltRadiusMM))
	}
	odd := 0
	for _, k := range l.Keys {
		r := o.KeyRadiusMM
		if k.Odd {
			r = o.OddKeyRadiusMM
			odd++
		}
		all = append(all, disc(k.At, r))
	}
	inFoot := func(p r2.Vec, in float64) bool {
		b := l.Footprint
		return p.X-in >= b.Min.X-1e-6 && p.X+in <= b.Max.X+1e-6 && p.Y-in >= b.Min.Y-1e-6 && p.Y+in <= b.Max.Y+1e-6
	}
	for _, s := range all {
		if !inFoot(s.core[0], s.radius+o.EdgeMM) {
			t.Fatalf("%v is too near the outside of %v", s, l.Footprint)
		}
	}
	for _, p := range l.Pry {
		all = append(all, shape{core: strip(p.At, p.Inward, o.Pry.DepthMM, o.Pry.WidthMM)})
	}
	for _, loop := range o.KeepOff {
		for _, a := range all {
			if g := gap(a, shape{core: loop}); g < o.ApartMM-1e-6 {
				t.Fatalf("%v is %g mm from a place that is taken", a, g)
			}
		}
		if l.Label != nil {
			along := r2.Scale(l.Label.WidthMM/2, r2.Vec{X: -l.Label.Outward.Y, Y: l.Label.Outward.X})
			text := shape{core: []r2.Vec{r2.Sub(l.Label.At, along), r2.Add(l.Label.At, along)}}
			if g := gap(text, shape{core: loop}); g < o.ApartMM-1e-6 {
				t.Fatalf("the label is %g mm from a place that is taken", g)
			}
		}
	}
	for i, a := range all {
		if g := gapToOutline(a, shadow); g < o.clearMM()-1e-6 {
			t.Fatalf("%v is %g mm from the part, %g mm is asked", a, g, o.clearMM())
		}
		for _, b := range all[:i] {
			if g := gap(a, b); g < o.ApartMM-1e-6 {
				t.Fatalf("%v and %v are %g mm apart", a, b, g)
			}
		}
	}
	b, _ := shadow.Bounds()
	if !inFoot(b.Min, o.WallMM) || !inFoot(b.Max, o.WallMM) {
		t.Fatalf("wall: part %v in block %v", b, l.Footprint)
	}
	if want := max(0, o.Keys); len(l.Keys) != want || odd != min(1, want) {
		t.Fatalf("%d keys, %d odd ones; %d asked", len(l.Keys), odd, want)
	}
	if want := max(0, o.Pry.PerBlock); len(l.Pry) != want {
		t.Fatalf("%d pry slots, %d asked", len(l.Pry), want)
	}
	if o.BoltRadiusMM > 0 {
		checkPitch(t, l, o)
	}
	if (l.Label != nil) != (o.LabelWidthMM > 0) || (l.Label != nil && l.Label.WidthMM < o.LabelWidthMM-1e-6) {
		t.Fatalf("label %+v", l.Label)
	}
	if l.Label != nil && l.Label.BehindMM < min(o.EdgeMM, o.WallMM)-1e-6 {
		t.Fatalf("%g mm behind the label", l.Label.BehindMM)
	}
}

// checkPitch: every bolt has a neighbour within the pitch along its side, both ways.
func checkPitch(t *rapid.T, l *Layout, o LayoutOptions) {
	if len(l.Bolts) < 4 {
		t.Fatalf("%d bolts", len(l.Bolts))
	}
	for _, b := range l.Bolts {
		near := 0
		for _, c := range l.Bolts {
			d := r2.Norm(r2.Sub(b, c))
			if d > 0 && d <= o.MaxPitchMM+1e-6 && (math.Abs(b.X-c.X) < 1e-6 || math.Abs(b.Y-c.Y) < 1e-6) {
				near++
			}
		}
		if near < 2 {
			t.Fatalf("bolt at %v has %d neighbours within %g mm", b, near, o.MaxPitchMM)
		}
	}
}

// Mirroring the problem mirrors nothing that matters: moving it moves the answer along.
func TestPlaceFeaturesMovesWithThePart(t *testing.T) {
	shadow := Outline{rect(-30, -20, 30, 20)}
	o := LayoutOptions{BoltRadiusMM: 4, LabelWidthMM: 30, Gutter: &GutterOptions{}}
	a := must(PlaceFeatures(r2.Box{Min: r2.Vec{X: -50, Y: -40}, Max: r2.Vec{X: 50, Y: 40}}, shadow, o))(t)
	d := r2.Vec{X: 1024, Y: -512}
	b := must(PlaceFeatures(r2.Box{Min: r2.Vec{X: 974, Y: -552}, Max: r2.Vec{X: 1074, Y: -472}}, Outline{rect(994, -532, 1054, -492)}, o))(t)
	if len(a.Bolts) != len(b.Bolts) || len(a.Keys) != len(b.Keys) || len(a.Pry) != len(b.Pry) {
		t.Fatalf("%+v\n%+v", a, b)
	}
	for i := range a.Bolts {
		near(t, "bolt", r2.Norm(r2.Sub(r2.Add(a.Bolts[i], d), b.Bolts[i])), 0, 1e-9)
	}
	for i := range a.Keys {
		near(t, "key", r2.Norm(r2.Sub(r2.Add(a.Keys[i].At, d), b.Keys[i].At)), 0, 1e-9)
	}
}

func TestPlaceFeaturesWorkedExample(t *testing.T) {
	// A part of 60 × 40 mm in the middle of 140 × 120 mm: wide walls. Bolts stand at the corners, 3 + 4 mm
	// in; rails of 126 and 106 mm need two spans each at 80 mm; so one more bolt at each middle.
	l := must(PlaceFeatures(r2.Box{Min: r2.Vec{X: -70, Y: -60}, Max: r2.Vec{X: 70, Y: 60}}, Outline{rect(-30, -20, 30, 20)},
		LayoutOptions{BoltRadiusMM: 4}))(t)
	want := []r2.Vec{{X: -63, Y: -53}, {X: 63, Y: -53}, {X: 63, Y: 53}, {X: -63, Y: 53}, {Y: -53}, {X: 63}, {Y: 53}, {X: -63}}
	if !reflect.DeepEqual(l.Bolts, want) {
		t.Errorf("bolts %v, want %v", l.Bolts, want)
	}
	if l.GrownMM != (r2.Vec{}) {
		t.Errorf("grown by %v without need", l.GrownMM)
	}
	if len(l.Keys) != 4 || !l.Keys[0].Odd || len(l.Pry) != 2 {
		t.Errorf("%+v", l)
	}
}

func TestPlaceFeaturesErrors(t *testing.T) {
	part := Outline{rect(-30, -20, 30, 20)}
	foot := r2.Box{Min: r2.Vec{X: -40, Y: -30}, Max: r2.Vec{X: 40, Y: 30}}
	for name, c := range map[string]struct {
		shadow Outline
		opt    LayoutOptions
		say    string
	}{
		"printer too small": {part, LayoutOptions{BoltRadiusMM: 5, MostMM: r2.Vec{X: 90, Y: 90}}, "key 1 on the front needs"},
		"part too large":    {part, LayoutOptions{MostMM: r2.Vec{X: 70, Y: 90}}, "the part with its walls"},
		"label":             {part, LayoutOptions{LabelWidthMM: 400, MostMM: r2.Vec{X: 300, Y: 300}}, "the label"},
		"no part":           {nil, LayoutOptions{}, "outline is empty"},
		"one key":           {part, LayoutOptions{Keys: 1}, "2 to 16 keys"},
		"pitch":             {part, LayoutOptions{BoltRadiusMM: 10, MaxPitchMM: 15}, "larger pitch"},
		"not a number":      {part, LayoutOptions{WallMM: math.NaN()}, "the wall is NaN"},
	} {
		_, err := PlaceFeatures(foot, c.shadow, c.opt)
		if err == nil || !strings.Contains(err.Error(), c.say) {
			t.Errorf("%s: error %v", name, err)
		}
	}
	if _, err := PlaceFeatures(foot, nil, LayoutOptions{}); !errors.Is(err, ErrLayout) {
		t.Errorf("error %v", err)
	}
}

// A whole mould's hardware on each surface: both halves stay in one piece, do not overlap, and open but
// for the bolts' and labels' own pockets in the outer faces; no two features share space.
func TestAllHardwareTogether(t *testing.T) {
	for _, s := range slopes {
		t.Run(s.name, func(t *testing.T) {
			withKernel(t, func(k *solid.Kernel) {
				f := newFixture(t, k, s.height)
				foot := r2.Box{Min: r2.Vec{X: -60, Y: -45}, Max: r2.Vec{X: 60, Y: 45}}
				bolt := must(ChooseBolt(40, BoltOptions{Thread: "M3"}))(t)
				l := must(PlaceFeatures(foot, f.shadow, LayoutOptions{BoltRadiusMM: bolt.RadiusMM(), Gutter: &GutterOptions{}, LabelWidthMM: 20}))(t)
				if l.GrownMM != (r2.Vec{}) {
					t.Fatalf("the block would have to grow: %s", l.Words)
				}
				inner, outer := hardware(t, k, f, l, bolt)
				low, up := must(Apply(f.lower, Lower, inner))(t), must(Apply(f.upper, Upper, inner))(t)
				opens(t, low, Lower, f.block)
				opens(t, up, Upper, f.block)
				low, up = must(Apply(low, Lower, outer))(t), must(Apply(up, Upper, outer))(t)
				for _, half := range []*solid.Solid{low, up} {
					if parts := must(half.Parts())(t); len(parts) != 1 {
						t.Errorf("a half falls into %d parts", len(parts))
					}
				}
				if v := must(must(low.Intersect(up))(t).VolumeMM3())(t); v > 1e-9 {
					t.Errorf("the halves overlap by %g mm³", v)
				}
				apart(t, append(inner, outer...))
			})
		})
	}
}

// hardware makes every feature of a layout: those on the inside, and those in the outer faces.
func hardware(t *testing.T, k *solid.Kernel, f *fixture, l *Layout, bolt Bolt) (inner, outer []Tool) {
	t.Helper()
	for _, p := range l.Bolts {
		outer = append(outer, must(bolt.Tools(k, p, f.block))(t)...)
	}
	for _, p := range l.Keys {
		key := must(NewKey(p.At, p.Odd, f.block, f.surface, KeyOptions{RadiusMM: 4, OddRadiusMM: 1.5}))(t)
		inner = append(inner, must(key.Tools(k))(t)...)
	}
	for _, p := range l.Pry {
		inner = append(inner, must(must(NewPry(p.At, p.Inward, f.shadow, PryOptions{}))(t).Tools(k, f.lower, f.upper))(t)...)
	}
	_, g, err := NewGutter(k, f.raw(), f.shadow, nil, GutterOptions{Steps: 2})
	if err != nil {
		t.Fatal(err)
	}
	inner = append(inner, g...)
	inner = append(inner, must(must(NewSprue(r2.Vec{}, 40, f.top, SprueOptions{}))(t).Tools(k))(t)...)
	for _, h := range []Half{Lower, Upper} {
		lab := must(NewLabel(must(l.Label.Face(h, f.block, f.surface))(t), LabelOptions{Text: "A1"}))(t)
		outer = append(outer, must(lab.Tools(k, h))(t)...)
	}
	return inner, outer
}

// apart checks that no two tools for the same half meet.
func apart(t *testing.T, tools []Tool) {
	t.Helper()
	for i, a := range tools {
		for _, b := range tools[:i] {
			if a.Half != b.Half {
				continue
			}
			if v := must(must(a.Solid.Intersect(b.Solid))(t).VolumeMM3())(t); v > 1e-9 {
				t.Errorf("two tools of the %s half share %g mm³", a.Half, v)
			}
		}
	}
}
