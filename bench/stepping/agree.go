package main

import (
	"context"
	"fmt"
	"math"

	"mouldwright/internal/opening"
	"mouldwright/internal/solid"
)

// result is one pair judged both ways.
type result struct {
	pair
	Verdict *opening.Verdict
	Path    *path
	Closer  bool // the steps saw nothing until they were made shorter round the place that the proof names
	// Wrong says in what the two disagree, or is empty.
	Wrong string
}

// shorter is how much shorter the steps are made round a contact that the proof names and the steps missed,
// and closeMM how far round it.
const (
	shorter = 50
	closeMM = 0.5
)

// judge asks the proof and the brute force. A pair that is said to leave and is seen to collide is wrong in
// any case; one that is said to be blocked may be so by less than a step is long, and is looked at again there.
func judge(ctx context.Context, k *solid.Kernel, p pair) (*result, error) {
	r := &result{pair: p}
	var err error
	if r.Verdict, err = opening.Translate(ctx, opening.Body{Name: "moving", Mesh: p.Moving}, opening.Body{Name: "fixed", Mesh: p.Fixed}, p.D, opening.Options{Workers: 1}); err != nil {
		return nil, fmt.Errorf("%s, %s: %w", p.Kind, p.Name, err)
	}
	if r.Path, err = walk(ctx, k, p, 0, math.Inf(1), leastStepMM); err != nil {
		return nil, fmt.Errorf("%s, %s: %w", p.Kind, p.Name, err)
	}
	if t := r.Verdict.TravelMM; r.Verdict.State == opening.Blocked && !r.Path.Blocked {
		r.Closer = true
		if r.Path, err = walk(ctx, k, p, math.Max(0, t-closeMM/2), t+closeMM, leastStepMM/shorter); err != nil {
			return nil, fmt.Errorf("%s, %s: %w", p.Kind, p.Name, err)
		}
	}
	r.Wrong = disagreement(r.Verdict, r.Path)
	return r, nil
}

// disagreement compares a verdict with a path.
//
// The proof's travel is that of the first contact between the facets that block. There, or within the step
// after it, the bodies must have something in common; the shadow may grow wide later, where a wall leans a
// little; and it must not have been wide before.
func disagreement(v *opening.Verdict, p *path) string {
	blocked := v.State == opening.Blocked
	switch {
	case blocked != p.Blocked && p.Blocked:
		return fmt.Sprintf("the proof says %s, but they collide at %.3f mm", v.State, p.BlockedMM)
	case blocked != p.Blocked:
		return fmt.Sprintf("the proof says blocked at %.3f mm, but nothing is in the way (%.1e mm³ at most)", v.TravelMM, p.MostMM3)
	case !blocked:
		return ""
	case p.BlockedMM < v.TravelMM-travelErrorMM:
		return fmt.Sprintf("the proof says blocked at %.3f mm, but they collide at %.3f mm", v.TravelMM, p.BlockedMM)
	case v.TravelMM < p.BeforeMM-leastStepMM:
		return fmt.Sprintf("the proof says blocked at %.3f mm, but at %.3f mm they have nothing in common", v.TravelMM, p.BeforeMM)
	}
	return ""
}

// travelErrorMM is the rounding of the travel.
const travelErrorMM = 1e-6
