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

// buildSkinParts builds a skin mould; every check must hold, and each ledger add up to its block.
func buildSkinParts(t *testing.T, part *mesh.Mesh, opt SkinOptions) *skinMould {
	t.Helper()
	opt.Silicone = softSilicone
	b, err := buildSkinMould(context.Background(), pool, part, opt)
	if err != nil {
		t.Fatal(err)
	}
	allHold(t, b.mould)
	s := b.mould.Block.Size()
	for _, p := range b.out.Pours {
		near(t, "ledger of the "+p.Piece, sumOf(p.Ledger), s.X*s.Y*(s.Z+b.opt.PlateMM), 1e-9)
	}
	return b
}

// turnedPart turns a profile of radius and height, bottom up, about z.
func turnedPart(profile []r2.Vec, n int) *mesh.Mesh {
	last := profile[len(profile)-1]
	m := &mesh.Mesh{Verts: []r3.Vec{{Z: profile[0].Y}, {Z: last.Y}}}
	for _, p := range profile {
		for j := range n {
			s, c := math.Sincos(2 * math.Pi * float64(j) / float64(n))
			m.Verts = append(m.Verts, r3.Vec{X: p.X * c, Y: p.X * s, Z: p.Y})
		}
	}
	id := func(row, j int) uint32 { return uint32(2 + row*n + j%n) }
	top := len(profile) - 1
	for j := range n {
		m.Tris = append(m.Tris, [3]uint32{0, id(0, j+1), id(0, j)}, [3]uint32{1, id(top, j), id(top, j+1)})
		for row := range top {
			m.Tris = append(m.Tris, [3]uint32{id(row, j), id(row, j+1), id(row+1, j+1)}, [3]uint32{id(row, j), id(row+1, j+1), id(row+1, j)})
		}
	}
	return m
}

// A reel: two rims and a narrower waist. The line runs round a rim: in the waist it would be shorter, but
// then both skins would catch. So one skin fills the waist and is held there by the other rim, all round,
// by the difference of the radii; it stretches over it.
func TestSkinPeelsFromAReel(t *testing.T) {
	t.Parallel() // each build spends most of its time in one kernel of the pool
	const rim, waist, n = 11.0, 9.6, 16
	part := turnedPart([]r2.Vec{{X: rim}, {X: rim, Y: 2}, {X: waist, Y: 3}, {X: waist, Y: 5}, {X: rim, Y: 6}, {X: rim, Y: 8}}, n)
	b := buildSkinParts(t, part, SkinOptions{Direction: r3.Vec{Z: 1}, SkinMM: 3, SiliconeShrinkPct: 0.2, Bolt: "M3", Label: LabelOptions{Text: "reel"}})
	caught := 0
	for _, s := range b.out.Stages {
		if s.Verdict.State != opening.Blocked {
			continue
		}
		caught++
		if s.Rigid {
			t.Errorf("%s", s.Words())
		}
		// Between two regular polygons the ring is as wide as at the corners, or less by the cosine of half
		// a side's angle. The master is larger by the silicone's shrinkage.
		if v := s.Verdict.OverlapDepthMM; v > (rim-waist)*b.grow+0.01 || v < (rim-waist)*math.Cos(math.Pi/n)-0.01 {
			t.Errorf("%s; the rim catches by %.2f mm", s.Words(), rim-waist)
		}
	}
	if caught != 2 {
		t.Errorf("%d stages are caught, want the peeling from the master and from the casting", caught)
	}
	if r := b.out.Release; r == nil || !r.Releases {
		t.Errorf("the mould's release is %+v", r)
	} else {
		for _, h := range r.Holds {
			// The waist is stretched over the rim: (Dmax − Dmin)/Dmin.
			if h.Way == opening.Stretched {
				near(t, "strain", h.Strain, opening.RingStrain(2*rim, 2*waist), 0.05)
			}
		}
	}
	// Nobody can say without the silicone.
	b.opt.Silicone = nil
	b.out.Set = &Set{Mould: &Mould{}, Stages: b.out.Stages}
	if err := b.out.judgeRelease(context.Background(), b.releaseSetup); err != nil || len(b.out.Failed()) != caught {
		t.Errorf("without a silicone %v fail, %v", b.out.Failed(), err)
	}
}

