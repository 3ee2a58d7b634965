// Package delaunay triangulates points in the plane so that given segments are edges: the
// constrained Delaunay triangulation.
//
// Every decision is taken by the exact predicates of package geom, so grids, points on one circle
// and points on a segment are ordinary input. No tolerance is used: two points are the same only if
// their coordinates are equal, and a point lies on a segment only if it does so exactly. Work grows
// like n log n for points in any reasonable arrangement. The same input gives the same output.
//
//	delaunay.go    Triangulate, the Triangulation it returns
//	insert.go      one point after another, located by walking, repaired by flips
//	constrain.go   one segment after another, by flips
//	inside.go      which triangles lie inside the loops of segments
//	order.go       the order of insertion (Hilbert curve)
package delaunay
