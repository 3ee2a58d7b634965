package tooling

import (
	"context"
	"fmt"
	"math"

	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// cut makes nest and cap: prisms round the casting that end half a slot under and over the parting surface,
// less the room for the casting.
func (j *trimJig) cut(ctx context.Context, k *solid.Kernel) error {
	if err := j.outline(k); err != nil {
		return err
	}
	part := j.part.Bounds()
	lo, hi := j.heights()
	gap := j.opt.BladeGapMM
	j.bottom, j.roof = min(part.Min.Z, lo-gap)-j.opt.FloorMM, max(part.Max.Z, hi+gap)+j.opt.FloorMM
	over, err := k.FromMesh(compact(apron(j.moved(-gap), j.roof+overshootMM, true)))
	if err != nil {
		return fmt.Errorf("tooling: %s: %w", TrimNest, err)
	}
	under, err := k.FromMesh(compact(apron(j.moved(gap), j.bottom-overshootMM, false)))
	if err != nil {
		return fmt.Errorf("tooling: %s: %w", TrimCap, err)
	}
	nest, err := j.side(k, 0, j.bottom, hi, over)
	if err != nil {
		return fmt.Errorf("tooling: %s: %w", TrimNest, err)
	}
	lid, err := j.side(k, 1, lo, j.roof, under)
	if err != nil {
		return fmt.Errorf("tooling: %s: %w", TrimCap, err)
	}
	for _, p := range []struct {
		name string
		s    *solid.Solid
		exit float64
	}{{TrimNest, nest, -1}, {TrimCap, lid, 1}} {
		empty, err := p.s.IsEmpty()
		if err != nil {
			return fmt.Errorf("tooling: %s: %w", p.name, err)
		}
		if empty {
			return fmt.Errorf("tooling: %s: %w: nothing of it is left outside the casting; widen the guides", p.name, ErrTrim)
		}
		if err := j.mould.addPiece(ctx, p.name, p.s, p.exit); err != nil {
			return err
		}
	}
	slot, err := over.Intersect(under)
	if err != nil {
		return fmt.Errorf("tooling: blade slot: %w", err)
	}
	return j.account(k, nest, lid, slot)
}

// outline is the jig's plan: the outer parting line, widened by the guides, as far as the parting surface
// reaches.
func (j *trimJig) outline(k *solid.Kernel) error {
	r, err := k.Region(Outline(j.line).Outer())
	if err != nil {
		return fmt.Errorf("tooling: trimming jig: %w", err)
	}
	if r, err = r.Offset(j.opt.GuideMM, true); err != nil {
		return fmt.Errorf("tooling: trimming jig: %w", err)
	}
	foot, err := k.Region([][]r2.Vec{j.rim})
	if err != nil {
		return fmt.Errorf("tooling: trimming jig: %w", err)
	}
	if foot, err = foot.Offset(-insideMM, false); err != nil {
		return fmt.Errorf("tooling: trimming jig: %w", err)
	}
	if r, err = r.Intersect(foot); err != nil {
		return fmt.Errorf("tooling: trimming jig: %w", err)
	}
	loops, err := r.Loops()
	if err != nil {
		return fmt.Errorf("tooling: trimming jig: %w", err)
	}
	j.plan = Outline(loops).Outer()
	if len(j.plan) == 0 {
		return fmt.Errorf("tooling: %w: the parting line encloses nothing", ErrTrim)
	}
	return nil
}

// insideMM keeps the jig's plan off the parting surface's own edge.
const insideMM = 0.01

// heights are the least and the greatest height of the parting surface.
func (j *trimJig) heights() (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, t := range j.surface.Tris {
		for _, v := range t {
			lo, hi = min(lo, j.surface.Verts[v].Z), max(hi, j.surface.Verts[v].Z)
		}
	}
	return lo, hi
}

// moved is the parting surface, higher by dz.
func (j *trimJig) moved(dz float64) *Surface {
	m := j.surface.asMesh().Map(func(v r3.Vec) r3.Vec { v.Z += dz; return v })
	return &Surface{Verts: m.Verts, Tris: m.Tris}
}

// side is a prism between two heights, less what lies beyond the slot and less the room.
func (j *trimJig) side(k *solid.Kernel, which int, z0, z1 float64, beyond *solid.Solid) (*solid.Solid, error) {
	body, err := k.Prism(j.plan, z0, z1)
	if err != nil {
		return nil, err
	}
	tools := []*solid.Solid{beyond}
	for _, m := range j.rooms[which] {
		s, err := k.FromMesh(m)
		if err != nil {
			return nil, err
		}
		tools = append(tools, s)
	}
	if body, err = body.Subtract(tools...); err != nil {
		return nil, err
	}
	// Chips that the room leaves between casting and rim are no part of the jig.
	parts, err := body.Parts()
	if err != nil || len(parts) < 2 {
		return body, err
	}
	best, most := body, 0.0
	for _, p := range parts {
		v, err := volumeOf(p, nil)
		if err != nil {
			return nil, err
		}
		if v > most {
			best, most = p, v
		}
	}
	return best, nil
}

// account adds up the jig's block, closed on the casting.
func (j *trimJig) account(k *solid.Kernel, nest, lid, slot *solid.Solid) error {
	casting, err := k.FromMesh(j.part)
	if err != nil {
		return fmt.Errorf("tooling: casting: %w", err)
	}
	box, _ := Outline(j.plan).Bounds()
	part := j.part.Bounds()
	j.out.Block = r3.Box{Min: r3.Vec{X: min(box.Min.X, part.Min.X), Y: min(box.Min.Y, part.Min.Y), Z: j.bottom}, Max: r3.Vec{X: max(box.Max.X, part.Max.X), Y: max(box.Max.Y, part.Max.Y), Z: j.roof}}
	block, err := k.Box(j.out.Block)
	if err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	inside, err := k.Prism(j.plan, j.bottom, j.roof)
	if err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	beside, err := block.Subtract(inside)
	if err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	l := &ledger{k: k, block: block}
	l.solid(TrimNest, nest)
	l.solid(TrimCap, lid)
	l.solid(castingName, casting)
	if err := l.spaces([]share{{name: "beside the jig", tools: []Tool{{Solid: beside}}}, {name: "blade slot", tools: []Tool{{Solid: slot}}}}); err != nil {
		return err
	}
	for i := range l.lines {
		if l.lines[i].Name == "cavity" {
			l.lines[i].Name = "clearance round the casting"
		}
	}
	l.judge(j.mould, "jig is closed", "")
	j.out.Ledger = l.lines
	return nil
}