// The volume under a ball's outer face, as a solid of revolution: a point of the source at radius r and
// height z carries, at a height h over its own, a disc of radius √(t² − h²) below and t/cos δ + h·tan δ
// above the place where the ball's wall takes on the draft δ.
func TestSkinsOfABallFollowTheirProfile(t *testing.T) {
	const r, mm, land, n = 10.0, 3.0, 3.0, 64
	b, err := planSkin(context.Background(), pool, ellipsoid(r, r, r, n), SkinOptions{SkinMM: mm, LandMM: land}.withDefaults())
	if err != nil {
		t.Fatal(err)
	}
	if z := math.Abs(b.parting.MaxZ) + math.Abs(b.parting.MinZ); z > 1e-9 {
		t.Fatalf("the line of a ball runs from %.3f to %.3f mm, want its equator", b.parting.MinZ, b.parting.MaxZ)
	}
	source := []r2.Vec{{X: r + land}}
	for i := range 91 {
		s, c := math.Sincos(float64(i) * math.Pi / 180)
		source = append(source, r2.Vec{X: r * c, Y: -r * s})
	}
	sin, cos := math.Sincos(b.opt.DraftDeg * math.Pi / 180)
	for _, s := range b.sides {
		for _, shell := range []bool{false, true} {
			sheet, t0 := s.inner, mm
			if shell {
				sheet, t0 = s.outer, mm+b.opt.ShellMM
			}
			want := 0.0
			const steps = 4000
			top := sheet.TopMM
			dz := (top + r + t0) / steps
			for i := range steps {
				z := -r - t0 + (float64(i)+0.5)*dz
				radius := 0.0
				for _, p := range source {
					switch h := z - p.Y; {
					case h < -t0:
					case h < -t0*sin:
						radius = max(radius, p.X+math.Sqrt(t0*t0-h*h))
					default:
						radius = max(radius, p.X+t0/cos+h*sin/cos)
					}
				}
				want += math.Pi * radius * radius * dz
			}
			m := overSheet(sheet)
			// overSheet closes it straight up past its top.
			got := m.VolumeMM3() - overshootMM*Outline(sheet.Loops).AreaMM2()
			// 64 sides take 0.16 % of the area, round and along; chords of a sheet within its error the rest.
			tol := 0.005
			if shell {
				tol = 0.01
			}
			near(t, s.shell, got, want, tol)
		}
	}
	if len(b.sides[Upper].sleeves) == 0 || r2.Norm(b.sides[Upper].sleeves[0].At) > 0.5 {
		t.Errorf("the sprue's sleeve stands at %+v, want the ball's top", b.sides[Upper].sleeves)
	}
	if p := b.sides[Lower].ports[0]; r2.Norm(p.At) > 0.5 {
		t.Errorf("the lower skin's port stands at %v, want the highest place with that side up", p.At)
	}
}

// By Cavalieri's principle the plate holds the part and, under every place of its outline, the board: its
// upper side is the same surface moved up.
func TestPlateHoldsPartAndBoard(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		part, front := drawCup(rt).mesh()
		a := rapid.Float64Range(0, 2*math.Pi).Draw(rt, "turn")
		m, _, err := place(part.Map(func(v r3.Vec) r3.Vec { return turn(v, a) }), r3.Vec{Z: rapid.SampledFrom([]float64{-1, 1}).Draw(rt, "way up")}, r3.Vec{})
		if err != nil {
			rt.Fatal(err)
		}
		b := &skinMould{grow: 1 / (1 - rapid.Float64Range(0, 0.01).Draw(rt, "shrinkage"))}
		if b.parting, err = softRule.split(context.Background(), m, front); err != nil {
			rt.Skip(err)
		}
		box := r2.Box{Min: r2.Vec{X: -60, Y: -55}, Max: r2.Vec{X: 60, Y: 55}}
		if b.surface, err = newSurface(context.Background(), b.parting, box); err != nil {
			rt.Fatal(err)
		}
		mm := rapid.Float64Range(2, 8).Draw(rt, "board")
		plate := plateRaw(b, mm)
		if err := closed(MasterPlate, plate); err != nil {
			rt.Fatal(err)
		}
		g := b.grow
		near(rt, "plate", plate.VolumeMM3(), m.VolumeMM3()*g*g*g+mm*120*110*g*g, 1e-9)
	})
}

