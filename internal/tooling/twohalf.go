package tooling

import (
	"cmp"
	"context"
	"errors"
	"fmt"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// TwoHalves builds a mould of two rigid halves for a part that leaves it along ±Direction. The part
// must be closed, and free of undercuts along that direction (mouldability.Analyse says so): otherwise
// no parting surface starts at its parting line, and the error matches ErrLineOverItself, or the mould
// comes back with a failed check.
//
// The mould comes back even when checks fail, so that the caller can say why; Failed lists them.
func TwoHalves(ctx context.Context, pool *solid.Pool, part *mesh.Mesh, opt TwoHalfOptions) (*Mould, error) {
	o := opt.withDefaults()
	if err := o.check(len(part.Tris)); err != nil {
		return nil, err
	}
	b, err := planTwoHalves(ctx, part, o)
	if err != nil {
		return nil, err
	}
	o.Progress.tell("cutting the halves", 0.35)
	if err := buildPlanned(ctx, pool, b, o.Progress); err != nil {
		return nil, err
	}
	return b.mould, nil
}

// ErrBodies says that the part is not one body: one sprue does not fill two, and a void inside has no
// mould.
var ErrBodies = errors.New("the part is not one body")

// twoHalves is a mould of two halves under construction.
type twoHalves struct {
	opt          TwoHalfOptions
	mould        *Mould
	parting      *mouldability.Parting
	layout       *Layout
	bolt         *Bolt
	boltNote     string // what the maker should know of the thread taken
	shadow       Outline
	field        *HeightField // the parting surface
	top          *HeightField // the part's upper facets
	topSource    []int32      // facet of top → facet of the part as given
	low          *HeightField // its lower facets, made by bottom
	lowSource    []int32
	z0, z1       float64 // the block's bottom and top
	feed         feed
	upper, lower *mesh.Mesh // raw halves
	// suits refuses places that a mould of another family has no use for; nil where all will do.
	suits func(Sprue) error
	// underMM is what a runner needs under the parting surface; cavities is nil for one cavity.
	underMM  float64
	cavities *manyCavities
}

// planTwoHalves does all that needs no booleans: frame, parting line, layout, surface, raw halves.
func planTwoHalves(ctx context.Context, part *mesh.Mesh, o TwoHalfOptions) (*twoHalves, error) {
	o.Progress.tell("finding the parting line", 0)
	if err := oneBody(part); err != nil {
		return nil, fmt.Errorf("tooling: %w", err)
	}
	m, placing, err := place(part, o.Direction, o.ShrinkPct)
	if err != nil {
		return nil, err
	}
	b := &twoHalves{opt: o, mould: &Mould{Family: "two rigid halves", Place: placing, Part: m}}
	b.parting, err = mouldability.Part(ctx, m, mouldability.PartOptions{Show: o.Show, AtZMM: o.PartingZMM})
	if err != nil {
		return nil, err
	}
	if o.Cavities > 1 {
		return planCavities(ctx, b)
	}
	return b, b.lay(ctx)
}

// lay goes from the parting line to the raw halves.
func (b *twoHalves) lay(ctx context.Context) (err error) {
	b.mould.LineMM, b.mould.LineOnShowMM = b.parting.LengthMM, b.parting.ShowLengthMM
	b.outline()
	b.top, b.topSource = facetsAs(b.parting, Upper)
	if err := b.arrange(); err != nil {
		return err
	}
	b.opt.Progress.tell("laying the parting surface", 0.15)
	foot := b.layout.Footprint
	s, err := newSurface(ctx, b.parting, foot)
	if err != nil {
		return err
	}
	b.mould.Surface = s
	b.field = NewHeightField(s.asMesh())
	if b.cavities != nil && !b.cavities.apart() {
		if err := b.layRunner(); err != nil {
			return err
		}
	}
	b.upper, b.lower, err = stitchHalves(b.parting, s, b.mould.Block)
	return err
}

// outline takes the parting loops' projection: the part's shadow.
func (b *twoHalves) outline() {
	for _, l := range b.parting.Loops {
		var flat []r2.Vec
		var line []r3.Vec
		for _, c := range steps(b.parting, l) {
			v := b.parting.Mesh.Verts[c[0]]
			flat = append(flat, r2.Vec{X: v.X, Y: v.Y})
		}
		for _, v := range l.Verts {
			line = append(line, b.parting.Mesh.Verts[v])
		}
		b.shadow = append(b.shadow, flat)
		b.mould.Line = append(b.mould.Line, line)
		b.mould.Shadow = append(b.mould.Shadow, flat)
	}
}

// arrange sizes the block and finds places for the features in plan: first the sprue, whose place the
// part alone decides, then all that stands around the part.
func (b *twoHalves) arrange() error {
	if err := b.chooseHeight(0); err != nil {
		return err
	}
	if b.cavities != nil {
		b.feedCavities()
	} else if err := b.planFeed(); err != nil {
		return err
	}
	if b.boltNote != "" {
		b.note("%s", b.boltNote)
	}
	o := b.opt
	box := b.mould.Part.Bounds()
	key := KeyOptions{ClearanceMM: o.KeyClearance}.withDefaults()
	lo := LayoutOptions{
		MaxPitchMM: o.BoltPitchMM, Keys: o.Keys, Pry: PryOptions{PerBlock: o.PrySlots}, Gutter: o.Gutter, WallMM: o.WallMM,
		KeyRadiusMM: key.RadiusMM + key.RootMM + key.ClearanceMM, MostMM: r2.Vec{X: o.BuildVolumeMM.X, Y: o.BuildVolumeMM.Y},
		KeepOff: append(b.sidePlans(), b.runnerPlans()...),
	}
	lo.OddKeyRadiusMM = lo.KeyRadiusMM + key.OddRadiusMM
	if b.bolt != nil {
		lo.BoltRadiusMM = b.bolt.RadiusMM()
	}
	if o.Label.Text != "" {
		lo.LabelWidthMM = leastLabelMM
	}
	shadow := r2.Box{Min: r2.Vec{X: box.Min.X, Y: box.Min.Y}, Max: r2.Vec{X: box.Max.X, Y: box.Max.Y}}
	var err error
	if b.layout, err = PlaceFeatures(b.runnerRoom(shadow), b.shadow, lo); err != nil {
		return err
	}
	f := b.layout.Footprint
	b.mould.Block = r3.Box{Min: r3.Vec{X: f.Min.X, Y: f.Min.Y, Z: b.z0}, Max: r3.Vec{X: f.Max.X, Y: f.Max.Y, Z: b.z1}}
	return b.endAtSides()
}

// chooseHeight sets the block's bottom and top so that the part, a key anywhere on the parting surface,
// and what needs overMM above that surface, have room; and the bolts for that height.
func (b *twoHalves) chooseHeight(overMM float64) error {
	o := b.opt
	box := b.mould.Part.Bounds()
	z0, z1 := min(box.Min.Z-o.FloorMM, b.parting.MinZ-b.underMM), max(box.Max.Z+o.FloorMM, b.parting.MaxZ+overMM)
	if o.Keys >= 0 {
		z0, z1 = KeyOptions{ClearanceMM: o.KeyClearance}.withDefaults().room(b.parting, z0, z1)
	}
	b.bolt, b.z0, b.z1 = nil, z0, z1
	if o.Bolt == NoBolts {
		return nil
	}
	if o.Bolt != "" {
		return b.fitBolt(o.Bolt)
	}
	var first error
	for i, thread := range defaultThreads {
		err := b.fitBolt(thread)
		if err == nil {
			b.boltNote = ""
			if i > 0 {
				b.boltNote = fmt.Sprintf("%s bolts: %s screws are not long enough for this block", thread, defaultThreads[0])
			}
			return nil
		}
		if !errors.Is(err, ErrNoBolt) {
			return err
		}
		first = cmp.Or(first, err)
	}
	b.boltNote = fmt.Sprintf("no bolts, hold the mould with clamps or bands: %v", first)
	return nil
}

// defaultThreads are tried in this order when the maker names no thread: larger screws come longer.
var defaultThreads = []string{"M4", "M5", "M6", "M8"}

// fitBolt takes a thread for the block's height, and makes the block higher where the seats need it.
func (b *twoHalves) fitBolt(thread string) error {
	bolt, z0, z1, err := chooseBlockBolt(thread, b.parting, b.z0, b.z1)
	if err != nil {
		return err
	}
	b.bolt, b.z0, b.z1 = &bolt, z0, z1
	return nil
}

// leastLabelMM is the clear width of a side asked for when there is a label; the text shrinks to it.
const leastLabelMM = 25

// room makes a block from z0 to z1 high enough for a key wherever on the parting surface it stands, over its
// tip and under its root.
func (o KeyOptions) room(p *mouldability.Parting, z0, z1 float64) (float64, float64) {
	return min(z0, p.MinZ-o.RootMM-o.LeastCoverMM), max(z1, p.MaxZ+o.HeightMM+o.ClearanceMM+o.LeastCoverMM)
}

// blockBolt is chooseBlockBolt where a mould may have none; the layout learns how wide it is.
func (lo *LayoutOptions) blockBolt(thread string, p *mouldability.Parting, z0, z1 float64) (*Bolt, float64, float64, error) {
	if thread == NoBolts {
		return nil, z0, z1, nil
	}
	bolt, low, high, err := chooseBlockBolt(thread, p, z0, z1)
	if err != nil {
		return nil, z0, z1, err
	}
	lo.BoltRadiusMM = bolt.RadiusMM()
	return &bolt, low, high, nil
}

// chooseBlockBolt picks the screw for the block's height and thickens the block where the nut or the
// head would come too near to the parting surface.
func chooseBlockBolt(thread string, p *mouldability.Parting, z0, z1 float64) (Bolt, float64, float64, error) {
	const step, most = 0.5, 60.0 // mm of extra height: finer than anyone minds; more is another design
	opt := BoltOptions{Thread: thread}
	var last error
	for extra := 0.0; extra <= most; extra += step {
		bolt, err := ChooseBolt(z1-z0+extra, opt)
		if err != nil {
			last = cmp.Or(last, err) // the one for the block as asked
			continue
		}
		below := max(0, z0-(p.MinZ-bolt.Options.MinWallMM-bolt.PocketMM))
		above := max(0, p.MaxZ+bolt.Options.MinWallMM+bolt.CounterboreMM-z1)
		if below+above <= extra {
			return bolt, z0 - (extra - above), z1 + above, nil
		}
	}
	if last == nil {
		last = ErrNoBolt
	}
	return Bolt{}, 0, 0, fmt.Errorf("tooling: bolts for a block %.1f mm high: %w; choose another thread, or \"none\"", z1-z0, last)
}

// facetsAs is the part's surface that a half touches, as a height field, and the facets of the part as
// given that its facets lie on.
func facetsAs(p *mouldability.Parting, h Half) (*HeightField, []int32) {
	m := &mesh.Mesh{Verts: p.Mesh.Verts}
	var source []int32
	for f, t := range p.Mesh.Tris {
		if p.Upper[f] == (h == Upper) {
			m.Tris = append(m.Tris, t)
			source = append(source, p.Source[f])
		}
	}
	return NewHeightField(m), source
}
