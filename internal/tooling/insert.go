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

// InsertFamily names the moulds that InsertMould builds.
const InsertFamily = "cradle and silicone insert"

// Names of an insert mould's pieces. InsertBody is poured, not printed.
const (
	Cradle     = "cradle"
	PatternCap = "pattern cap"
	CastingCap = "casting cap"
	InsertBody = "silicone insert"
)

// Insert is a mould of a cradle, a silicone insert and two caps, with the evidence that each stage of its
// making and use works:
//
//  1. the pattern cap, which carries the master, closes the cradle; silicone fills the space between;
//  2. the pattern cap leaves the cured insert, which may come out of the cradle;
//  3. resin is poured into the insert, the casting cap with the core closes it, the surplus goes over the
//     land into the overflow gutter;
//  4. the casting cap leaves the casting, and the casting leaves the insert.
//
// Pieces holds the four bodies as made: the cradle and the pattern cap at the size at which silicone is
// poured, the insert as cured, the casting cap at the size at which the part is cast.
type Insert struct {
	*Set
	Parting   *mouldability.Parting // of the compensated part; lower facets are the insert's
	Outer     *mesh.Mesh            // the insert's outer face, which is the cradle's cavity, as poured
	Thickness Thickness
}

// InsertMould builds a mould of a cradle, a silicone insert, a pattern cap and a casting cap. The part
// must be closed. The mould comes back even when checks fail, so that the caller can say why; Failed lists them.
func InsertMould(ctx context.Context, pool *solid.Pool, part *mesh.Mesh, opt InsertOptions) (*Mould, error) {
	in, err := BuildInsert(ctx, pool, part, opt)
	if err != nil {
		return nil, err
	}
	return in.Mould, nil
}

// BuildInsert is InsertMould with all that is known of the insert.
func BuildInsert(ctx context.Context, pool *solid.Pool, part *mesh.Mesh, opt InsertOptions) (*Insert, error) {
	b, err := buildInsertMould(ctx, pool, part, opt)
	if err != nil {
		return nil, err
	}
	return b.out, nil
}

func buildInsertMould(ctx context.Context, pool *solid.Pool, part *mesh.Mesh, opt InsertOptions) (*insertMould, error) {
	o := opt.withDefaults()
	if err := o.check(len(part.Tris)); err != nil {
		return nil, err
	}
	b, err := planInsert(ctx, pool, part, o)
	if err != nil {
		return nil, err
	}
	o.Progress.tell("cutting the pieces", 0.4)
	if err := buildPlanned(ctx, pool, b, o.Progress); err != nil {
		return nil, err
	}
	return b, nil
}

// insertMould is an insert mould under construction. Lengths of the casting stage are those of the
// compensated part; grown takes them to the stage in which the silicone is poured.
type insertMould struct {
	opt     InsertOptions
	out     *Insert
	mould   *Mould
	parting *mouldability.Parting // of all cavities
	many    *softCavities
	surface *Surface
	field   *HeightField // the parting surface
	grow    float64      // 1/(1 − silicone's shrinkage)
	sheet   *offset.Sheet
	outline Outline // the insert in plan, with its rim
	layout  *Layout
	bolt    *Bolt
	hollow  r3.Box     // of the sheet
	shell   *mesh.Mesh // the insert's outer shape with its pegs, closed over the surface

	lower, upper, pattern *mesh.Mesh // raw: under the surface; over it less the part; over it with the part
	ports, vents          []Sprue
	topOpen               *HeightField // the cap's facets that lie open upward
	topSource             []int32
	boundary              [2]float64 // heights of the parting surface on the block's sides
	lettered              map[string][]Tool
	labelErr              error
}

// planInsert does all that needs no booleans on the pieces.
func planInsert(ctx context.Context, pool *solid.Pool, part *mesh.Mesh, o InsertOptions) (*insertMould, error) {
	o.Progress.tell("choosing the split", 0)
	d := o.Direction
	if r3.Norm(d) == 0 {
		var err error
		if d, err = insertRule.direction(ctx, part, o.Show); err != nil {
			return nil, err
		}
	}
	m, placing, err := place(part, d, o.ShrinkPct)
	if err != nil {
		return nil, err
	}
	mould := &Mould{Family: InsertFamily, Place: placing, Part: m}
	p, err := insertRule.split(ctx, m, o.Show)
	if err != nil {
		return nil, fmt.Errorf("tooling: %w", err)
	}
	if o.Cavities <= 1 {
		return planInsertOf(ctx, pool, o, mould, p, nil)
	}
	ways, err := packSoft(ctx, pool, m, p, PackOptions{Cavities: o.Cavities, GapMM: o.gap().of(o.CavityGapMM), WallMM: o.ringMM() + o.InsertMM + o.WallMM,
		MostMM: r2.Vec{X: o.BuildVolumeMM.X, Y: o.BuildVolumeMM.Y}})
	if err != nil {
		return nil, err
	}
	return firstWay(ctx, ways, func(c *softCavities) (*insertMould, error) {
		return planInsertOf(ctx, pool, o, c.mould(mould), partings(p, c.places), c)
	})
}

// planInsertOf plans the mould of a part whose split is known, or of several cavities in their places.
func planInsertOf(ctx context.Context, pool *solid.Pool, o InsertOptions, m *Mould, p *mouldability.Parting, many *softCavities) (*insertMould, error) {
	b := &insertMould{opt: o, mould: m, parting: p, many: many, grow: 1 / (1 - o.SiliconeShrinkPct/100), lettered: map[string][]Tool{}}
	b.out = &Insert{Set: &Set{Mould: m, Casting: []string{InsertBody, Cradle, CastingCap}}, Parting: p}
	m.takeLine(p)
	o.Progress.tell("laying the parting surface", 0.05)
	if err := b.lay(ctx); err != nil {
		return nil, err
	}
	o.Progress.tell("shaping the insert", 0.1)
	if err := b.shape(ctx, pool); err != nil {
		return nil, err
	}
	o.Progress.tell("placing bolts and keys", 0.35)
	if err := pool.Do(ctx, b.arrange); err != nil {
		return nil, err
	}
	return b, b.stitch(ctx)
}

// layReachMM is how far past the part the first parting surface runs: it only has to carry the ring.
func (o InsertOptions) layReachMM() float64 { return 2*o.ringMM() + 2*o.InsertMM + o.WallMM }

// lay makes a first parting surface round the part, on which the silicone's ring is planned.
func (b *insertMould) lay(ctx context.Context) error {
	box := b.mould.Part.Bounds()
	r := b.opt.layReachMM()
	s, err := newSurface(ctx, b.parting, r2.Box{Min: r2.Vec{X: box.Min.X - r, Y: box.Min.Y - r}, Max: r2.Vec{X: box.Max.X + r, Y: box.Max.Y + r}})
	if err != nil {
		return err
	}
	b.surface, b.field = s, NewHeightField(s.asMesh())
	return nil
}

// grown takes a place of the casting stage to the pouring stage: away from the mould's axis at the height
// of the line by the silicone's shrinkage.
func (b *insertMould) grown(v r3.Vec) r3.Vec { return swollen(v, b.grow, b.lineZ()) }

func (b *insertMould) lineZ() float64 { return (b.parting.MinZ + b.parting.MaxZ) / 2 }
