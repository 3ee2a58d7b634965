package tooling

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"

	"mouldwright/internal/mesh"
	"mouldwright/internal/opening"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// cone is a truncated cone of n sides on the z axis: r0 at z0, r1 at z1.
func cone(t testing.TB, r0, z0, r1, z1 float64, n int) *mesh.Mesh {
	t.Helper()
	return modelled(t, func(k *solid.Kernel) (*solid.Solid, error) {
		return k.Frustum(r3.Vec{Z: z0}, r3.Vec{Z: z1 - z0}, r0, r1, n)
	})
}

// coneMM3 is its volume in closed form: a regular polygon has n/2·sin(2π/n) of r² as its area.
func coneMM3(r0, z0, r1, z1 float64, n int) float64 {
	return polygonMM2(1, n) * (z1 - z0) / 3 * (r0*r0 + r0*r1 + r1*r1)
}

func polygonMM2(r float64, n int) float64 {
	return float64(n) / 2 * math.Sin(2*math.Pi/float64(n)) * r * r
}

func buildTray(t testing.TB, part *mesh.Mesh, opt TrayOptions) *OpenTray {
	t.Helper()
	out, err := BuildTray(context.Background(), pool, part, opt)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// allHold fails the test for each check that does not hold, and adds up the ledger.
func allHold(t testing.TB, m *Mould) {
	t.Helper()
	mustPass(t, m)
	size, sum := m.Block.Size(), 0.0
	for _, l := range m.Ledger {
		sum += l.VolumeMM3
	}
	near(t, "ledger", sum, size.X*size.Y*size.Z, 1e-9)
}

func line(m *Mould, name string) float64 {
	v := 0.0
	for _, l := range m.Ledger {
		if l.Name == name {
			v += l.VolumeMM3
		}
	}
	return v
}

// A truncated cone: of its two flat faces the wider is poured, since under the other the tray would
// overhang. Cavity, brim and moat are known.
func TestTrayOfACone(t *testing.T) {
	const n = 64
	out := buildTray(t, cone(t, 25, 0, 28, 12, n), TrayOptions{MoatML: 3, Label: LabelOptions{Text: "Pad"}})
	allHold(t, out.Mould)
	near(t, "cavity", line(out.Mould, "cavity"), coneMM3(25, 0, 28, 12, n), 1e-9)
	near(t, "casting", 1000*out.CastML, coneMM3(25, 0, 28, 12, n), 1e-9)
	near(t, "moat", out.OverflowML, 3, 1e-3) // its plan is cut on the library's grid
	near(t, "poured face", out.OpenMM2, polygonMM2(28, n), 1e-9)
	near(t, "border", out.LineMM, 2*28*n*math.Sin(math.Pi/n), 1e-9)
	if out.Stages[0].Verdict.State != opening.Free {
		t.Error(out.Stages[0].Words())
	}
	if out.Casting[0] != Tray || len(out.Pieces) != 1 || len(out.Pours) != 0 {
		t.Errorf("pieces %v, casting %v", len(out.Pieces), out.Casting)
	}
}

// Rigid, a casting leaves when the mouth is no narrower than the rest; narrower, it is caught by the
// difference of the radii, between the two polygons' corners and flats.
func TestTrayCatchesAsTheMouthIsNarrow(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const n = 32
		r0, r1 := rapid.Float64Range(12, 20).Draw(t, "floor"), rapid.Float64Range(12, 20).Draw(t, "mouth")
		h := rapid.Float64Range(3, 10).Draw(t, "height")
		part := &mesh.Mesh{}
		for _, e := range [2][2]float64{{r0, 0}, {r1, h}} {
			for j := range n {
				sin, cos := math.Sincos(2 * math.Pi * float64(j) / n)
				part.Verts = append(part.Verts, r3.Vec{X: e[0] * cos, Y: e[0] * sin, Z: e[1]})
			}
		}
		part.Verts = append(part.Verts, r3.Vec{}, r3.Vec{Z: h})
		for j := range uint32(n) {
			k := (j + 1) % n
			part.Tris = append(part.Tris, [3]uint32{j, k, n + k}, [3]uint32{j, n + k, n + j}, [3]uint32{2 * n, k, j}, [3]uint32{2*n + 1, n + j, n + k})
		}
		v := trialTray(t, part)
		if want := r0 - r1; want > opening.DefaultToleranceMM {
			if v.State != opening.Blocked || v.OverlapDepthMM > want+1e-6 || v.OverlapDepthMM < want*math.Cos(math.Pi/n)-v.OverlapDepthErrorMM {
				t.Fatalf("%s; the mouth is %.3f mm narrower", v.Words(), want)
			}
		} else if v.State == opening.Blocked {
			t.Fatalf("%s, but the mouth is no narrower", v.Words())
		}
	})
}

