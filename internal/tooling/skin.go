package tooling

import (
	"context"
	"fmt"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"
	"mouldwright/internal/offset"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// SkinFamily names the moulds that SkinMould builds.
const SkinFamily = "silicone skin in a mother mould"

// Names of a skin mould's pieces. The skins are poured, not printed.
const (
	LowerShell  = "lower shell"
	UpperShell  = "upper shell"
	MasterPlate = "master plate"
	LowerSkin   = "lower skin"
	UpperSkin   = "upper skin"
)

// Skin is a mould of two silicone skins, each held in shape by a rigid shell, with the evidence that each
// stage of its making and use works:
//
//  1. the master plate, a board with the part's lower side below and its upper side on top, is bolted
//     between the shells; silicone fills the gap between upper shell and plate, and, with the mould
//     turned over, that between plate and lower shell;
//  2. the shells leave the cured skins, the skins peel off the plate;
//  3. without the plate the shells close on each other, the skins in them; resin is poured in;
//  4. the shells leave the skins, the skins peel off the casting.
//
// The plate is as thick all over, measured along z, as its board: its upper side is the part's, moved up by
// Plate. Pieces holds the bodies in the closed mould of stage 3, and the plate as it lies on the lower
// shell: shells and plate at the size at which silicone is poured, the skins as cured.
type Skin struct {
	*Set
	Parting   *mouldability.Parting // of the compensated part
	PlateMM   float64               // how far the upper shell stands off while silicone is poured
	Thickness [2]Thickness          // of the lower and the upper skin, places in the mould frame
}

// SkinMould builds a mould of two silicone skins in a rigid split mother mould. The part must be closed.
// The mould comes back even when checks fail, so that the caller can say why; Failed lists them.
func SkinMould(ctx context.Context, pool *solid.Pool, part *mesh.Mesh, opt SkinOptions) (*Set, error) {
	s, err := BuildSkin(ctx, pool, part, opt)
	if err != nil {
		return nil, err
	}
	return s.Set, nil
}

// BuildSkin is SkinMould with all that is known of the skins.
func BuildSkin(ctx context.Context, pool *solid.Pool, part *mesh.Mesh, opt SkinOptions) (*Skin, error) {
	b, err := buildSkinMould(ctx, pool, part, opt)
	if err != nil {
		return nil, err
	}
	return b.out, nil
}

func buildSkinMould(ctx context.Context, pool *solid.Pool, part *mesh.Mesh, opt SkinOptions) (*skinMould, error) {
	o := opt.withDefaults()
	if err := o.check(len(part.Tris)); err != nil {
		return nil, err
	}
	b, err := planSkin(ctx, pool, part, o)
	if err != nil {
		return nil, err
	}
	o.Progress.tell("cutting the pieces", 0.45)
	if err := buildPlanned(ctx, pool, b, o.Progress); err != nil {
		return nil, err
	}
	return b, nil
}

// skinMould is a skin mould under construction. Lengths of the casting stage are those of the compensated
// part; grown takes them to the stage in which the silicone is poured.
type skinMould struct {
	opt     SkinOptions
	out     *Skin
	mould   *Mould
	parting *mouldability.Parting // of all cavities
	many    *softCavities
	surface *Surface     // the parting surface, casting stage
	field   *HeightField // the same as poured: what bolts and keys stand on
	grow    float64      // 1/(1 − silicone's shrinkage)
	sides   [2]*skinSide // by Half
	layout  *Layout
	outline Outline // both shells in plan
	bolt    *Bolt
	legs    []r2.Vec
	flange  r3.Box // the block that the two flanges make, closed on each other

	lower, upper, plate *mesh.Mesh // raw, casting stage; the plate as poured
	sprues              []Sprue    // one for each cavity
	vents               []Sprue    // those of cavity 1 first
	boundary            [2]float64 // heights of the parting surface on the flanges' sides
	labelErr            error

	rooms  [2]*mesh.Mesh // what the shells are hollowed by, by Half
	poured [2]*mesh.Mesh // the skins as poured, not lifted
}

// skinSide is one skin with its shell.
//
// It has two frames beside the mould's. It hangs where its shell is below it, as offset.Under makes it;
// it stands where its shell is above it, as when its silicone is poured. The lower side hangs in the mould
// frame, the upper one stands in it, and one turn by half about x takes each to the other.
type skinSide struct {
	half        Half
	shell, skin string
	inner       *offset.Sheet // the skin's outer face, hanging
	outer       *offset.Sheet // the shell's outer face, hanging
	sleeves     []Sprue       // of the resin's sprues and vents after them, standing
	ports       []Sprue       // fill port, and vents after it, standing
	pegs        []skinPeg     // hanging
}

// skinPeg is a peg of a skin in its shell; it widens away from the shell.
type skinPeg struct {
	tip    r3.Vec
	top    float64 // height of its other end
	radius float64 // at the tip
}

func skinSides() [2]*skinSide {
	return [2]*skinSide{Lower: {half: Lower, shell: LowerShell, skin: LowerSkin}, Upper: {half: Upper, shell: UpperShell, skin: UpperSkin}}
}

// hang takes a place from the mould frame to the one in which the side hangs, and back.
func (s *skinSide) hang(v r3.Vec) r3.Vec {
	if s.half == Lower {
		return v
	}
	return turnedOver(v)
}

// stand takes a place from the mould frame to the one in which the side stands, and back.
func (s *skinSide) stand(v r3.Vec) r3.Vec {
	if s.half == Upper {
		return v
	}
	return turnedOver(v)
}

// exit is the way the side leaves.
func (s *skinSide) exit() r3.Vec {
	if s.half == Upper {
		return r3.Vec{Z: 1}
	}
	return r3.Vec{Z: -1}
}

// planSkin does all that needs no booleans on the pieces.
func planSkin(ctx context.Context, pool *solid.Pool, part *mesh.Mesh, o SkinOptions) (*skinMould, error) {
	o.Progress.tell("choosing the split", 0)
	if err := oneBody(part); err != nil {
		return nil, fmt.Errorf("tooling: %w", err)
	}
	d := o.Direction
	if r3.Norm(d) == 0 {
		var err error
		if d, err = softRule.direction(ctx, part, o.Show); err != nil {
			return nil, err
		}
	}
	m, placing, err := place(part, d, o.ShrinkPct)
	if err != nil {
		return nil, err
	}
	mould := &Mould{Family: SkinFamily, Place: placing, Part: m}
	p, err := softRule.split(ctx, m, o.Show)
	if err != nil {
		return nil, fmt.Errorf("tooling: %w", err)
	}
	if o.Cavities <= 1 {
		return planSkinOf(ctx, pool, o, mould, p, nil)
	}
	ways, err := packSoft(ctx, pool, m, p, PackOptions{Cavities: o.Cavities, GapMM: o.gap().of(o.CavityGapMM), WallMM: o.LandMM + o.SkinMM + o.ShellMM + o.WallMM,
		MostMM: r2.Vec{X: o.BuildVolumeMM.X, Y: o.BuildVolumeMM.Y}})
	if err != nil {
		return nil, err
	}
	return firstWay(ctx, ways, func(c *softCavities) (*skinMould, error) {
		return planSkinOf(ctx, pool, o, c.mould(mould), partings(p, c.places), c)
	})
}

// planSkinOf plans the mould of a part whose split is known, or of several cavities in their places.
func planSkinOf(ctx context.Context, pool *solid.Pool, o SkinOptions, m *Mould, p *mouldability.Parting, many *softCavities) (*skinMould, error) {
	b := &skinMould{opt: o, mould: m, parting: p, many: many, grow: 1 / (1 - o.SiliconeShrinkPct/100), sides: skinSides()}
	b.out = &Skin{Set: &Set{Mould: m, Casting: []string{UpperSkin, UpperShell, LowerSkin, LowerShell}}, Parting: p, PlateMM: o.PlateMM}
	m.takeLine(p)
	o.Progress.tell("shaping the skins", 0.1)
	if err := b.shape(ctx, pool); err != nil {
		return nil, err
	}
	o.Progress.tell("placing bolts and keys", 0.4)
	if err := pool.Do(ctx, b.arrange); err != nil {
		return nil, err
	}
	if err := b.stitch(ctx); err != nil {
		return nil, err
	}
	return b, b.placeFeed()
}

// grown takes a place of the casting stage to the pouring stage: away from the mould's axis at the height
// of the line by the silicone's shrinkage.
func (b *skinMould) grown(v r3.Vec) r3.Vec { return swollen(v, b.grow, b.lineZ()) }

// cured takes a place of the pouring stage to the casting stage.
func (b *skinMould) cured(v r3.Vec) r3.Vec { return swollen(v, 1/b.grow, b.lineZ()) }

func (b *skinMould) lineZ() float64 { return (b.parting.MinZ + b.parting.MaxZ) / 2 }

// lifted is where a place of the upper side is while silicone is poured: the plate lies between.
func (b *skinMould) lifted(v r3.Vec) r3.Vec { return r3.Vec{X: v.X, Y: v.Y, Z: v.Z + b.opt.PlateMM} }
