package job

import (
	"math"

	"mouldwright/internal/tooling"
)

// mouldReport takes from a mould what the report says of it.
func mouldReport(m *tooling.Mould) *MouldReport {
	r := &MouldReport{Family: m.Family, Cavities: max(1, len(m.Cavities)), BlockMM: array(m.Block.Size()), Scale: array(m.Place.Scale), LineMM: m.LineMM, LineLoops: len(m.Line),
		LineOnShowMM: m.LineOnShowMM, SurfaceFlat: true}
	if m.Surface != nil {
		r.SurfaceFlat, r.SteepestDeg = m.Surface.Flat, m.Surface.SteepestDeg
	}
	if m.Opening != nil {
		r.Opening = m.Opening.Words()
	}
	for _, p := range m.Pieces {
		r.Pieces = append(r.Pieces, PieceReport{Name: p.Name, Facets: len(p.Mesh.Tris), VolumeMM3: p.VolumeMM3, SizeMM: array(p.Mesh.Bounds().Size()), Exit: array(p.Exit)})
	}
	for _, q := range m.Features {
		r.Features = append(r.Features, FeatureReport{Name: q.Name, Kind: q.Kind, Piece: q.Piece, AtMM: array(q.At), Words: q.Words})
	}
	for _, l := range m.Ledger {
		r.Ledger = append(r.Ledger, LedgerReport(l))
	}
	for _, c := range m.Checks {
		q := CheckReport{Name: c.Name, OK: c.OK, Limit: c.Limit, Unit: c.Unit, Words: c.Words}
		if !math.IsInf(c.Value, 0) && !math.IsNaN(c.Value) {
			v := c.Value
			q.Value = &v
		}
		r.Checks = append(r.Checks, q)
	}
	return r
}
