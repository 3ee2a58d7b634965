package record

import (
	"math"
	"slices"
	"sort"
)

// Spread is what a number of observations say: where the middle is, and how far it is known.
type Spread struct {
	N      int     `json:"n"`
	Median float64 `json:"median"`
	// Low and High hold the true median with at least 90 % confidence (order statistics; no shape of the
	// distribution is assumed, only that the observations are independent of each other).
	Low  float64 `json:"median_low"`
	High float64 `json:"median_high"`
	// Quarter and ThreeQuarters hold the middle half of the observations.
	Quarter       float64 `json:"quarter"`
	ThreeQuarters float64 `json:"three_quarters"`
}

// enoughToLearn is the least number of observations from which an estimate is made. With fewer the interval of
// the median would be the whole range of what was seen, or wider (the least and the greatest of five hold the
// median with 94 %, of four with 88 %).
const enoughToLearn = 8

// IsEnough says whether so many observations are enough to change a plan by.
func (s *Spread) IsEnough() bool { return s.N >= enoughToLearn }

// SpreadOf sums up observations.
func SpreadOf(values []float64) Spread {
	v := slices.Clone(values)
	sort.Float64s(v)
	n := len(v)
	s := Spread{N: n}
	if n == 0 {
		return s
	}
	s.Median, s.Quarter, s.ThreeQuarters = quantile(v, 0.5), quantile(v, 0.25), quantile(v, 0.75)
	k := signRank(n, 0.90)
	s.Low, s.High = v[k], v[n-1-k]
	return s
}

// quantile is between the two nearest observations in proportion.
func quantile(sorted []float64, q float64) float64 {
	at := q * float64(len(sorted)-1)
	k := int(at)
	if k+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[k] + (at-float64(k))*(sorted[k+1]-sorted[k])
}

// signRank is the largest k for which the k-th least and the k-th greatest of n (from 0) hold the median with
// the confidence: 1 − 2·P(B ≤ k) for B of n throws of a coin. 0 where none does.
func signRank(n int, confidence float64) int {
	tail, p, k := 0.0, math.Pow(0.5, float64(n)), 0
	for i := 0; i < n/2; i++ {
		tail += p
		if 1-2*tail < confidence {
			break
		}
		k = i
		p *= float64(n-i) / float64(i+1)
	}
	return k
}

// Share is how often something happened, with the range that holds the true rate with 90 % confidence
// (Wilson's score interval, 1927).
type Share struct {
	Of   int     `json:"of"`
	Hits int     `json:"hits"`
	Rate float64 `json:"rate"`
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// shareLeast is the least number of castings from which a rate of scrap is taken.
const shareLeast = 20

// IsEnough says whether so many are enough to change a plan by.
func (s *Share) IsEnough() bool { return s.Of >= shareLeast }

// shareOf sums up hits of a number of tries.
func shareOf(hits, of int) Share {
	s := Share{Of: of, Hits: hits, High: 1}
	if of == 0 {
		return s
	}
	const z = 1.6449 // of the normal distribution, two-sided 90 %
	n, p := float64(of), float64(hits)/float64(of)
	mid := (p + z*z/(2*n)) / (1 + z*z/n)
	half := z / (1 + z*z/n) * math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	s.Rate, s.Low, s.High = p, max(0, mid-half), min(1, mid+half)
	return s
}

// ScrapRate is the share of scrap among the castings of a job that are decided.
func (r *Reader) ScrapRate(job string) (Share, error) {
	shots, err := r.ShotsOfJob(job)
	if err != nil {
		return Share{}, err
	}
	hits, of := 0, 0
	for _, s := range shots {
		if s.Outcome == Pending {
			continue
		}
		of++
		if s.Outcome == Scrap {
			hits++
		}
	}
	return shareOf(hits, of), nil
}

// Timed is how long a run's step took: from the sign-off before it to its own.
type Timed struct {
	Run, Step, Mould, Operator string
	Seconds                    float64
}

// longestStepS: a gap between two sign-offs that is longer than this was a pause, a night or a cure, and says
// nothing about the work (common practice, no source).
const longestStepS = 4 * 3600

// StepTimes lists how long the signed steps of a job's runs took. The first step of a run counts from the
// run's start; skipped steps and gaps over four hours are left out.
func (r *Reader) StepTimes(job string) ([]Timed, error) {
	runs, err := r.Runs()
	if err != nil {
		return nil, err
	}
	var out []Timed
	for _, run := range runs {
		if run.Job != job {
			continue
		}
		signed, err := r.SignOffs(run.ID)
		if err != nil {
			return nil, err
		}
		sort.SliceStable(signed, func(a, b int) bool { return signed[a].SignedAt.Before(signed[b].SignedAt) })
		last := run.StartedAt
		for _, s := range signed {
			took := s.SignedAt.Sub(last).Seconds()
			last = s.SignedAt
			if s.Skipped || took < 0 || took > longestStepS {
				continue
			}
			out = append(out, Timed{run.ID, s.Step, run.Mould, s.Operator, took})
		}
	}
	return out, nil
}
