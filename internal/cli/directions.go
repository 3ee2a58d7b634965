package cli

import (
	"context"
	"fmt"
	"io"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"
)

// directionView is one way to open, with its score (less is better) and what the score is made of.
type directionView struct {
	Direction [3]float64 `json:"direction"`
	Origin    string     `json:"origin"`
	Score     float64    `json:"score"`
	Terms     []termView `json:"terms"`
}

type termView struct {
	Name   string  `json:"name"`
	Value  float64 `json:"value"`
	Unit   string  `json:"unit"`
	Weight float64 `json:"weight"`
	Points float64 `json:"points"`
	Words  string  `json:"words"`
}

// searchDirections lists the best ways to open; they are estimates, which judge then answers
// exactly for the first.
func searchDirections(ctx context.Context, m *mesh.Mesh, show []bool, opt mouldability.SearchOptions) ([]directionView, r3.Vec, error) {
	s, err := mouldability.NewSearcher(m, show)
	if err != nil {
		return nil, r3.Vec{}, err
	}
	found, err := s.Search(ctx, opt)
	if err != nil {
		return nil, r3.Vec{}, err
	}
	if len(found) == 0 {
		return nil, r3.Vec{}, &internalError{fmt.Errorf("the search found no direction")}
	}
	out := make([]directionView, len(found))
	for i, c := range found {
		out[i] = directionView{triple(c.Direction), c.Origin.String(), c.Total, []termView{}}
		for _, t := range c.Terms {
			out[i].Terms = append(out[i].Terms, termView(t))
		}
	}
	return out, found[0].Direction, nil
}

// printDirections lists the directions, and says in words what the first one's score is made of.
// Terms that cost nothing are left out, but for the undercut, which decides.
func printDirections(w io.Writer, ds []directionView) {
	fmt.Fprintln(w, "\nWays to open, best first (estimates; a lower score is better)")
	table(w, func(w io.Writer) {
		for i, d := range ds {
			fmt.Fprintf(w, "  %d.\t(%s)\t%s\tscore %s\n", i+1, point(vec(d.Direction), 4), d.Origin, number(d.Score, 2))
		}
	})
	fmt.Fprintln(w, "\nThe score of the first")
	table(w, func(w io.Writer) {
		for i, t := range ds[0].Terms {
			if i == 0 || t.Points > 0 {
				fmt.Fprintf(w, "  %s\t%s points\t%s\n", t.Name, number(t.Points, 2), t.Words)
			}
		}
	})
}
