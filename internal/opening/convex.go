package opening

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// Convex polygons here are slices of corners, counter-clockwise, as geom.ClipConvex gives them.

func polygonBox(p []r2.Vec) r2.Box {
	b := r2.Box{Min: p[0], Max: p[0]}
	for _, v := range p[1:] {
		b = joinBoxes(b, r2.Box{Min: v, Max: v})
	}
	return b
}

func polygonPerimeter(p []r2.Vec) float64 {
	var s float64
	for i, v := range p {
		s += r2.Norm(r2.Sub(v, p[(i+1)%len(p)]))
	}
	return s
}

// polygonMiddle is the mean of the corners: a point inside, off the edges.
func polygonMiddle(p []r2.Vec) r2.Vec {
	var s r2.Vec
	for _, v := range p {
		s = r2.Add(s, v)
	}
	return r2.Scale(1/float64(len(p)), s)
}

// polygonWidth is the least distance between two parallel lines that hold the polygon between them;
// one of the two runs along an edge.
func polygonWidth(p []r2.Vec) float64 {
	width := math.Inf(1)
	for i, v := range p {
		e := r2.Sub(p[(i+1)%len(p)], v)
		l := r2.Norm(e)
		if l == 0 {
			continue
		}
		var far float64
		for _, q := range p {
			far = max(far, math.Abs(r2.Cross(e, r2.Sub(q, v))))
		}
		width = min(width, far/l)
	}
	if math.IsInf(width, 1) {
		return 0
	}
	return width
}

// clipAbove keeps the part of polygon p where value, linear over p and given at its corners, is at
// least zero. It returns the corners kept and appends to buf.
func clipAbove(p []r2.Vec, value []float64, buf []r2.Vec) []r2.Vec {
	for i, v := range p {
		j := (i + 1) % len(p)
		if value[i] >= 0 {
			buf = append(buf, v)
		}
		if (value[i] >= 0) != (value[j] >= 0) {
			t := value[i] / (value[i] - value[j])
			buf = append(buf, r2.Add(v, r2.Scale(t, r2.Sub(p[j], v))))
		}
	}
	return buf
}

// halfPlane is the set of points q with N·q ≤ C; N is of unit length.
type halfPlane struct {
	N r2.Vec
	C float64
}

// grownPlanes are the half-planes whose intersection is the polygon grown by eps: each edge moved
// out by eps, and the bounding box moved out by eps to cut the long spikes that sharp corners of
// slivers would make. A plane is placed by the farthest corner, not by its edge, so that an edge too
// short to have a sure direction can never cut into the polygon.
func grownPlanes(p []r2.Vec, eps float64, buf []halfPlane) []halfPlane {
	start := len(buf)
	add := func(n r2.Vec) {
		for _, h := range buf[start:] {
			if r2.Dot(h.N, n) > 1-1e-14 {
				return
			}
		}
		c := math.Inf(-1)
		for _, v := range p {
			c = max(c, r2.Dot(n, v))
		}
		buf = append(buf, halfPlane{N: n, C: c + eps})
	}
	for i, v := range p {
		e := r2.Sub(p[(i+1)%len(p)], v)
		if l := r2.Norm(e); l > 0 {
			add(r2.Vec{X: e.Y / l, Y: -e.X / l})
		}
	}
	for _, n := range [...]r2.Vec{{X: 1}, {Y: 1}, {X: -1}, {Y: -1}} {
		add(n)
	}
	return buf
}

// clipLine gives the part [lo, hi] of the line o + t·dir, t in [lo, hi], that lies in all half-planes
// moved out by shift, leaving out the plane numbered skip (-1 for none).
func clipLine(o, dir r2.Vec, lo, hi float64, planes []halfPlane, shift float64, skip int) (float64, float64) {
	for k := range planes {
		if k == skip {
			continue
		}
		h := &planes[k]
		slope := h.N.X*dir.X + h.N.Y*dir.Y
		room := h.C + shift - (h.N.X*o.X + h.N.Y*o.Y)
		switch {
		case slope > 0:
			hi = min(hi, room/slope)
		case slope < 0:
			lo = max(lo, room/slope)
		case room < 0:
			return 1, 0
		}
		if lo > hi {
			return 1, 0
		}
	}
	return lo, hi
}
