package main

import (
	"errors"
	"math"
	"os"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/bench/corpus"
	"mouldwright/internal/mesh"
	"mouldwright/internal/opening"
	"mouldwright/internal/solid"
)

// few is a sample that a test has time for; the command judges the whole.
var few = sample{halves: 12, cuts: 8, plugs: 3, passing: 10, pieces: 6, mostFacets: 400, moulded: []string{"3MF/box.3mf"}}

// On a few pairs the proof and the steps agree.
func TestProofAgreesWithSteps(t *testing.T) {
	from := corpus.Places{Bench: "../realmeshes"}
	c, err := corpus.Gather(t.Context(), from)
	if errors.Is(err, corpus.ErrMissing) && os.Getenv("CI") == "" {
		t.Skip(err)
	}
	if err != nil {
		t.Fatal(err)
	}
	pool := solid.NewPool(solid.Options{})
	defer pool.Close()
	pairs, err := draw(t.Context(), pool, c, few)
	if err != nil {
		t.Fatal(err)
	}
	results, err := judgeAll(t.Context(), pool, pairs, func(int, *result) {})
	if err != nil {
		t.Fatal(err)
	}
	leaves, blocked := 0, 0
	for _, r := range results {
		if r.Wrong != "" {
			t.Error(r.words())
		}
		add(&blocked, r.Verdict.State == opening.Blocked)
		add(&leaves, r.Verdict.State != opening.Blocked)
	}
	if leaves < len(pairs)/4 || blocked < len(pairs)/4 {
		t.Errorf("%d pairs leave and %d are blocked; the sample shows little", leaves, blocked)
	}
}

// The steps themselves, on boxes: 10 mm under a shelf that reaches over by a width, 4 mm above.
func TestWalkOnBoxes(t *testing.T) {
	pool := solid.NewPool(solid.Options{})
	defer pool.Close()
	for _, c := range []struct {
		name    string
		over    float64
		blocked bool
	}{{"clear", -0.5, false}, {"side by side", 0, false}, {"less than the tolerance", 0.8 * widthMM, false},
		{"more than the tolerance", 1.2 * widthMM, true}, {"plainly", 3, true}} {
		err := pool.Do(t.Context(), func(k *solid.Kernel) error {
			box := func(x0, z0, x1, z1 float64) *mesh.Mesh {
				s, err := k.Prism([][]r2.Vec{{{X: x0}, {X: x1}, {X: x1, Y: 10}, {X: x0, Y: 10}}}, z0, z1)
				if err != nil {
					t.Fatal(err)
				}
				m, err := s.Mesh()
				if err != nil {
					t.Fatal(err)
				}
				return m
			}
			p := pair{Moving: box(0, 0, 10, 10), Fixed: box(10-c.over, 14, 20, 20), D: r3.Vec{Z: 1}}
			got, err := walk(t.Context(), k, p, 0, math.Inf(1), leastStepMM)
			if err != nil {
				return err
			}
			if got.Blocked != c.blocked || got.ReachMM != 20 {
				t.Errorf("%s: %+v", c.name, got)
			}
			if c.over > 0 && (got.BeforeMM > 4 || got.TouchMM < 4 || got.TouchMM > 4+leastStepMM) {
				t.Errorf("%s: touch between %g and %g mm, want 4", c.name, got.BeforeMM, got.TouchMM)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}

// A false verdict of either kind is seen.
func TestDisagreementIsSeen(t *testing.T) {
	p := &path{Touches: true, BeforeMM: 3.9, TouchMM: 4, Blocked: true, BlockedMM: 4}
	clear := &path{ReachMM: 20}
	for _, c := range []struct {
		state  opening.State
		travel float64
		path   *path
		wrong  bool
	}{{opening.Blocked, 3.95, p, false}, {opening.Blocked, 3.85, p, false}, {opening.Blocked, 3.7, p, true}, {opening.Blocked, 4.1, p, true},
		{opening.Free, 0, p, true}, {opening.Sliding, 0, p, true}, {opening.Blocked, 4, clear, true}, {opening.Free, 0, clear, false}} {
		if got := disagreement(&opening.Verdict{State: c.state, TravelMM: c.travel}, c.path); (got != "") != c.wrong {
			t.Errorf("%v at %g mm: %q", c.state, c.travel, got)
		}
	}
}
