// Package geom holds the geometry that every other package stands on: exact orientation tests,
// a tree over triangles for rays and distances, frames, convex clipping, hulls.
//
// Lengths have no unit of their own here (the rest of the program uses mm); coordinates are
// right-handed; a polygon or triangle with its inside on the left is counter-clockwise. Vectors,
// boxes and triangles are those of gonum's spatial/r2 and spatial/r3.
//
// Results depend on the input alone: no map order, no thread order, and no fused multiply-add that
// one processor has and another lacks (products are rounded by an explicit float64 conversion).
//
//	predicates.go  which side? exact signs, with a fast path
//	bvh.go         BVH: first hit of a ray, nearest point, facets in a box
//	frame.go       rotation that lays a direction along +z
//	clip.go        convex polygon against convex polygon
//	convexhull.go  hull of points in the plane
//	minrect.go     smallest rectangle around a hull
//	area.go        area of a triangle, also of a needle
//
// Package geom/delaunay triangulates points and segments in the plane.
package geom