// The plate's cones nest: measured between the bodies, their wall is what the check says, and as much room
// as the keys have is left on either side of it.
func TestNestedKeysLeaveTheirWall(t *testing.T) {
	o := SkinOptions{}.withDefaults()
	if d := o.keyDraftDeg(); nestedWallMM(o.PlateMM, o.KeyClearance, d) < o.LeastWallMM || nestedWallMM(o.PlateMM, o.KeyClearance, d-1) >= o.LeastWallMM {
		t.Errorf("%g° is not the least draft", d)
	}
	withKernel(t, func(k *solid.Kernel) {
		f := newFixture(t, k, slopes[0].height)
		key, err := NewKey(r2.Vec{X: 40, Y: 25}, false, f.block, f.surface, o.key())
		if err != nil {
			t.Fatal(err)
		}
		tools := must(key.Tools(k))(t)
		male, female := tools[0].Solid, tools[1].Solid
		up := must(male.Translate(r3.Vec{Z: o.PlateMM}))(t)
		// Over the board the plate is the lifted cone less the hollow one. The nearest that its outside comes
		// to the hollow is its wall.
		hollow := must(female.TrimByPlane(r3.Vec{Z: 1}, key.BaseZ+o.PlateMM+0.5))(t)
		around := must(k.Cylinder(r3.Vec{X: 40, Y: 25, Z: key.BaseZ + o.PlateMM}, r3.Vec{Z: 4}, 20, 128))(t)
		outside := must(around.Subtract(up))(t)
		got := must(hollow.GapMM(outside, 5))(t)
		near(t, "wall", got, nestedWallMM(o.PlateMM, o.KeyClearance, o.keyDraftDeg()), 0.01)
	})
}

// A mesh that nobody here made: a shell of Spider_binary.stl of Debian's assimp-testmodels, scaled to
// 22 mm. No plane divides it, so the line is uneven.
func TestSkinForARealMesh(t *testing.T) {
	t.Parallel()
	shell := realShell(t, "STL/Spider_binary.stl", func(m *mesh.Mesh) bool { return len(m.Tris) == 80 })
	if m := buildSkinParts(t, sized(shell, 22), SkinOptions{SkinMM: 3}); m.surface.Flat {
		t.Error("the line of this mesh is not flat along any axis")
	}
}

func TestSkinSaysWhatItCannotDo(t *testing.T) {
	ball := ellipsoid(12, 12, 12, 16)
	all := make([]bool, len(ball.Tris))
	for i := range all {
		all[i] = true
	}
	two := ball.Map(func(v r3.Vec) r3.Vec { return v })
	n := uint32(len(two.Verts))
	for _, v := range ball.Verts {
		two.Verts = append(two.Verts, r3.Add(v, r3.Vec{X: 40}))
	}
	for _, f := range ball.Tris {
		two.Tris = append(two.Tris, [3]uint32{f[0] + n, f[1] + n, f[2] + n})
	}
	for _, c := range []struct {
		name  string
		part  *mesh.Mesh
		opt   SkinOptions
		cause error
		words string
	}{
		{"thin skin", ball, SkinOptions{SkinMM: 1}, ErrOptions, "2 mm or more"},
		{"thin plate", ball, SkinOptions{PlateMM: 1}, ErrOptions, "keys that nest"},
		{"show marks", ball, SkinOptions{Show: []bool{true}}, ErrOptions, "show marks"},
		{"two bodies", two, SkinOptions{}, ErrBodies, "each body on its own"},
		{"show all round", ball, SkinOptions{Show: all, Direction: r3.Vec{Z: 1}}, ErrSprue, "free a face"},
		{"small printer", ball, SkinOptions{BuildVolumeMM: r3.Vec{X: 60, Y: 60, Z: 60}}, ErrLayout, "larger printer"},
	} {
		_, err := SkinMould(context.Background(), pool, c.part, c.opt)
		if !errors.Is(err, c.cause) || !strings.Contains(err.Error(), c.words) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}
