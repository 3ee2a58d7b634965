package mesh

// disjointSets is union–find by halving paths; the smallest member is the root, so numbering does
// not depend on the order of the unions.
type disjointSets []int32

func newDisjointSets(n int) disjointSets {
	s := make(disjointSets, n)
	for i := range s {
		s[i] = int32(i)
	}
	return s
}

func (s disjointSets) find(i int32) int32 {
	for s[i] != i {
		s[i] = s[s[i]]
		i = s[i]
	}
	return i
}

func (s disjointSets) union(a, b int32) {
	a, b = s.find(a), s.find(b)
	if a < b {
		s[b] = a
	} else {
		s[a] = b
	}
}

// number gives each member the number of its set; sets are numbered by their smallest member.
func (s disjointSets) number() (of []int32, count int) {
	of = make([]int32, len(s))
	for i := range s {
		if r := s.find(int32(i)); r == int32(i) {
			of[i] = int32(count)
			count++
		} else {
			of[i] = of[r]
		}
	}
	return of, count
}
