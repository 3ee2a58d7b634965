package main

import (
	"fmt"
	"io"
	"slices"

	"mouldwright/internal/opening"
)

// words is one result in a line.
func (r *result) words() string {
	said := r.Verdict.State.String()
	if r.Verdict.State == opening.Blocked {
		said += fmt.Sprintf(" at %.3f mm", r.Verdict.TravelMM)
	}
	seen := "nothing in the way"
	switch {
	case r.Path.Blocked:
		seen = fmt.Sprintf("collide at %.3f mm", r.Path.BlockedMM)
	case r.Path.Touches:
		seen = fmt.Sprintf("graze (%.1e mm³)", r.Path.MostMM3)
	}
	verdict := "agree"
	if r.Wrong != "" {
		verdict = "DISAGREE: " + r.Wrong
	}
	barely := ""
	if r.Barely {
		barely = ", barely"
	}
	return fmt.Sprintf("%s%s | %s | (%.4f, %.4f, %.4f) | %s | %s | %d steps of %.1f mm | %s", r.Kind, barely, r.Name, r.D.X, r.D.Y, r.D.Z, said, seen, r.Path.Steps, r.Path.ReachMM, verdict)
}

// report prints a row a pair and the counts; its error says that some disagree.
func report(w io.Writer, results []*result) error {
	for _, r := range results {
		fmt.Fprintln(w, r.words())
	}
	fmt.Fprintf(w, "\n| Pairs | Number | Free | Sliding | Blocked at once | Blocked later | Made to clear or catch barely | Intersections | Looked at closer | Disagree |\n|---|---|---|---|---|---|---|---|---|---|\n")
	var kinds []string
	for _, r := range results {
		if !slices.Contains(kinds, r.Kind) {
			kinds = append(kinds, r.Kind)
		}
	}
	wrong := 0
	for _, kind := range append(kinds, "all") {
		var n, free, sliding, once, later, barely, steps, closer, bad int
		for _, r := range results {
			if kind != "all" && r.Kind != kind {
				continue
			}
			n++
			steps += r.Path.Steps
			add(&free, r.Verdict.State == opening.Free)
			add(&sliding, r.Verdict.State == opening.Sliding)
			add(&once, r.Verdict.State == opening.Blocked && r.Verdict.TravelMM == 0)
			add(&later, r.Verdict.State == opening.Blocked && r.Verdict.TravelMM > 0)
			add(&barely, r.Barely)
			add(&closer, r.Closer)
			add(&bad, r.Wrong != "")
		}
		wrong = bad
		fmt.Fprintf(w, "| %s | %d | %d | %d | %d | %d | %d | %d | %d | %d |\n", kind, n, free, sliding, once, later, barely, steps, closer, bad)
	}
	if wrong > 0 {
		return fmt.Errorf("the proof and the steps disagree on %d of %d pairs; see the rows", wrong, len(results))
	}
	return nil
}

func add(n *int, yes bool) {
	if yes {
		*n++
	}
}
