package cli

import (
	"context"
	"fmt"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"
)

// directionView is one way to open, with its score (less is better) and what it means.
type directionView struct {
	Direction [3]float64 `json:"direction"`
	Score     float64    `json:"score"`
	Words     string     `json:"words"`
}

// searchDirections judges the part's own axes and lists the best of them. The score is the undercut
// area as a share of the surface.
func searchDirections(ctx context.Context, m *mesh.Mesh, best int, progress func(done float64)) ([]directionView, r3.Vec, error) {
	axes := []r3.Vec{{Z: 1}, {Y: 1}, {X: 1}}
	area := m.AreaMM2()
	var out []directionView
	for i, d := range axes {
		progress(float64(i) / float64(len(axes)))
		r, err := mouldability.Analyse(ctx, m, d, mouldability.AnalyseOptions{})
		if err != nil {
			return nil, r3.Vec{}, err
		}
		out = append(out, directionView{triple(d), r.UndercutAreaMM2 / area, fmt.Sprintf("undercut %s mm², least draft %s°, parting line about %s mm",
			number(r.UndercutAreaMM2, 2), number(r.MinDraftDeg, 2), number(r.PartingMM, 0))})
	}
	slices.SortStableFunc(out, func(a, b directionView) int {
		switch {
		case a.Score < b.Score:
			return -1
		case a.Score > b.Score:
			return 1
		}
		return 0
	})
	return out[:min(best, len(out))], vec(out[0].Direction), nil
}
