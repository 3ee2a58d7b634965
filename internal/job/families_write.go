package job

import (
	"context"

	"mouldwright/internal/material"
	"mouldwright/internal/sheet"
	"mouldwright/internal/tooling"

	"gonum.org/v1/gonum/spatial/r3"
)

// setReport takes from a set what the report says of it.
func setReport(set *tooling.Set) *MouldReport {
	r := mouldReport(set.Mould)
	for _, st := range set.Stages {
		r.Stages = append(r.Stages, st.Words())
	}
	for i := range r.Pieces {
		r.Pieces[i].Poured = poured(set, r.Pieces[i].Name)
	}
	return r
}

// poured says whether a piece is of silicone.
func poured(set *tooling.Set, name string) bool {
	for _, q := range set.Pours {
		if q.Piece == name {
			return true
		}
	}
	return false
}

// pourReports works out the pours of the silicone bodies: no pigment, the casting's margin, cup and scale.
func pourReports(f *File, silicone *material.Material, set *tooling.Set) ([]PourReport, error) {
	var out []PourReport
	for _, q := range set.Pours {
		shot, err := silicone.Shot([]material.Volume{{Name: q.Piece + ", port and vents", VolumeMM3: 1000 * q.ML}}, f.plainShot())
		if err != nil {
			return nil, err
		}
		out = append(out, PourReport{Piece: q.Piece, In: q.In, ML: q.ML, File: pourFile(q), Shot: shot})
	}
	return out, nil
}

func pourFile(q tooling.Pour) string { return slug(q.Piece) + "-pour.3mf" }

// pick takes some of a mould's pieces, in the order named, as a mould of their own.
func pick(set *tooling.Set, names ...string) *tooling.Mould {
	m := *set.Mould
	m.Pieces = nil
	for _, name := range names {
		for _, p := range set.Pieces {
			if p.Name == name {
				m.Pieces = append(m.Pieces, p)
			}
		}
	}
	return &m
}

// writeSet writes what stands on the bench, one after the other: the pieces round each silicone body
// while it is poured, and those round the casting. What is printed is written for the printer.
func (s *trying) writeSet(ctx context.Context, out *results, set *tooling.Set) error {
	cast := pick(set, set.Casting...)
	if err := writeClosed(out, "mould.3mf", cast); err != nil {
		return err
	}
	for _, q := range set.Pours {
		m := pick(set, append([]string{q.Piece}, q.In...)...)
		m.Cast = nil
		for i, p := range m.Pieces {
			if by, ok := q.Shift[p.Name]; ok {
				m.Pieces[i].Mesh = p.Mesh.Map(func(v r3.Vec) r3.Vec { return r3.Add(v, by) })
			}
		}
		if err := writeClosed(out, pourFile(q), m); err != nil {
			return err
		}
	}
	casting := map[string]bool{}
	for _, name := range set.Casting {
		casting[name] = true
	}
	var prints, others []tooling.Piece
	for _, p := range set.Pieces {
		if !poured(set, p.Name) {
			prints = append(prints, p)
		}
		if !casting[p.Name] {
			others = append(others, p)
		}
	}
	if err := writePrints(out, prints); err != nil {
		return err
	}
	if err := writePictures(ctx, out, cast, s.opt.view); err != nil {
		return err
	}
	for i, p := range others { // writePictures showed the others
		img, err := sheet.Picture(ctx, []sheet.Shown{{Name: p.Name, Mesh: p.LaidDown(), Colour: pieceColour(len(set.Casting) + i)}}, s.opt.view)
		if err != nil {
			return err
		}
		if err := out.picture("pictures/"+slug(p.Name)+".png", img); err != nil {
			return err
		}
	}
	if err := writeDrawings(ctx, out, s.file, cast, s.report); err != nil {
		return err
	}
	return out.report(s.report)
}
