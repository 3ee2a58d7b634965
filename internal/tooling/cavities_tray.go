package tooling

import (
	"fmt"
	"math"

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
	var lines []LedgerLine
	for _, x := range m.Ledger {
		if x.Name != "cavity" {
			lines = append(lines, x)
		}
	}
	space, err := l.block.Subtract(tray)
	if err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	sum, one := 0.0, m.Part.VolumeMM3()/float64(n)
	for i := range n {
		room, err := b.k.Region(b.outline[i : i+1])
		if err != nil {
			return fmt.Errorf("tooling: cavity %d: %w", i+1, err)
		}
		if room, err = room.Offset(min(cellRoomMM, b.opt.LandMM/2), true); err != nil {
			return fmt.Errorf("tooling: cavity %d: %w", i+1, err)
		}
		loops, err := room.Loops()
		if err != nil {
			return fmt.Errorf("tooling: cavity %d: %w", i+1, err)
		}
		prism, err := b.k.Prism(loops, m.Block.Min.Z-overshootMM, m.Block.Max.Z+overshootMM)
		if err != nil {
			return fmt.Errorf("tooling: cavity %d: %w", i+1, err)
		}
		v, err := volumeOf(space.Intersect(prism))
		if err != nil {
			return err
		}
		sum += v
		name := CavityName(i+1, n)
		lines = append(lines, LedgerLine{Name: name, VolumeMM3: v})
		m.Checks = append(m.Checks, cavityCheck(name+" volume", v, one))
	}
	m.Ledger = lines
	whole := l.of("cavity")
	m.Checks = append(m.Checks, Check{Name: "cavities make up the space", OK: math.Abs(sum-whole) <= ledgerTol*l.blockMM3, Value: math.Abs(sum - whole), Limit: ledgerTol * l.blockMM3, Unit: "mm³",
		Words: fmt.Sprintf("%d cavities come to %.6f mm³, what nothing else explains of the block to %.6f mm³", n, sum, whole)})
	return nil
}
