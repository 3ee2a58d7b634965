package tooling

import (
	"fmt"

	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// multiply makes a tray of one cavity one of several, each poured by itself up to the common brim. outline
// is that of the one.
func (b *trayMould) multiply(outline Outline) (err error) {
	o := b.opt
	// Neighbours share a stretch of the moat between their brims.
	packs, err := PackCavities(outline, PackOptions{Cavities: o.Cavities, GapMM: max(o.CavityGapMM, 2*o.LandMM+o.MoatMM), WallMM: o.WallMM,
		MostMM: r2.Vec{X: o.BuildVolumeMM.X, Y: o.BuildVolumeMM.Y}})
	if err != nil {
		return err
	}
	m, places := b.mould, packs[0].Places
	m.Cavities, m.Place = places, m.Place.Placed(places[0])
	m.Part = CavityMeshes(m.Part, places)
	m.LineMM, m.LineOnShowMM = m.LineMM*float64(len(places)), m.LineOnShowMM*float64(len(places))
	b.out.OpenMM2 *= float64(len(places))
	var top []bool
	var line [][]r3.Vec
	for _, c := range places {
		top = append(top, b.top...)
		for _, l := range m.Line {
			moved := make([]r3.Vec, len(l))
			for i, v := range l {
				moved[i] = c.into3(v)
			}
			line = append(line, moved)
		}
	}
	b.top, m.Line, m.Shadow = top, line, placedOutline(m.Shadow, places)
	b.outline = placedOutline(outline, places)
	if b.part, err = b.k.FromMesh(m.Part); err != nil {
		return fmt.Errorf("tooling: parts: %w", err)
	}
	return nil
}

// bookCavities divides the ledger's cavity among the cavities, each measured on the tray as built.
func (b *trayMould) bookCavities(l *ledger, tray *solid.Solid) error {
	m := b.mould
	n := len(m.Cavities)
	if n <= 1 {
		return nil
	}
	space, err := l.block.Subtract(tray)
	if err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	return m.divideCavity(l, space, m.Part.VolumeMM3()/float64(n), func(i int) (*solid.Solid, error) {
		return m.cavityRoom(b.k, b.outline[i:i+1], min(cellRoomMM, b.opt.LandMM/2))
	})
}
