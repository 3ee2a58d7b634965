package fill

import (
	"cmp"
	"slices"
)

// basin is a low place of the floor with what belongs to it up to the height at which it runs over
// into another: a node of the tree that comes from letting a level rise everywhere at once.
type basin struct {
	birth  float64 // height at which it begins
	brim   float64 // height at which it joins others; of no meaning for a root
	saddle int32   // the run at whose floor it joins; −1 for a root
	parent int32   // −1 for a root
	kids   []int32
	enters []int32 // runs whose floors lie between birth and brim, from the bottom up
}

// basins is the tree over all runs.
type basins struct {
	nodes  []basin
	nodeOf []int32 // of each run: the node in whose enters it is
	lowest []int32 // of each run: where what falls on it ends up
}

// findBasins joins runs in the order of their floors.
func findBasins(c *columns) *basins {
	n := len(c.lo)
	order := make([]int32, n)
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortFunc(order, func(a, b int32) int {
		if c.lo[a] != c.lo[b] {
			return cmp.Compare(c.lo[a], c.lo[b])
		}
		return cmp.Compare(a, b)
	})
	b := &basins{nodeOf: make([]int32, n), lowest: make([]int32, n)}
	part, node := make([]int32, n), make([]int32, n)
	count := []int32{}
	for i := range part {
		part[i] = unreached
	}
	find := func(v int32) int32 {
		for part[v] != v {
			part[v] = part[part[v]]
			v = part[v]
		}
		return v
	}
	var roots []int32
	for _, r := range order {
		part[r] = r
		roots = roots[:0]
		fall := int32(-1)
		c.near(r, func(s int32) {
			if part[s] == unreached || s == r {
				return
			}
			if root := find(s); !slices.Contains(roots, root) {
				roots = append(roots, root)
			}
			if fall < 0 || c.lo[s] < c.lo[fall] || (c.lo[s] == c.lo[fall] && s < fall) {
				fall = s
			}
		})
		if fall < 0 {
			b.lowest[r] = r
			node[r] = b.begin(c.lo[r])
			count = append(count, 0)
		} else {
			b.lowest[r] = b.lowest[fall]
			if len(roots) > 1 {
				n := b.begin(c.lo[r])
				count = append(count, 0)
				for _, root := range roots {
					low := &b.nodes[node[root]]
					low.brim, low.saddle, low.parent = c.lo[r], r, n
					b.nodes[n].kids = append(b.nodes[n].kids, node[root])
				}
				node[roots[0]] = n
			}
			for _, root := range roots[1:] {
				part[root] = roots[0]
			}
			part[r] = roots[0]
		}
		b.nodeOf[r] = node[find(r)]
		count[b.nodeOf[r]]++
	}
	b.list(order, count)
	return b
}

func (b *basins) begin(z float64) int32 {
	b.nodes = append(b.nodes, basin{birth: z, saddle: -1, parent: -1})
	return int32(len(b.nodes) - 1)
}

// list gives every node its runs, cut out of one array.
func (b *basins) list(order, count []int32) {
	all := make([]int32, 0, len(order))
	for n := range b.nodes {
		at := len(all)
		all = all[:at+int(count[n])]
		b.nodes[n].enters = all[at:at:len(all)]
	}
	for _, r := range order {
		n := &b.nodes[b.nodeOf[r]]
		n.enters = append(n.enters, r)
	}
}
