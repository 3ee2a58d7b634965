package record

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestMedianInterval against a table of order statistics: for n of 8, 15 and 25 the ranks that hold the median
// with at least 90 % are 2, 4 and 8 (as counted from 1; Conover, Practical nonparametric statistics, from memory;
// worked out here from the binomial sums 0.0352, 0.0176 and 0.0216 below the rank).
func TestMedianInterval(t *testing.T) {
	for n, rank := range map[int]int{8: 2, 15: 4, 25: 8} {
		if got := signRank(n, 0.90) + 1; got != rank {
			t.Errorf("n %d: rank %d, want %d", n, got, rank)
		}
	}
}

// TestIntervalsHold draws from known distributions: the stated ranges hold the truth at least as often as they say,
// less three standard errors.
func TestIntervalsHold(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 9))
	const rounds = 2000
	slack := 3 * math.Sqrt(0.9*0.1/rounds)
	held, heldShare := 0, 0
	for range rounds {
		var v []float64
		for range 8 + rng.IntN(30) {
			v = append(v, 300*math.Exp(0.4*rng.NormFloat64()))
		}
		if s := SpreadOf(v); s.Low <= 300 && 300 <= s.High {
			held++
		}
		hits, of := 0, 40+rng.IntN(60)
		for range of {
			if rng.Float64() < 0.15 {
				hits++
			}
		}
		if s := shareOf(hits, of); s.Low <= 0.15 && 0.15 <= s.High {
			heldShare++
		}
	}
	for what, n := range map[string]int{"median": held, "share": heldShare} {
		if share := float64(n) / rounds; share < 0.9-slack {
			t.Errorf("%s: the range holds the truth in %.1f %% of draws", what, 100*share)
		}
	}
}

// TestWilson on the worked example of Newcombe, Two-sided confidence intervals for the single proportion,
// Statistics in Medicine 17, 1998 (from memory): 81 of 263 at 95 % give 0.2553 to 0.3662; at 90 %, as used
// here, the range lies inside that.
func TestWilson(t *testing.T) {
	s := shareOf(81, 263)
	if s.Low < 0.2553 || s.High > 0.3662 || math.Abs(s.Rate-0.308) > 0.001 {
		t.Errorf("%+v", s)
	}
}

// TestFewSayNothing: five observations change nothing.
func TestFewSayNothing(t *testing.T) {
	if s := SpreadOf([]float64{1, 2, 3, 4, 5}); s.IsEnough() {
		t.Error("five observations are enough")
	}
	if s := shareOf(5, 5); s.IsEnough() {
		t.Error("five castings are enough")
	}
}
