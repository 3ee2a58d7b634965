package tooling

import (
	"context"
	"fmt"
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
	"mouldwright/internal/offset"

	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// nestDraftDeg widens the room for the casting toward the slot.
	nestDraftDeg = 0.5
	// restShare is the least share of a side, seen along z, that must be no show face for the jig to bear
	// on that alone: under it the casting would rock.
	restShare = 0.1
)

// shape makes the room for the casting in nest and cap: the casting's underside, and its top side, moved
// off by the clearance and swept to the slot, so that the casting drops in whatever it looks like.
func (j *trimJig) shape(ctx context.Context) error {
	for side := range j.rooms {
		room, err := j.room(ctx, side == 1)
		if err != nil {
			return fmt.Errorf("tooling: %s: %w", [2]string{TrimNest, TrimCap}[side], err)
		}
		j.rooms[side] = room
		j.opt.Progress.tell("shaping the jig", 0.3*float64(side+1))
	}
	return nil
}

// turnedOver turns the mould frame over for the cap, so that one code makes both.
func turnedOver(v r3.Vec) r3.Vec { return r3.Vec{X: v.X, Y: -v.Y, Z: -v.Z} }

// room lists the closed bodies, which may cross, that the room in the nest, or in the cap, consists of.
func (j *trimJig) room(ctx context.Context, lid bool) ([]*mesh.Mesh, error) {
	turn := func(v r3.Vec) r3.Vec { return v }
	top := j.lineZ[1] + j.riseMM()
	if lid {
		turn, top = turnedOver, -j.lineZ[0]+j.riseMM()
	}
	o := j.opt
	sheet, err := offset.Under(ctx, j.cast.Map(turn), offset.UnderOptions{ThicknessMM: o.ClearanceMM, TopMM: top, DraftDeg: nestDraftDeg, ErrorMM: o.ErrorMM, Workers: o.Workers})
	if err != nil {
		return nil, err
	}
	// Moved up by the clearance, the room's level places lie where the casting's do: the casting stands on
	// them and the flash meets the slot. Upright walls keep the clearance.
	up := o.ClearanceMM - 2*o.ErrorMM
	rooms := []*mesh.Mesh{shellOf(sheet, up).Map(turn)}
	show, rest := j.showing(turn)
	if show != nil && !rest {
		for f := range show.Tris {
			j.out.ShowTouchMM2 += geom.Area(show.Facet(f))
		}
	}
	if show != nil && rest {
		relief, err := offset.Under(ctx, show, offset.UnderOptions{ThicknessMM: o.ClearanceMM + o.ReliefMM, TopMM: top, DraftDeg: nestDraftDeg, ErrorMM: o.ErrorMM, Workers: o.Workers})
		if err != nil {
			return nil, err
		}
		rooms = append(rooms, shellOf(relief, 0).Map(turn))
	}
	return rooms, nil
}

// riseMM is how far a room reaches past the parting line: past everything that the slot cuts.
func (j *trimJig) riseMM() float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range j.surface.Rim {
		lo, hi = min(lo, j.surface.Verts[v].Z), max(hi, j.surface.Verts[v].Z)
	}
	return max(hi-j.lineZ[1], j.lineZ[0]-lo, 0) + j.opt.BladeGapMM + overSurfaceMM
}

// shellOf closes a sheet upward, far over anything that it is cut from, and moves it.
func shellOf(s *offset.Sheet, up float64) *mesh.Mesh {
	m := compact(apron(&Surface{Verts: s.Verts, Tris: s.Tris}, s.TopMM+overshootMM, true))
	return m.Map(func(v r3.Vec) r3.Vec {
		if v.Z < s.TopMM+overshootMM {
			v.Z += up
		} else {
			v.Z += up + overshootMM
		}
		return v
	})
}

// showing picks the show faces that look to a side, nil for none. rest says that enough of that side is
// no show face to bear the casting.
func (j *trimJig) showing(turn func(r3.Vec) r3.Vec) (show *mesh.Mesh, rest bool) {
	if j.opt.Show == nil {
		return nil, true
	}
	m := j.part.Map(turn)
	s := &mesh.Mesh{Verts: m.Verts}
	bears, all := 0.0, 0.0
	for f, t := range m.Tris {
		tri := m.Facet(f)
		down := -tri.Normal().Z * geom.Area(tri) / max(r3.Norm(tri.Normal()), 1e-300)
		if down <= 0 {
			continue
		}
		all += down
		if j.opt.Show[f] {
			s.Tris = append(s.Tris, t)
		} else {
			bears += down
		}
	}
	if len(s.Tris) == 0 {
		return nil, true
	}
	return compact(s), bears >= restShare*all
}