// trialTray proves the opening of the raw tray, without moat, screws and label.
func trialTray(t *rapid.T, part *mesh.Mesh) (v *opening.Verdict) {
	ctx := context.Background()
	b, err := planTray(part, TrayOptions{Direction: r3.Vec{Z: 1}}.withDefaults())
	if err != nil {
		t.Fatal(err)
	}
	err = pool.Do(ctx, func(k *solid.Kernel) (err error) {
		b.k = k
		if b.part, err = k.FromMesh(b.mould.Part); err != nil {
			return err
		}
		if err = b.split(nil); err != nil {
			return err
		}
		m, err := b.body.Mesh()
		if err != nil {
			return err
		}
		v, err = opening.Translate(ctx, opening.Body{Name: castingName, Mesh: b.mould.Part}, opening.Body{Name: Tray, Mesh: m}, r3.Vec{Z: 1}, opening.Options{})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// A soft casting is stretched or pressed through a mouth that a rigid one does not pass.
func TestTrayLetsASoftCastingGo(t *testing.T) {
	part := cone(t, 20, 0, 19.7, 6, 48)
	o := TrayOptions{Direction: r3.Vec{Z: 1}}
	// Rigid it is refused, and only for that.
	if rigid := buildTray(t, part, o); len(rigid.Failed()) != 1 {
		t.Errorf("rigid: %d checks fail", len(rigid.Failed()))
	}
	o.Casting = &opening.Flex{ElongationPct: 400, ShoreA: 40} // typical of a soft polyurethane, no source
	soft := buildTray(t, part, o)
	allHold(t, soft.Mould)
	if soft.Release == nil || !soft.Release.Releases {
		t.Error("the soft casting is not judged")
	}
}

// Turned by an axis, scaled against shrinkage or renumbered, the tray holds the same.
func TestTrayTurnsWithThePart(t *testing.T) {
	part := cone(t, 15, 0, 17, 8, 24)
	want := buildTray(t, part, TrayOptions{})
	turned := part.Map(func(v r3.Vec) r3.Vec { return r3.Vec{X: v.Z, Y: v.X, Z: v.Y} })
	for i, j := 0, len(turned.Tris)-1; i < j; i, j = i+1, j-1 {
		turned.Tris[i], turned.Tris[j] = turned.Tris[j], turned.Tris[i]
	}
	got := buildTray(t, turned, TrayOptions{})
	near(t, "casting", got.CastML, want.CastML, 1e-9)
	near(t, "tray", line(got.Mould, Tray), line(want.Mould, Tray), 1e-6)
	grown := buildTray(t, part, TrayOptions{ShrinkPct: r3.Vec{X: 1, Y: 1, Z: 1}})
	near(t, "against 1 % of shrinkage", grown.CastML, want.CastML/math.Pow(0.99, 3), 1e-9)
}

func TestTrayRefuses(t *testing.T) {
	up := TrayOptions{Direction: r3.Vec{Z: 1}}
	pocket := modelled(t, func(k *solid.Kernel) (*solid.Solid, error) {
		a, err := frustumOf(k, r2.Vec{}, 0, 40, 30, 10, -1)
		if err != nil {
			return nil, err
		}
		b, err := k.Box(r3.Box{Min: r3.Vec{X: -8, Y: -6, Z: 4}, Max: r3.Vec{X: 8, Y: 6, Z: 20}})
		if err != nil {
			return nil, err
		}
		return a.Subtract(b)
	})
	pad := cone(t, 25, 0, 26, 10, 48)
	with := func(c *mesh.Mesh) TrayOptions { o := up; o.Carrier = c; return o }
	for name, c := range map[string]struct {
		part *mesh.Mesh
		opt  TrayOptions
		want error
		say  string
	}{
		"a ball":              {ellipsoid(10, 10, 10, 32), TrayOptions{}, ErrOpenFace, "no flat face"},
		"the side of a cone":  {pad, TrayOptions{Direction: r3.Vec{X: 1}}, ErrOpenFace, "turn it"},
		"a hollow":            {pocket, up, ErrRecess, "6.00 mm deep"},
		"a hollow half full":  {pocket, with(cone(t, 5, 4, 5, 12, 24)), ErrRecess, "does not fill it"},
		"far over":            {pad, with(cone(t, 10, 11, 10, 14, 24)), ErrCarrier, "1.00 mm over the poured face"},
		"out under":           {pad, with(cone(t, 10, -2, 10, 14, 24)), ErrCarrier, "2.00 mm out under the part"},
		"out at the side":     {pad, with(cone(t, 27, 7, 27, 14, 24)), ErrCarrier, "outside the part"},
		"beside":              {pad, with(cone(t, 5, 7, 5, 14, 24).Map(func(v r3.Vec) r3.Vec { v.X += 100; return v })), ErrCarrier, "outside the part"},
		"filling all":         {pad, with(pad), ErrCarrier, "nothing is left"},
		"two shells":          {pad, with(both(cone(t, 5, 7, 5, 14, 24), cone(t, 5, 17, 5, 24, 24))), ErrCarrier, "2 closed shells"},
		"no place for a tab":  {pad, with(ellipsoid(4, 4, 2, 24).Map(func(v r3.Vec) r3.Vec { v.Z += 7; return v })), ErrTabs, "no hold"},
		"a neck of a hair":    {pad, TrayOptions{Carrier: pad, CarrierOptions: CarrierOptions{NeckMM: 0.1}}, ErrOptions, "neck"},
		"two tabs":            {pad, TrayOptions{Carrier: pad, CarrierOptions: CarrierOptions{Tabs: 2}}, ErrOptions, "tabs"},
		"a wall without size": {pad, TrayOptions{WallMM: math.NaN()}, ErrOptions, "wall"},
	} {
		_, err := TrayMould(context.Background(), pool, c.part, c.opt)
		if !errors.Is(err, c.want) || !strings.Contains(err.Error(), c.say) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func both(a, b *mesh.Mesh) *mesh.Mesh {
	m := &mesh.Mesh{Verts: append(append([]r3.Vec(nil), a.Verts...), b.Verts...), Tris: append([][3]uint32(nil), a.Tris...)}
	for _, t := range b.Tris {
		for i := range t {
			t[i] += uint32(len(a.Verts))
		}
		m.Tris = append(m.Tris, t)
	}
	return m
}

// noHoles leaves a carrier without holes.
var noHoles = CarrierOptions{AirHoles: -1, BondHoles: -1}

// A disc stands out of the poured face; its tabs grow out of its side. It displaces a disc, touches the
// casting on its underside and the sunk part of its side, and floats by Archimedes' law.
func TestCarrierThatStandsOut(t *testing.T) {
	const n = 48
	o := TrayOptions{Carrier: cone(t, 18, 7, 18, 16, n), CarrierOptions: noHoles}
	out := buildTray(t, cone(t, 24, 0, 25, 10, n), o)
	allHold(t, out.Mould)
	sunk := polygonMM2(18, n) * 3
	near(t, "casting", 1000*out.CastML, coneMM3(24, 0, 25, 10, n)-sunk, 1e-9)
	near(t, "sunk", out.Carried.SunkMM3, sunk, 1e-9)
	near(t, "bond", out.Carried.BondMM2, polygonMM2(18, n)+3*2*18*n*math.Sin(math.Pi/n), 1e-9)
	near(t, "lift", out.Carried.LiftN, 9.80665*1.1e-6*sunk, 1e-12)
	// Three bars of 6 × 3 mm add to the disc, and their own weight with them.
	if w := out.Carried.WeightN; w < 9.80665*1.2e-6*polygonMM2(18, n)*9 || w > 1.3*9.80665*1.2e-6*polygonMM2(18, n)*9 {
		t.Errorf("weight %.4f N", w)
	}
	for _, s := range out.Stages {
		if !s.Rigid || s.Verdict.State == opening.Blocked {
			t.Error(s.Words())
		}
	}
}

// A disc under the poured face hangs by legs, whose volume the casting loses too: three of 3 × 6 mm,
// narrower at the score lines just under the level.
func TestCarrierUnderTheLevel(t *testing.T) {
	const n = 48
	o := TrayOptions{Carrier: cone(t, 18, 4, 18, 7, n), CarrierOptions: noHoles}
	out := buildTray(t, cone(t, 24, 0, 25, 10, n), o)
	allHold(t, out.Mould)
	// A leg: 3 mm up to the level less its notch of 1 mm; the notch tapers to the neck of 1 mm.
	leg := 6 * (2*3 + 1*(3+1)/2)
	near(t, "casting", 1000*out.CastML, coneMM3(24, 0, 25, 10, n)-polygonMM2(18, n)*3-3*float64(leg), 1e-9)
	for _, c := range out.Checks {
		if c.Name == CarrierPiece+": necks of the tabs" {
			near(t, "neck", c.Value, 1.002, 1e-6) // measured a micron over the bottom of a notch that opens by 1 mm in 1 mm
		}
	}
}

// Each bond hole trades the disc that it takes of the underside for its wall; on a thin disc in deep
// resin that is more.
func TestBondHoles(t *testing.T) {
	const n = 48
	o := TrayOptions{Carrier: cone(t, 18, 7, 18, 16, n), CarrierOptions: CarrierOptions{AirHoles: -1, BondHoles: 4}}
	out := buildTray(t, cone(t, 24, 0, 25, 10, n), o)
	allHold(t, out.Mould)
	if out.Carried.BondHoles != 4 || out.Carried.AirHoles != 0 {
		t.Fatalf("%d bond and %d air holes", out.Carried.BondHoles, out.Carried.AirHoles)
	}
	// A cone's wall up to the level: slant height 3/cos 3°, mean radius 1.5 + 1.5·tan 3°.
	deg := 3 * math.Pi / 180
	wall := 2 * math.Pi * (1.5 + 1.5*math.Tan(deg)) * 3 / math.Cos(deg)
	near(t, "wall of the holes", out.Carried.HoleBondMM2, 4*wall, 0.01) // the hole is a polygon about its circle
	near(t, "bond", out.Carried.BondMM2-out.Carried.HoleBondMM2, polygonMM2(18, n)+3*2*18*n*math.Sin(math.Pi/n)-4*math.Pi*2.25, 0.002)
	var at []r2.Vec
	for _, f := range out.Features {
		if f.Kind == bondHole {
			at = append(at, r2.Vec{X: f.At.X, Y: f.At.Y})
		}
	}
	for i, p := range at {
		if r := r2.Norm(p); r > 18-1.5-1.5 {
			t.Errorf("hole %d stands %.2f mm from the axis", i, r)
		}
		for _, q := range at[i+1:] {
			if d := r2.Norm(r2.Sub(p, q)); d < 12 {
				t.Errorf("holes %.1f mm apart, though the disc is 36 mm wide", d)
			}
		}
	}
}

// A hollow in the underside gets its air hole at its highest place: over the tip of a cone, over the
// middle of a flat roof.
func TestAirHoleOverEachHollow(t *testing.T) {
	const n = 48
	carrier := modelled(t, func(k *solid.Kernel) (*solid.Solid, error) {
		c, err := k.Frustum(r3.Vec{Z: 7}, r3.Vec{Z: 9}, 18, 18, n)
		if err != nil {
			return nil, err
		}
		tip, err := k.Frustum(r3.Vec{X: 8, Z: 6}, r3.Vec{Z: 3}, 3, 0, 24)
		if err != nil {
			return nil, err
		}
		roof, err := k.Box(r3.Box{Min: r3.Vec{X: -10, Y: -3, Z: 6}, Max: r3.Vec{X: -6, Y: 3, Z: 9}})
		if err != nil {
			return nil, err
		}
		return c.Subtract(tip, roof)
	})
	o := TrayOptions{Carrier: carrier, CarrierOptions: CarrierOptions{BondHoles: -1, AirReachMM: 100}}
	out := buildTray(t, cone(t, 24, 0, 25, 10, n), o)
	allHold(t, out.Mould)
	want := map[r2.Vec]bool{{X: 8}: false, {X: -8}: false}
	for _, f := range out.Features {
		for w := range want {
			if f.Kind == airHole && r2.Norm(r2.Sub(r2.Vec{X: f.At.X, Y: f.At.Y}, w)) < 0.02 {
				want[w] = true
			}
		}
	}
	for w, found := range want {
		if !found {
			t.Errorf("no air hole at %v", w)
		}
	}
	if out.Carried.AirHoles != 2 {
		t.Errorf("%d air holes", out.Carried.AirHoles)
	}
	// Under a level disc of 18 mm air creeps at most 10 mm to an edge or a hole.
	level := buildTray(t, cone(t, 24, 0, 25, 10, n), TrayOptions{Carrier: cone(t, 18, 7, 18, 16, n), CarrierOptions: CarrierOptions{BondHoles: -1}})
	allHold(t, level.Mould)
	if level.Carried.AirHoles == 0 {
		t.Error("no air hole under a level underside of 36 mm")
	}
}

// A carrier that fills the hollow of a poured face does what no tray can.
func TestCarrierFillsAHollow(t *testing.T) {
	const n = 48
	part := modelled(t, func(k *solid.Kernel) (*solid.Solid, error) {
		a, err := k.Frustum(r3.Vec{}, r3.Vec{Z: 10}, 24, 25, n)
		if err != nil {
			return nil, err
		}
		b, err := k.Cylinder(r3.Vec{Z: 6}, r3.Vec{Z: 10}, 15, n)
		if err != nil {
			return nil, err
		}
		return a.Subtract(b)
	})
	out := buildTray(t, part, TrayOptions{Direction: r3.Vec{Z: 1}, Carrier: cone(t, 15, 6, 15, 16, n), CarrierOptions: noHoles})
	allHold(t, out.Mould)
	near(t, "casting", 1000*out.CastML, coneMM3(24, 0, 25, 10, n)-polygonMM2(15, n)*4, 1e-9)
}

// Over a carrier a soft casting cannot be pressed together as a ring: the wall in front of it is squeezed
// by the depth of the catch over its thickness, here 0.6 mm over 2 mm or little more.
func TestSqueezeOverTheCarrier(t *testing.T) {
	const n = 48
	part, disc := cone(t, 20, 0, 19.4, 6, n), cone(t, 17.7, 0.6, 17.7, 12, n)
	o := TrayOptions{Direction: r3.Vec{Z: 1}, Carrier: disc, CarrierOptions: noHoles}
	for elongation, ok := range map[float64]bool{400: true, 40: false} { // half of it is allowed
		o.Casting = &opening.Flex{ElongationPct: elongation, ShoreA: 40}
		out := buildTray(t, part, o)
		failed := out.Failed()
		if ok {
			allHold(t, out.Mould)
			continue
		}
		if len(failed) != 1 || failed[0].Name != "casting and carrier leave the tray together" || !strings.Contains(failed[0].Words, "squeezed by") {
			t.Errorf("with %g %% of elongation %d checks fail: %+v", elongation, len(failed), failed)
		}
	}
}

// Plates whose top lies near the level, under it, flush and over it, hang by legs; a thick one by bars in
// its sides, which run askew to them. The casting loses what is sunk of plate and legs.
func TestPlateNearTheLevel(t *testing.T) {
	part := modelled(t, func(k *solid.Kernel) (*solid.Solid, error) { return frustumOf(k, r2.Vec{}, 0, 50, 40, 10, -0.5) })
	whole := part.VolumeMM3()
	for top, leg := range map[float64]float64{9.5: 6 * 0.5 * (3 + 2) / 2, 10: 0, 11.5: 0, 16: 0} {
		plate := modelled(t, func(k *solid.Kernel) (*solid.Solid, error) {
			return k.Box(r3.Box{Min: r3.Vec{X: -16, Y: -11, Z: 6}, Max: r3.Vec{X: 16, Y: 11, Z: top}})
		})
		out := buildTray(t, part, TrayOptions{Direction: r3.Vec{Z: 1}, Carrier: plate, CarrierOptions: noHoles})
		allHold(t, out.Mould)
		near(t, "casting", 1000*out.CastML, whole-32*22*(min(top, 10)-6)-3*leg, 1e-9)
	}
}
