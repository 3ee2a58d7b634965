package finite

import "math/rand/v2"

// rule gives the urgency of an operation that could start; the largest goes first.
type rule func(f *flat, left []int64, i int) int64

// rules of priority dispatch: most work left in the job, longest and shortest operation, most work
// after it.
var rules = []rule{
	func(f *flat, left []int64, i int) int64 { return left[i] },
	func(f *flat, left []int64, i int) int64 { return f.p[i] },
	func(f *flat, left []int64, i int) int64 { return -f.p[i] },
	func(f *flat, left []int64, i int) int64 { return left[i] - f.p[i] },
}

// dispatch builds an active schedule (Giffler & Thompson 1960): on the machine of the operation that
// could end first, one of the operations that would collide with it goes next. A nil rule draws.
func dispatch(f *flat, choose rule, rng *rand.Rand) []int {
	left := make([]int64, f.n+1)
	chains := f.inChains()
	for k := f.n - 1; k >= 0; k-- {
		i := chains[k]
		left[i] = f.p[i] + left[f.js[i]]
	}
	next := append([]int(nil), f.first...)
	jobFree, machFree := make([]int64, len(next)), make([]int64, f.machines)
	list := make([]int, 0, f.n)
	var clash []int
	for len(list) < f.n {
		best, bestEnd := -1, int64(0)
		for j, i := range next {
			if i == f.n {
				continue
			}
			if end := max(jobFree[j], machFree[f.mach[i]]) + f.p[i]; best < 0 || end < bestEnd {
				best, bestEnd = j, end
			}
		}
		m := f.mach[next[best]]
		clash = clash[:0]
		for j, i := range next {
			if i != f.n && f.mach[i] == m && (max(jobFree[j], machFree[m]) < bestEnd || j == best) {
				clash = append(clash, j)
			}
		}
		pick := clash[0]
		if choose == nil {
			pick = clash[rng.IntN(len(clash))]
		} else {
			for _, j := range clash[1:] {
				if choose(f, left, next[j]) > choose(f, left, next[pick]) {
					pick = j
				}
			}
		}
		i := next[pick]
		end := max(jobFree[pick], machFree[m]) + f.p[i]
		jobFree[pick], machFree[m] = end, end
		list = append(list, i)
		next[pick] = f.js[i]
	}
	return list
}
