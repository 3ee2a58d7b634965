package delaunay

// Depth tells for each triangle how many segments must be crossed, at the least, on the way to it
// from outside the hull. For closed loops, nested but not crossing: 0 is outside, 1 inside an outer
// loop, 2 in a hole of it, 3 on an island in the hole. An edge with two segments on it, as where two
// loops touch along a line, counts twice.
func (t *Triangulation) Depth() []int32 {
	depth := make([]int32, len(t.Tris))
	var level [][]int32 // level[d]: triangles reached with d crossings
	push := func(tri, d int32) {
		for int(d) >= len(level) {
			level = append(level, nil)
		}
		level[d] = append(level[d], tri)
	}
	for i, n := range t.Neighbours {
		depth[i] = None
		for k, o := range n {
			if o == None {
				push(int32(i), t.weight[i][k])
			}
		}
	}
	for d := 0; d < len(level); d++ {
		for len(level[d]) > 0 {
			i := level[d][len(level[d])-1]
			level[d] = level[d][:len(level[d])-1]
			if depth[i] != None {
				continue
			}
			depth[i] = int32(d)
			for k, o := range t.Neighbours[i] {
				if o != None && depth[o] == None {
					push(o, int32(d)+t.weight[i][k])
				}
			}
		}
	}
	return depth
}

// Inside tells for each triangle whether it lies inside the loops that the segments form: an odd
// Depth. Holes are outside whichever way their loops run. Segments that close no loop do not matter.
func (t *Triangulation) Inside() []bool {
	in := make([]bool, len(t.Tris))
	for i, d := range t.Depth() {
		in[i] = d%2 == 1
	}
	return in
}
