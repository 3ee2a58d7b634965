package tooling

import (
	"context"
	"errors"
	"fmt"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// TrayFamily names the moulds that TrayMould builds.
const TrayFamily = "open-face tray"

// Names of a tray's pieces.
const (
	Tray         = "tray"
	CarrierPiece = "carrier"
)

// OpenTray is an open-face tray with the evidence that it works:
//
//  1. the tray is set level on its three screws;
//  2. a carrier, if there is one, hangs by its tabs on the rim;
//  3. resin is poured up to the brim; the surplus goes over the brim into the moat;
//  4. the casting, with the carrier in it, leaves upward; the tabs are snapped off at their score lines.
//
// Pieces holds the tray and the carrier with its tabs and holes, as printed. The pieces are in the mould
// frame: the poured face lies level, upward.
type OpenTray struct {
	*Set
	LevelMM float64 // height of the poured face, which is the brim's
	OpenMM2 float64 // area of the poured face
	Carried *Carried
}

// Carried is how a carrier hangs in the tray and holds to the casting.
type Carried struct {
	Tabs, AirHoles, BondHoles int
	// BondMM2 is the area on which casting and carrier touch, HoleBondMM2 what of it lies in holes.
	BondMM2, HoleBondMM2 float64
	SunkMM3              float64 // of the carrier, under the poured face
	// LiftN is what the resin pushes up with when the tray is full; WeightN what the carrier weighs.
	LiftN, WeightN float64
}

// ErrCarrier is the cause when a carrier cannot be over-moulded where it lies.
var ErrCarrier = errors.New("the carrier does not fit the tray")

// TrayMould builds an open-face tray for a part with one flat face, which is poured open to the air, and
// over-moulds a carrier in it if one is given. The part must be closed. The mould comes back even when
// checks fail, so that the caller can say why; Failed lists them.
func TrayMould(ctx context.Context, pool *solid.Pool, part *mesh.Mesh, opt TrayOptions) (*Set, error) {
	t, err := BuildTray(ctx, pool, part, opt)
	if err != nil {
		return nil, err
	}
	return t.Set, nil
}

// BuildTray is TrayMould with all that is known of the tray.
func BuildTray(ctx context.Context, pool *solid.Pool, part *mesh.Mesh, opt TrayOptions) (*OpenTray, error) {
	o := opt.withDefaults()
	if err := o.check(len(part.Tris)); err != nil {
		return nil, err
	}
	b, err := planTray(part, o)
	if err != nil {
		return nil, err
	}
	err = pool.Do(ctx, func(k *solid.Kernel) error {
		b.k = k
		if err := b.arrange(ctx); err != nil {
			return err
		}
		return b.cut(ctx)
	})
	if err != nil {
		return nil, err
	}
	if err := b.verify(ctx); err != nil {
		return nil, err
	}
	o.Progress.tell("done", 1)
	return b.out, nil
}

// trayMould is a tray under construction.
type trayMould struct {
	opt     TrayOptions
	out     *OpenTray
	mould   *Mould
	k       *solid.Kernel // while bodies are made
	level   float64
	top     []bool     // facets of the part that are the poured face
	carrier *mesh.Mesh // as given, mould frame; nil for none
	outline Outline    // the part from above, its holes filled
	under   *underside

	moat      []slab
	moatOutMM float64 // from the outline to the moat's outer edge
	moatHigh  float64 // its depth
	tabs      []tab
	holes     []hole
	screws    []r2.Vec
	thread    *Thread // of the levelling screws; nil for none
	foot      r2.Box
	letters   []Tool

	part, poured, casting *solid.Solid // what the tray leaves of its block; with hollows that a carrier fills; less the carrier
	body                  *solid.Solid // the raw tray
	casts                 *mesh.Mesh   // casting and carrier in one
}

// planTray chooses the poured face and brings part and carrier into the mould frame.
func planTray(part *mesh.Mesh, o TrayOptions) (*trayMould, error) {
	o.Progress.tell("choosing the poured face", 0)
	if err := oneBody(part); err != nil {
		return nil, fmt.Errorf("tooling: tray: %w", err)
	}
	face, err := findOpenFace(part, o.Carrier, o)
	if err != nil {
		return nil, err
	}
	m, placing, err := place(part, face.out, o.ShrinkPct)
	if err != nil {
		return nil, err
	}
	b := &trayMould{opt: o}
	m, b.level, b.top = levelled(m)
	b.mould = &Mould{Family: TrayFamily, Place: placing, Part: m}
	b.out = &OpenTray{Set: &Set{Mould: b.mould, Casting: []string{Tray}}, LevelMM: b.level}
	for f, top := range b.top {
		if top {
			b.out.OpenMM2 += geom.Area(m.Facet(f))
		}
	}
	for _, loop := range borders(m, b.top) {
		var line []r3.Vec
		for _, v := range loop {
			line = append(line, m.Verts[v])
		}
		b.mould.Line, b.mould.Shadow = append(b.mould.Line, line), append(b.mould.Shadow, flat(line))
	}
	b.lengths()
	if o.Carrier != nil {
		b.out.Casting = []string{CarrierPiece, Tray}
		b.carrier = carriedInto(o.Carrier, placing)
	}
	return b, nil
}

// lengths measures the poured face's border, where the casting's edge is left sharp by the level. It lies on
// show faces where there are some on both sides, as a parting line does.
func (b *trayMould) lengths() {
	m := b.mould.Part
	for f, adj := range m.Adjacency() {
		for k, g := range adj {
			if !b.top[f] || g == mesh.NoFacet || b.top[g] {
				continue
			}
			l := r3.Norm(r3.Sub(m.Verts[m.Tris[f][k]], m.Verts[m.Tris[f][(k+1)%3]]))
			b.mould.LineMM += l
			if b.opt.Show != nil && b.opt.Show[f] && b.opt.Show[g] {
				b.mould.LineOnShowMM += l
			}
		}
	}
}

// carriedInto brings a carrier into the mould frame at its own size: it is rigid, so its middle goes where
// the part's growth takes it, and the rest with it.
func carriedInto(c *mesh.Mesh, p Placing) *mesh.Mesh {
	if p.Scale == (r3.Vec{X: 1, Y: 1, Z: 1}) {
		return c.Map(p.Into)
	}
	box := c.Bounds()
	middle := r3.Scale(0.5, r3.Add(box.Min, box.Max))
	rigid := p
	rigid.Scale = r3.Vec{X: 1, Y: 1, Z: 1}
	shift := r3.Sub(p.Into(middle), rigid.Into(middle))
	return c.Map(func(v r3.Vec) r3.Vec { return r3.Add(rigid.Into(v), shift) })
}
