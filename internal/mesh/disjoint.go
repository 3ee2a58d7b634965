package mesh

// DisjointSets is union–find by halving paths over the numbers from 0: the smallest member of a set is
// its root, so what comes out does not depend on the order of the joins.
type DisjointSets []int32

// NewDisjointSets makes n sets of one member each.
func NewDisjointSets(n int) DisjointSets {
	s := make(DisjointSets, n)
	for i := range s {
		s[i] = int32(i)
	}
	return s
}

// Root is the smallest member of the set of i.
func (s DisjointSets) Root(i int32) int32 {
	for s[i] != i {
		s[i] = s[s[i]]
		i = s[i]
	}
	return i
}

// Join makes one set of those of a and b.
func (s DisjointSets) Join(a, b int32) {
	a, b = s.Root(a), s.Root(b)
	if a < b {
		s[b] = a
	} else {
		s[a] = b
	}
}

// Number gives each member the number of its set; sets are numbered by their smallest member.
func (s DisjointSets) Number() (of []int32, count int) {
	of = make([]int32, len(s))
	for i := range s {
		if r := s.Root(int32(i)); r == int32(i) {
			of[i] = int32(count)
			count++
		} else {
			of[i] = of[r]
		}
	}
	return of, count
}
