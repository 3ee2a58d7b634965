package cli

import (
	"fmt"
	"io"

	"mouldwright/internal/job"
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

// viewDirection is a direction of the search with its estimates.
func viewDirection(d job.FoundDirection) directionView {
	v := directionView{triple(d.Direction), d.Of.Origin.String(), d.Of.Total, []termView{}}
	for _, t := range d.Of.Terms {
		v.Terms = append(v.Terms, termView(t))
	}
	return v
}

// printDirections lists the directions, and says in words what the first one's score is made of.
// Terms that cost nothing are left out, but for the undercut, which decides.
func printDirections(w io.Writer, ds []directionView) {
	fmt.Fprintln(w, "\nWays to open: the one judged below, then by estimate (a lower score is better)")
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
