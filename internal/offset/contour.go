package offset

import (
	"context"
	"math"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// kuhn are the six tetrahedra of a cube: corner 0, two corners on the way, corner 7, each way adding
// one axis after another. A corner is a set of axes in bits. Neighbouring cubes divide their common
// face the same way, so the tetrahedra fill space without gaps.
var kuhn = [6]struct {
	corner [4]uint8
	right  bool // positively oriented
}{
	{[4]uint8{0, 1, 3, 7}, true}, {[4]uint8{0, 2, 6, 7}, true}, {[4]uint8{0, 4, 5, 7}, true},
	{[4]uint8{0, 1, 5, 7}, false}, {[4]uint8{0, 2, 3, 7}, false}, {[4]uint8{0, 4, 6, 7}, false},
}

// contourer runs marching tetrahedra over cells. Each tetrahedron has a triangle or a quadrangle of the
// surface, cut along edges that it shares with its neighbours: so the result is a closed 2-manifold
// that does not cross itself, whatever the values.
type contourer struct {
	g     grid
	f     level
	ids   map[cell]int32
	nodes []cell
	value []float64
	cut   map[uint64]uint32 // node and axes of an edge → vertex
	ends  [][2]int32        // nodes of each cut edge
	tris  [][3]uint32
}

func contour(ctx context.Context, g grid, cells []cell, f level, workers int) (*mesh.Mesh, error) {
	c := &contourer{g: g, f: f, ids: make(map[cell]int32, 2*len(cells)), cut: map[uint64]uint32{}}
	corners := make([][8]int32, len(cells))
	for i, at := range cells {
		for k := range int32(8) {
			n := cell{at[0] + k&1, at[1] + k>>1&1, at[2] + k>>2&1}
			id, ok := c.ids[n]
			if !ok {
				id = int32(len(c.nodes))
				c.ids[n] = id
				c.nodes = append(c.nodes, n)
			}
			corners[i][k] = id
		}
	}
	c.value = make([]float64, len(c.nodes))
	if err := each(ctx, workers, len(c.nodes), func(i int) { c.value[i] = f(g.node(c.nodes[i])) }); err != nil {
		return nil, err
	}
	for i := range cells {
		c.march(&corners[i])
	}
	m := &mesh.Mesh{Verts: make([]r3.Vec, len(c.ends)), Tris: c.tris}
	err := each(ctx, workers, len(c.ends), func(i int) {
		a, b := c.ends[i][0], c.ends[i][1]
		m.Verts[i] = crossing(f, g.node(c.nodes[a]), g.node(c.nodes[b]), c.value[a], c.value[b])
	})
	if err != nil {
		return nil, err
	}
	return m, nil
}

func (c *contourer) march(corner *[8]int32) {
	inside := 0
	for _, n := range corner {
		if c.value[n] < 0 {
			inside++
		}
	}
	if inside == 0 || inside == 8 {
		return
	}
	for _, t := range kuhn {
		c.tetrahedron(corner, t.corner, t.right)
	}
}

// evens are the even permutations that bring the corners in question to the front: one corner, and two.
var (
	evenOne = [4][4]int{{0, 1, 2, 3}, {1, 0, 3, 2}, {2, 0, 1, 3}, {3, 0, 2, 1}}
	evenTwo = map[uint8][4]int{
		0b0011: {0, 1, 2, 3}, 0b0101: {0, 2, 3, 1}, 0b1001: {0, 3, 1, 2},
		0b0110: {1, 2, 0, 3}, 0b1010: {1, 3, 2, 0}, 0b1100: {2, 3, 0, 1},
	}
)

func (c *contourer) tetrahedron(corner *[8]int32, t [4]uint8, right bool) {
	var set uint8
	count := 0
	for i, k := range t {
		if c.value[corner[k]] < 0 {
			set |= 1 << i
			count++
		}
	}
	edge := func(i, j int) uint32 { return c.vertex(corner, t[i], t[j]) }
	emit := func(a, b, d uint32, turned bool) {
		if turned == right {
			b, d = d, b
		}
		c.tris = append(c.tris, [3]uint32{a, b, d})
	}
	switch count {
	case 1, 3:
		alone := set
		if count == 3 {
			alone = ^set & 15
		}
		p := evenOne[log2(alone)]
		emit(edge(p[0], p[1]), edge(p[0], p[2]), edge(p[0], p[3]), count == 3)
	case 2:
		p := evenTwo[set]
		q := [4]uint32{edge(p[0], p[2]), edge(p[0], p[3]), edge(p[1], p[3]), edge(p[1], p[2])}
		emit(q[0], q[1], q[2], false)
		emit(q[0], q[2], q[3], false)
	}
}

func log2(bit uint8) int {
	n := 0
	for bit > 1 {
		bit >>= 1
		n++
	}
	return n
}

// vertex is the number of the vertex on the edge between two corners of a cube.
func (c *contourer) vertex(corner *[8]int32, i, j uint8) uint32 {
	i, j = min(i, j), max(i, j) // a corner on the way has the lower number
	key := uint64(corner[i])<<3 | uint64(i^j)
	id, ok := c.cut[key]
	if !ok {
		id = uint32(len(c.ends))
		c.cut[key] = id
		c.ends = append(c.ends, [2]int32{corner[i], corner[j]})
	}
	return id
}

const (
	// rootMM ends the search for a crossing: far under the error that anyone can measure on a mould.
	rootMM = 1e-7
	// endGap keeps a crossing off the ends of its edge, so that no two vertices coincide; it moves a
	// vertex by a thousandth of a cell at most.
	endGap = 1e-3
)

// crossing finds the zero of f between a and b, kept off the ends.
func crossing(f level, a, b r3.Vec, fa, fb float64) r3.Vec {
	d := r3.Sub(b, a)
	s := zero(func(s float64) float64 { return f(r3.Add(a, r3.Scale(s, d))) }, fa, fb)
	return r3.Add(a, r3.Scale(min(1-endGap, max(endGap, s)), d))
}

// zero finds where f, of different signs fa at 0 and fb at 1, passes zero: false position with the
// Illinois halving.
func zero(f func(s float64) float64, fa, fb float64) float64 {
	lo, hi, side := 0.0, 1.0, 0
	s := 0.5
	for range 60 {
		s = (lo*fb - hi*fa) / (fb - fa)
		if !(s > lo && s < hi) {
			s = (lo + hi) / 2
		}
		v := f(s)
		if math.Abs(v) <= rootMM {
			break
		}
		if (v < 0) == (fa < 0) {
			lo, fa = s, v
			if side == -1 {
				fb /= 2
			}
			side = -1
		} else {
			hi, fb = s, v
			if side == 1 {
				fa /= 2
			}
			side = 1
		}
	}
	return s
}
